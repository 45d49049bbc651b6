"""Wiring diagrams drawn from a problem's own numbers, as SVG with the same said in words."""

import html
import itertools
import re
import textwrap
from dataclasses import dataclass
from functools import lru_cache

import schemdraw
from schemdraw import elements
from schemdraw.segments import Segment, SegmentText

from tutor.app.theme import LIGHT, Look

ALL_SHOWN_WIDE = 6
ALL_SHOWN_NARROW = 3
LABEL_WIDTH = 9
SIGN_SIZE = 20
_POINTS = re.compile(r'((?:height|width)="[\d.]+)pt"')
FONT = "Source Sans, Segoe UI, Helvetica, Arial, sans-serif"

# One drawing unit is 36 pixels; four columns then fit a phone of 360 pixels with the page's margins.
BOX_WIDTH, BOX_HEIGHT, GAP = 1.7, 2.4, 0.55
PITCH = BOX_WIDTH + GAP
LEAD_Y = BOX_HEIGHT / 2
LABEL_Y, TURN_Y = -0.6, -1.2
SWITCH_TOP, SWITCH_HEIGHT = -2.1, 1.5
CHARGER_TOP, CHARGER_HEIGHT = -4.6, 1.6
POLE = 2.2


@dataclass(frozen=True)
class Diagram:
    """A drawing for a wide and one for a narrow screen, and the sentence that says what both show."""

    svg: str
    narrow_svg: str
    sentence: str


def _box(width: float, height: float, lines: list[str], look: Look) -> elements.Element:
    """A rectangle with lines of text at its middle; its lower left corner is placed."""
    box = elements.Element()
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height), (0.0, 0.0)]
    box.segments.append(Segment(corners, fill=look.raised, color=look.text, lw=1.8))
    box.segments.append(SegmentText((width / 2, height / 2), _plain("\n".join(lines)), align=("center", "center")))
    return box.theta(0)


def _plain(text: str) -> str:
    """Keep the drawing library from reading a label as markup or as a formula."""
    return html.escape(text.replace("$", ""), quote=False)


@lru_cache(maxsize=256)
def series_string(
    count: int | None, module_label: str, string_label: str, ends: str = "charger's array input", look: Look = LIGHT
) -> Diagram:
    """Draw a series string: plus of one module to minus of the next, its two ends to a DC disconnect, then to `ends`.

    `module_label` stands in every module ('41.3 V'), `string_label` between the string's two ends ('371.7 V');
    `count` None leaves open how many modules there are.  Raises ValueError if there is no module.
    """
    if count is not None and count < 1:
        raise ValueError("A string has at least one module.")
    return Diagram(
        _drawn(_columns(count, ALL_SHOWN_WIDE), module_label, string_label, ends, look),
        _drawn(_columns(count, ALL_SHOWN_NARROW), module_label, string_label, ends, look),
        _sentence(count, module_label, string_label, ends),
    )


def _columns(count: int | None, all_shown: int) -> list[str]:
    """Name the columns: the modules' numbers, or the first two, how many are left out, and the last."""
    if count is None:
        return ["1", "2", "? more", "last"]
    if count <= all_shown:
        return [str(number) for number in range(1, count + 1)]
    left_out = count - 3
    return ["1", "2", f"{left_out} more", str(count)]


def _sentence(count: int | None, module_label: str, string_label: str, ends: str) -> str:
    if count == 1:
        wiring = f"One module ({module_label}) makes the whole string"
    else:
        wiring = (
            f"{count or 'Some'} modules in series, each {module_label}: the plus of each goes to the minus of "
            "the next, so their voltages add"
        )
    return (
        f"{wiring}. The first module's minus and the last module's plus are the string's two ends, "
        f"with {string_label} between them. Both ends go to the DC disconnect and from there to the {ends}."
    )


