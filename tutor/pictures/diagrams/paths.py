"""The ways from supply, array and battery to the loads, with the way of the moment drawn thick."""

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

import schemdraw

from tutor.pictures.diagrams.drawing import (
    THICK,
    THIN,
    Diagram,
    Place,
    add_box,
    add_dot,
    add_text,
    add_wire,
    new_drawing,
    picture,
    wrapped,
)
from tutor.pictures.looks import LIGHT, Look
from tutor.trade.transfer import Source

SUPPLY, ARRAY, BATTERY = Source.SUPPLY, Source.ARRAY, Source.BATTERY
BOX_WIDTH, BOX_HEIGHT = 2.5, 1.9
PITCH_WIDE, PITCH_NARROW = 5.2, 3.4
TOP, MIDDLE, BOTTOM = 7.4, 3.7, 0.0


@dataclass(frozen=True)
class PathLabels:
    """What stands at each part, '' where nothing is said of it; an array of None is left out."""

    supply: str = ""
    array: str | None = None
    battery: str = ""
    inverter: str = ""
    loads: str = ""
    transfer: str = ""


@lru_cache(maxsize=256)
def source_paths(feeding: frozenset[Source] | None, labels: PathLabels, look: Look = LIGHT) -> Diagram:
    """Draw the supply's way through and the inverter's way to the loads, the way of the moment thick and named.

    `feeding` says which sources feed the loads; empty if nothing does, None leaves it open.
    """
    return Diagram(
        _drawn(feeding, labels, PITCH_WIDE, look),
        _drawn(feeding, labels, PITCH_NARROW, look),
        _sentence(feeding, labels),
    )


def _drawn(feeding: frozenset[Source] | None, labels: PathLabels, pitch: float, look: Look) -> str:
    drawing = new_drawing(look)
    active = feeding or frozenset()
    left, centre, right = 0.0, pitch, 2 * pitch
    for name, label, x, y in (
        ("supply", labels.supply, left, TOP),
        ("loads", labels.loads, right, TOP),
        *([("array", labels.array, left, MIDDLE)] if labels.array is not None else []),
        ("inverter", labels.inverter, centre, MIDDLE),
        ("battery", labels.battery, centre, BOTTOM),
    ):
        lines = [name, *wrapped([label], 13)]
        add_box(drawing, (x - BOX_WIDTH / 2, y - BOX_HEIGHT / 2), (BOX_WIDTH, BOX_HEIGHT), lines, look)
    half, tall = BOX_WIDTH / 2, BOX_HEIGHT / 2
    by_inverter = active & {ARRAY, BATTERY}
    _add_path(drawing, (left + half, TOP), (centre - 0.7, TOP), thick=SUPPLY in active)
    _add_path(drawing, (centre, MIDDLE + tall), (centre, TOP - 0.8), thick=bool(by_inverter))
    _add_path(drawing, (centre + 0.7, TOP), (right - half, TOP), thick=bool(active))
    if labels.array is not None:
        _add_path(drawing, (left + half, MIDDLE), (centre - half, MIDDLE), thick=ARRAY in active)
    _add_path(drawing, (centre, BOTTOM + tall), (centre, MIDDLE - tall), thick=BATTERY in active)
    _add_transfer(drawing, centre, feeding, look)
    _add_words(drawing, centre, right, feeding, labels)
    return picture(drawing)


def _add_path(drawing: schemdraw.Drawing, start: Place, end: Place, *, thick: bool) -> None:
    add_wire(drawing, start, end, width=THICK if thick else THIN, dashed=not thick)


def _add_transfer(drawing: schemdraw.Drawing, x: float, feeding: frozenset[Source] | None, look: Look) -> None:
    """The transfer's contacts: the supply's at the left, the inverter's below, the loads' at the right."""
    supply, inverter, loads = (x - 0.7, TOP), (x, TOP - 0.8), (x + 0.7, TOP)
    if feeding:
        for source, contact in ((SUPPLY, supply), (None, inverter)):
            if source in feeding if source else feeding & {ARRAY, BATTERY}:
                add_wire(drawing, loads, contact, width=THICK)
    else:
        add_wire(drawing, loads, (x - 0.25, TOP + 0.55), width=THIN)
    for contact in (supply, inverter, loads):
        add_dot(drawing, contact, look, ring=True)


def _add_words(
    drawing: schemdraw.Drawing, centre: float, right: float, feeding: frozenset[Source] | None, labels: PathLabels
) -> None:
    add_text(drawing, "transfer", centre, TOP + 1.3)
    if labels.transfer:
        add_text(drawing, labels.transfer, centre, TOP + 0.85)
    words = "fed by: ?" if feeding is None else "fed by nothing"
    if feeding:
        words = "fed now"
    add_text(drawing, words, right, TOP - BOX_HEIGHT / 2 - 0.4)
    for number, source in enumerate(_in_order(feeding or ())):
        add_text(drawing, f"by the {source}", right, TOP - BOX_HEIGHT / 2 - 0.85 - 0.45 * number)


def _in_order(sources: Collection[Source]) -> list[Source]:
    return [source for source in (SUPPLY, ARRAY, BATTERY) if source in sources]


def _sentence(feeding: frozenset[Source] | None, labels: PathLabels) -> str:
    def text(name: str, label: str) -> str:
        return f"{name} ({label})" if label else name

    behind = text("battery", labels.battery)
    if labels.array is not None:
        behind = f"{text('array', labels.array)} and the {behind}"
    way_there = (
        f"The {text('supply', labels.supply)} can feed the {text('loads', labels.loads)} straight through the "
        f"{text('transfer', labels.transfer)}; the {behind} can feed them through the "
        f"{text('inverter', labels.inverter)} and the transfer."
    )
    return f"{way_there} {_feeding_sentence(feeding)}"


def _feeding_sentence(feeding: frozenset[Source] | None) -> str:
    if feeding is None:
        return "Which way is in use is left open, so none is drawn thick."
    if not feeding:
        return "At this moment nothing feeds the loads: no way is drawn thick."
    sources = " and the ".join(_in_order(feeding))
    ways = {
        (True, False): "the way straight through",
        (False, True): "the way through the inverter",
        (True, True): "both ways",
    }
    way = ways[SUPPLY in feeding, bool(feeding & {ARRAY, BATTERY})]
    return f"At this moment the {sources} {'feeds' if len(feeding) == 1 else 'feed'} them: {way}, drawn thick."
