"""Strings side by side, each with its fuse or without, on two busbars."""

from functools import lru_cache

import schemdraw

from tutor.pictures.diagrams.drawing import (
    POLE,
    SIGN_SIZE,
    Diagram,
    add_box,
    add_dot,
    add_ends,
    add_fuse,
    add_text,
    add_wire,
    new_drawing,
    picture,
    wrapped,
)
from tutor.pictures.diagrams.series import ALL_SHOWN_NARROW, columns
from tutor.pictures.looks import LIGHT, Look

ALL_SHOWN_WIDE = 5
LABEL_WIDTH = 9
OPEN = "?"
BOX_WIDTH, BOX_HEIGHT, PITCH = 1.95, 2.8, 2.25
FUSE_Y, PLUS_Y, MINUS_Y = BOX_HEIGHT + 1.1, BOX_HEIGHT + 2.2, -0.7
TURN_Y, SWITCH_TOP = -1.5, -2.4


@lru_cache(maxsize=256)
def parallel_strings(
    count: int | None,
    string_label: str,
    together_label: str,
    fuse_label: str | None = None,
    ends: str = "charger's array input",
    look: Look = LIGHT,
) -> Diagram:
    """Draw strings in parallel between a plus and a minus busbar, then a DC disconnect and `ends`.

    `string_label` stands in every string ('3 modules, 9.5 A'), `together_label` where the currents have met ('' if
    nothing is said of them), `fuse_label` at the fuse of every string: '?' leaves open whether there is one, and None
    leaves the fuses out.  `count` None leaves open how many strings there are.
    Raises ValueError if there is no string.
    """
    if count is not None and count < 1:
        raise ValueError("There is at least one string.")
    parts = (string_label, together_label, fuse_label, ends, look)
    return Diagram(
        _drawn(columns(count, ALL_SHOWN_WIDE), *parts),
        _drawn(columns(count, ALL_SHOWN_NARROW), *parts),
        _sentence(count, string_label, together_label, fuse_label, ends),
    )


def _drawn(
    shown: list[str], string_label: str, together_label: str, fuse_label: str | None, ends: str, look: Look
) -> str:
    drawing = new_drawing(look)
    centres = [PITCH * index + BOX_WIDTH / 2 for index in range(len(shown))]
    for x, column in zip(centres, shown, strict=True):
        _add_string(drawing, x, column, string_label, fuse_label, look)
    middle = (centres[0] + centres[-1]) / 2
    minus, plus = add_ends(drawing, middle, SWITCH_TOP, ends, look)
    right = max(centres[-1] + BOX_WIDTH / 2 + 0.45, middle + POLE)
    add_wire(drawing, (centres[0], PLUS_Y), (right, PLUS_Y), (right, TURN_Y), (plus[0], TURN_Y), plus)
    add_wire(drawing, (centres[-1], MINUS_Y), (min(centres[0], minus[0]), MINUS_Y), (minus[0], MINUS_Y), minus)
    add_text(drawing, "+", min(centres[0] - 0.55, middle - 2.3), PLUS_Y + 0.35, SIGN_SIZE)
    add_text(drawing, "−", centres[0] - 0.55, MINUS_Y + 0.3, SIGN_SIZE)
    if together_label:
        add_text(drawing, f"together: {together_label}", middle, PLUS_Y + 0.5, 16)
    return picture(drawing)


def _add_string(
    drawing: schemdraw.Drawing, x: float, column: str, string_label: str, fuse_label: str | None, look: Look
) -> None:
    if column.endswith("more"):
        add_text(drawing, "• • • •", x, BOX_HEIGHT / 2)
        add_text(drawing, column, x, BOX_HEIGHT / 2 + 0.6)
        return
    add_wire(drawing, (x, MINUS_Y), (x, 0))
    add_wire(drawing, (x, BOX_HEIGHT), (x, PLUS_Y))
    add_dot(drawing, (x, MINUS_Y), look)
    add_dot(drawing, (x, PLUS_Y), look)
    name = "last" if column == "last" else f"no. {column}"
    lines = [f"{name}", *wrapped([string_label], LABEL_WIDTH)]
    add_box(drawing, (x - BOX_WIDTH / 2, 0), (BOX_WIDTH, BOX_HEIGHT), lines, look)
    add_text(drawing, "+", x + 0.6, BOX_HEIGHT - 0.3, SIGN_SIZE)
    add_text(drawing, "−", x + 0.6, 0.3, SIGN_SIZE)
    if fuse_label is not None:
        add_fuse(drawing, (x, FUSE_Y), look, upright=True)
        add_text(drawing, fuse_label, x + 0.36, FUSE_Y, 13, "left")


def _sentence(count: int | None, string_label: str, together_label: str, fuse_label: str | None, ends: str) -> str:
    together = f", to {together_label} together" if together_label else ""
    if count == 1:
        wiring = f"One string ({string_label}) stands alone"
    else:
        wiring = (
            f"{count or 'Some'} strings in parallel, each with {string_label}: their pluses meet at one busbar and "
            f"their minuses at another, so their currents add{together}"
        )
    fuses = f"Each string has a fuse ({fuse_label}) in its plus before the busbar."
    if fuse_label == OPEN:
        fuses = "A fuse with a question mark stands in each string's plus: whether it is needed is left open."
    if fuse_label is None:
        fuses = "Fuses are not drawn: whether each string needs one is a question of its own."
    return f"{wiring}. {fuses} From the busbars two wires go to the DC disconnect and on to the {ends}."
