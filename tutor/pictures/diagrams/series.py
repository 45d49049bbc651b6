"""A series string, from module to module and to the charger."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import schemdraw

from tutor.pictures.diagrams.drawing import (
    POLE,
    SIGN_SIZE,
    Diagram,
    add_box,
    add_ends,
    add_hatching,
    add_text,
    add_wire,
    new_drawing,
    picture,
)
from tutor.pictures.looks import LIGHT, Look

ALL_SHOWN_WIDE = 6
ALL_SHOWN_NARROW = 3
# Of each of two kinds: together they take no more columns than one kind does.
OF_A_KIND_WIDE, OF_A_KIND_NARROW = 3, 2
LABEL_WIDTH = 9

# Four columns fit a phone.
BOX_WIDTH, BOX_HEIGHT, GAP = 1.7, 2.4, 0.55
PITCH = BOX_WIDTH + GAP
LABEL_Y, TURN_Y, SWITCH_TOP = -0.6, -1.2, -2.1
HATCHED, NAME_PITCH = 0.4, 0.55


@dataclass(frozen=True)
class ModuleKind:
    """Modules of one kind that lie side by side in a string: how many, what stands in each, and their name."""

    count: int
    label: str
    name: str


@dataclass(frozen=True)
class _Column:
    """A module, or a row of them left out: what stands in it, and whether it is of the second, hatched, kind."""

    lines: tuple[str, ...]
    left_out: bool = False
    hatched: bool = False


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
    wide, narrow = (
        [_column(text, module_label) for text in columns(count, most)] for most in (ALL_SHOWN_WIDE, ALL_SHOWN_NARROW)
    )
    return Diagram(
        _drawn(wide, [], string_label, ends, look),
        _drawn(narrow, [], string_label, ends, look),
        _sentence(_one_kind(count, module_label), string_label, ends),
    )


@lru_cache(maxsize=256)
def mixed_string(
    kinds: tuple[ModuleKind, ModuleKind], string_label: str, ends: str = "charger's array input", look: Look = LIGHT
) -> Diagram:
    """Draw a series string of two kinds of modules, the second one hatched; else as `series_string`.

    Raises ValueError if there is no module of a kind.
    """
    if any(kind.count < 1 for kind in kinds):
        raise ValueError("A string has at least one module of each kind.")
    legend = [f"Kind {letter}{hatched}: {kind.count} × {kind.name}" for kind, letter, hatched in _lettered(kinds)]
    return Diagram(
        _drawn(_of_two_kinds(kinds, OF_A_KIND_WIDE), legend, string_label, ends, look),
        _drawn(_of_two_kinds(kinds, OF_A_KIND_NARROW), legend, string_label, ends, look),
        _sentence(_two_kinds(kinds), string_label, ends),
    )


def _lettered(kinds: tuple[ModuleKind, ModuleKind]) -> list[tuple[ModuleKind, str, str]]:
    return list(zip(kinds, "AB", ("", " (hatched)"), strict=True))


def _of_two_kinds(kinds: tuple[ModuleKind, ModuleKind], most: int) -> list[_Column]:
    shown, before = [], 0
    for kind, letter, hatched in _lettered(kinds):
        label = f"kind {letter} {kind.label}"
        numbers = list(range(before + 1, before + kind.count + 1))
        texts = [str(number) for number in numbers]
        if kind.count > most:
            texts = [texts[0], f"{kind.count - most + 1} more", *texts[kind.count - most + 2 :]]
        shown += [_column(text, label, more_label=f"kind {letter}", hatched=bool(hatched)) for text in texts]
        before += kind.count
    return shown


def _column(text: str, module_label: str, *, more_label: str = "", hatched: bool = False) -> _Column:
    if text.endswith("more"):
        return _Column((text, more_label), left_out=True)
    number = "last" if text == "last" else f"no. {text}"
    return _Column((number, *textwrap.wrap(module_label, LABEL_WIDTH)), hatched=hatched)


def columns(count: int | None, all_shown: int) -> list[str]:
    """Name the columns: the numbers, or the first two, how many are left out, and the last."""
    if count is None:
        return ["1", "2", "? more", "last"]
    if count <= all_shown:
        return [str(number) for number in range(1, count + 1)]
    left_out = count - 3
    return ["1", "2", f"{left_out} more", str(count)]


def _one_kind(count: int | None, module_label: str) -> str:
    if count == 1:
        return f"One module ({module_label}) makes the whole string"
    return (
        f"{count or 'Some'} modules in series, each {module_label}: the plus of each goes to the minus of "
        "the next, so their voltages add"
    )


def _two_kinds(kinds: tuple[ModuleKind, ModuleKind]) -> str:
    sentences = [
        f"{kind.count} of kind {letter} ({kind.name}{', drawn hatched' if hatched else ''}, each {kind.label})"
        for kind, letter, hatched in _lettered(kinds)
    ]
    return (
        f"{sum(kind.count for kind in kinds)} modules of two kinds in series, {' and then '.join(sentences)}: "
        "the plus of each goes to the minus of the next, so their voltages add and one current flows through all"
    )


def _sentence(wiring: str, string_label: str, ends: str) -> str:
    return (
        f"{wiring}. The first module's minus and the last module's plus are the string's two ends, "
        f"with {string_label} between them. Both ends go to the DC disconnect and from there to the {ends}."
    )


def _drawn(shown: Sequence[_Column], legend: Sequence[str], string_label: str, ends: str, look: Look) -> str:
    """Draw the columns from the left at 0, then what their two ends lead to; the legend stands above."""
    drawing = new_drawing(look)
    height = BOX_HEIGHT + (HATCHED if legend else 0)
    lead_y = height / 2
    _add_modules(drawing, shown, height, look)
    width = len(shown) * PITCH - GAP
    middle = width / 2
    for place, line in enumerate(reversed(legend)):
        add_text(drawing, line, middle, height + NAME_PITCH * (place + 1))
    minus, plus = add_ends(drawing, middle, SWITCH_TOP, ends, look)
    add_text(drawing, string_label, middle, LABEL_Y, 16)
    for entry, edge, outer in (
        (minus, 0.0, min(-0.4, middle - POLE)),
        (plus, width, max(width + 0.4, middle + POLE)),
    ):
        add_wire(drawing, (edge, lead_y), (outer, lead_y), (outer, TURN_Y), (entry[0], TURN_Y), entry)
    return picture(drawing)


def _add_modules(drawing: schemdraw.Drawing, shown: Sequence[_Column], height: float, look: Look) -> None:
    lead_y = height / 2
    for place, column in enumerate(shown):
        x = place * PITCH
        if place:
            add_wire(drawing, (x - GAP, lead_y), (x, lead_y))
        if column.left_out:
            dots, kind = column.lines
            add_text(drawing, "• • • •", x + BOX_WIDTH / 2, lead_y)
            add_text(drawing, dots, x + BOX_WIDTH / 2, lead_y + 0.6)
            add_text(drawing, kind, x + BOX_WIDTH / 2, lead_y - 0.6)
            continue
        add_box(drawing, (x, 0), (BOX_WIDTH, height), column.lines, look)
        if column.hatched:
            add_hatching(drawing, (x, 0), (BOX_WIDTH, HATCHED), look)
        add_text(drawing, "−", x + 0.28, height - 0.35, SIGN_SIZE)
        add_text(drawing, "+", x + BOX_WIDTH - 0.28, height - 0.35, SIGN_SIZE)
