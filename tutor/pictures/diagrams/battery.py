"""The battery circuit: battery, fuse, cable with its lugs, and inverter."""

from dataclasses import dataclass
from functools import lru_cache

import schemdraw

from tutor.pictures.diagrams.drawing import (
    SIGN_SIZE,
    Diagram,
    Place,
    add_box,
    add_dot,
    add_fuse,
    add_text,
    add_wire,
    new_drawing,
    picture,
    wrapped,
)
from tutor.pictures.looks import LIGHT, Look

LABEL_WIDTH = 15
BOX_WIDTH = 3.4


@dataclass(frozen=True)
class BatteryCircuit:
    """What stands at each part, '' where nothing is said of it: 'battery 24 V', 'fuse ? A', 'cable 2/0 AWG'."""

    battery: str = ""
    fuse: str = ""
    cable: str = ""
    current: str = ""
    inverter: str = ""


@lru_cache(maxsize=256)
def battery_circuit(circuit: BatteryCircuit, look: Look = LIGHT) -> Diagram:
    """Draw a battery, the fuse close to its plus, the cable's two conductors with a lug at each end, and the inverter.

    Side by side on a wide screen, one above the other on a narrow one.
    """
    return Diagram(_wide(circuit, look), _narrow(circuit, look), _sentence(circuit))


def _wide(circuit: BatteryCircuit, look: Look) -> str:
    drawing = new_drawing(look)
    height, right = 4.4, 13.0
    _add_device(drawing, (0, 0), (BOX_WIDTH, height), ["battery", circuit.battery], look)
    _add_device(drawing, (right, 0), (BOX_WIDTH, height), ["inverter", circuit.inverter], look)
    plus, minus = height - 0.7, 0.7
    add_wire(drawing, (BOX_WIDTH, plus), (right, plus))
    add_wire(drawing, (BOX_WIDTH, minus), (right, minus))
    for x, sign_x in ((BOX_WIDTH, BOX_WIDTH - 0.4), (right, right + 0.4)):
        for y, sign in ((plus, "+"), (minus, "−")):
            add_dot(drawing, (x, y), look, ring=True)
            add_text(drawing, sign, sign_x, y, SIGN_SIZE)
    add_fuse(drawing, (BOX_WIDTH + 1.6, plus), look, upright=False)
    _add_lines(drawing, ["fuse", circuit.fuse], (BOX_WIDTH + 1.6, plus + 0.6), up=True)
    middle = (BOX_WIDTH + 3.2 + right) / 2
    _add_lines(drawing, ["cable", circuit.cable], (middle, plus + 0.5), up=True)
    _add_lines(drawing, [_arrow(circuit.current, "→")], (middle, plus - 0.55), up=False)
    _add_lines(drawing, [_arrow(circuit.current, "←")], (middle, minus + 0.5), up=True)
    add_text(drawing, "○ a lug at each end of both conductors", (BOX_WIDTH + right) / 2, -0.2)
    return picture(drawing)


def _narrow(circuit: BatteryCircuit, look: Look) -> str:
    drawing = new_drawing(look)
    width, height, top = 8.6, 2.2, 8.2
    minus, plus = 1.5, 6.2
    _add_device(drawing, (0, top), (width, height), ["battery", circuit.battery], look, LABEL_WIDTH * 2)
    _add_device(drawing, (0, 0), (width, height), ["inverter", circuit.inverter], look, LABEL_WIDTH * 2)
    for x, sign in ((minus, "−"), (plus, "+")):
        add_wire(drawing, (x, top), (x, height))
        for y, sign_y in ((top, top + 0.4), (height, height - 0.4)):
            add_dot(drawing, (x, y), look, ring=True)
            add_text(drawing, sign, x, sign_y, SIGN_SIZE)
    add_fuse(drawing, (plus, top - 1.3), look, upright=True)
    _add_beside(drawing, ["fuse", circuit.fuse], (plus + 0.5, top - 1.3))
    _add_beside(drawing, ["cable", circuit.cable], (plus + 0.5, top - 3.8))
    _add_lines(drawing, [_arrow(circuit.current, "↓")], (plus - 0.3, height + 1.6), up=False, side="right")
    _add_lines(drawing, [_arrow(circuit.current, "↑")], (minus + 0.3, top - 1.2), up=False, side="left")
    add_text(drawing, "○ a lug at each end of both conductors", width / 2, -0.6)
    return picture(drawing)


def _arrow(current: str, direction: str) -> str:
    return f"{direction} {current}" if current else ""


def _add_device(
    drawing: schemdraw.Drawing,
    corner: Place,
    size: Place,
    parts: list[str],
    look: Look,
    width: int = LABEL_WIDTH,
) -> None:
    add_box(drawing, corner, size, wrapped(parts, width), look)


def _add_lines(drawing: schemdraw.Drawing, parts: list[str], place: Place, *, up: bool, side: str = "center") -> None:
    """Add lines of text above a place, the last one lowest, or below it."""
    lines = wrapped(parts, 22)
    for number, line in enumerate(reversed(lines) if up else lines):
        add_text(drawing, line, place[0], place[1] + (0.45 if up else -0.45) * number, side=side)


def _add_beside(drawing: schemdraw.Drawing, parts: list[str], place: Place) -> None:
    lines = wrapped(parts, 10)
    for number, line in enumerate(lines):
        add_text(drawing, line, place[0], place[1] + 0.45 * ((len(lines) - 1) / 2 - number), side="left")


def _sentence(circuit: BatteryCircuit) -> str:
    def text(name: str, label: str) -> str:
        return f"{name} ({label})" if label else name

    carried = f" The current: {circuit.current}." if circuit.current else ""
    return (
        f"The battery's plus goes to the {text('fuse', circuit.fuse)} close beside it, on through the "
        f"{text('cable', circuit.cable)} to the plus of the {text('inverter', circuit.inverter)}; the inverter's minus "
        f"goes back to the minus of the {text('battery', circuit.battery)}.{carried} Each conductor ends in a lug."
    )