def _drawn(columns: list[str], module_label: str, string_label: str, ends: str, look: Look) -> str:
    """Draw the columns from the left at 0, then what their two ends lead to."""
    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(
        unit=1, inches_per_unit=0.5, fontsize=14, font=FONT, color=look.text, bgcolor=look.ground, margin=0.3
    )
    _add_modules(drawing, columns, module_label, look)
    _add_ends(drawing, len(columns) * PITCH - GAP, string_label, ends, look)
    picture: str = drawing.get_imagedata("svg").decode()
    return _POINTS.sub(r'\1px"', picture, count=2)


def _add_modules(drawing: schemdraw.Drawing, columns: list[str], module_label: str, look: Look) -> None:
    for place, column in enumerate(columns):
        x = place * PITCH
        if place:
            _add_wire(drawing, (x - GAP, LEAD_Y), (x, LEAD_Y))
        if column.endswith("more"):
            _add_text(drawing, "• • • •", x + BOX_WIDTH / 2, LEAD_Y)
            _add_text(drawing, column, x + BOX_WIDTH / 2, LEAD_Y + 0.6)
            continue
        number = "last" if column == "last" else f"no. {column}"
        lines = [number, *textwrap.wrap(module_label, LABEL_WIDTH)]
        drawing.add(_box(BOX_WIDTH, BOX_HEIGHT, lines, look).at((x, 0)))
        _add_text(drawing, "−", x + 0.28, BOX_HEIGHT - 0.35, SIGN_SIZE)
        _add_text(drawing, "+", x + BOX_WIDTH - 0.28, BOX_HEIGHT - 0.35, SIGN_SIZE)


def _add_ends(drawing: schemdraw.Drawing, width: float, string_label: str, ends: str, look: Look) -> None:
    """Lead both ends down through the two poles of the disconnect."""
    middle = width / 2
    width_below = 2 * POLE + 1.4
    for lines, top, height in (
        (["DC", "disconnect"], SWITCH_TOP, SWITCH_HEIGHT),
        (textwrap.wrap(ends, 22), CHARGER_TOP, CHARGER_HEIGHT),
    ):
        drawing.add(_box(width_below, height, lines, look).at((middle - width_below / 2, top - height)))
    _add_text(drawing, string_label, middle, LABEL_Y, 16)
    for sign, pole, edge, outer in (
        ("−", middle - POLE, 0.0, min(-0.4, middle - POLE)),
        ("+", middle + POLE, width, max(width + 0.4, middle + POLE)),
    ):
        corners = [(edge, LEAD_Y), (outer, LEAD_Y), (outer, TURN_Y), (pole, TURN_Y), (pole, SWITCH_TOP - 0.35)]
        for start, end in itertools.pairwise(corners):
            if start != end:
                _add_wire(drawing, start, end)
        _add_switch(drawing, pole)
        _add_wire(drawing, (pole, SWITCH_TOP - SWITCH_HEIGHT + 0.35), (pole, CHARGER_TOP))
        _add_text(drawing, sign, pole + 0.35, SWITCH_TOP + 0.45, SIGN_SIZE)
        _add_text(drawing, sign, pole, CHARGER_TOP - 0.4, SIGN_SIZE)


def _add_switch(drawing: schemdraw.Drawing, x: float) -> None:
    """Draw one pole of the disconnect, open."""
    top, bottom = SWITCH_TOP - 0.35, SWITCH_TOP - SWITCH_HEIGHT + 0.35
    for y in (top, bottom):
        drawing.add(elements.Dot(radius=0.09).at((x, y)))
    _add_wire(drawing, (x, bottom), (x + 0.4, top - 0.05))


def _add_wire(drawing: schemdraw.Drawing, start: tuple[float, float], end: tuple[float, float]) -> None:
    drawing.add(elements.Line(lw=3).at(start).to(end))


def _add_text(drawing: schemdraw.Drawing, text: str, x: float, y: float, size: float = 14) -> None:
    centred = elements.Element()
    centred.segments.append(SegmentText((0, 0), _plain(text), align=("center", "center"), fontsize=size))
    drawing.add(centred.at((x, y)).theta(0))
