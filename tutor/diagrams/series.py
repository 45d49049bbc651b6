"""A series string, from module to module and to the charger."""

import textwrap
from functools import lru_cache

import schemdraw

from tutor.diagrams.drawing import (
    POLE,
    SIGN_SIZE,
    Diagram,
    add_box,
    add_ends,
    add_text,
    add_wire,
    new_drawing,
    picture,
)
from tutor.looks import LIGHT, Look

ALL_SHOWN_WIDE = 6
ALL_SHOWN_NARROW = 3
LABEL_WIDTH = 9

# Four columns fit a phone.
BOX_WIDTH, BOX_HEIGHT, GAP = 1.7, 2.4, 0.55
PITCH = BOX_WIDTH + GAP
LEAD_Y = BOX_HEIGHT / 2
LABEL_Y, TURN_Y, SWITCH_TOP = -0.6, -1.2, -2.1


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
        _drawn(columns(count, ALL_SHOWN_WIDE), module_label, string_label, ends, look),
        _drawn(columns(count, ALL_SHOWN_NARROW), module_label, string_label, ends, look),
        _sentence(count, module_label, string_label, ends),
    )


def columns(count: int | None, all_shown: int) -> list[str]:
    """Name the columns: the numbers, or the first two, how many are left out, and the last."""
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


def _drawn(shown: list[str], module_label: str, string_label: str, ends: str, look: Look) -> str:
    """Draw the columns from the left at 0, then what their two ends lead to."""
    drawing = new_drawing(look)
    _add_modules(drawing, shown, module_label, look)
    width = len(shown) * PITCH - GAP
    middle = width / 2
    minus, plus = add_ends(drawing, middle, SWITCH_TOP, ends, look)
    add_text(drawing, string_label, middle, LABEL_Y, 16)
    for entry, edge, outer in (
        (minus, 0.0, min(-0.4, middle - POLE)),
        (plus, width, max(width + 0.4, middle + POLE)),
    ):
        add_wire(drawing, (edge, LEAD_Y), (outer, LEAD_Y), (outer, TURN_Y), (entry[0], TURN_Y), entry)
    return picture(drawing)


def _add_modules(drawing: schemdraw.Drawing, shown: list[str], module_label: str, look: Look) -> None:
    for place, column in enumerate(shown):
        x = place * PITCH
        if place:
            add_wire(drawing, (x - GAP, LEAD_Y), (x, LEAD_Y))
        if column.endswith("more"):
            add_text(drawing, "• • • •", x + BOX_WIDTH / 2, LEAD_Y)
            add_text(drawing, column, x + BOX_WIDTH / 2, LEAD_Y + 0.6)
            continue
        number = "last" if column == "last" else f"no. {column}"
        lines = [number, *textwrap.wrap(module_label, LABEL_WIDTH)]
        add_box(drawing, (x, 0), (BOX_WIDTH, BOX_HEIGHT), lines, look)
        add_text(drawing, "−", x + 0.28, BOX_HEIGHT - 0.35, SIGN_SIZE)
        add_text(drawing, "+", x + BOX_WIDTH - 0.28, BOX_HEIGHT - 0.35, SIGN_SIZE)
