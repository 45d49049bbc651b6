"""Tables: a value by one or more keys, standard sizes in rising order, each row with its source and standing.

Keys and values are in working units; a conductor's size is its cross-section in square metres.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from tutor.base.units import conversion, written

LOOK_UPS_KEPT = 1024
_SAME = 0.005  # shares by which two figures for one size differ at most: 18 AWG is 0.26 % off its diameter law
_REPRESENTATION = 1e-9  # so much a converted value may miss the edge of a band, or a size, by binary rounding


class TableError(ValueError):
    """A value for which a table has no row; the message says what the table covers."""


@dataclass(frozen=True)
class Key:
    """One key of a table: its column, and how a value finds its row.

    `match` is 'equal' (a conductor's size, an insulation), 'at_or_below' (the row at or below the value, for values
    below `end`) or 'at_or_above' (the row at or above the value; an empty cell has no upper end).
    """

    name: str
    column: str
    unit: str = ""
    match: str = "equal"
    end: float = math.inf


@dataclass(frozen=True)
class Table:
    """One table of one rulebook.

    `kind` is 'bands' (a value by the band of one key), 'sizes' (standard sizes, ascending), 'grid' (a value by its
    keys, of which one at most is a band), 'numbers' (single figures by name) or 'statements' (rows to read, as of what
    another edition changes, by `value`; none is looked up).  `rows` are the CSV's rows, with
    `source` and `standing` in each; `areas` gives the cross-section of each size that a row may name.  `between` says
    what counts for a cross-section that is no standard size: 'smaller' (the next smaller size's value), 'by area' (the
    larger of what its two neighbors' values come to at this cross-section: a resistance) or '' (nothing does).
    """

    name: str
    title: str
    kind: str
    value: str
    value_unit: str
    rows: tuple[Mapping[str, str], ...]
    keys: tuple[Key, ...] = ()
    areas: Mapping[str, float] = field(default_factory=dict)
    between: str = ""

    @property
    def key(self) -> str:
        """The column of the first key."""
        return self.keys[0].column if self.keys else ""

    @property
    def key_unit(self) -> str:
        """The unit of the first key."""
        return self.keys[0].unit if self.keys else ""

    @cached_property
    def sizes(self) -> list[float]:
        """The standard sizes in working units, ascending."""
        return sorted(self._read(row[self.value], self.value_unit) for row in self.rows)

    def listed(self, name: str) -> list[float]:
        """The values that a key takes in the table, ascending, in working units."""
        return self._values[[key.name for key in self.keys].index(name)]

    def look_up(self, *keys: float, **named: float) -> float:
        """The value for the keys, given in the table's order or by name, all in working units.

        Raises TableError outside the table, TypeError for a key too few or too many.
        """
        values = self._in_order(keys, named)
        value = self._looked_up.get(values)
        if value is None:
            if len(self._looked_up) >= LOOK_UPS_KEPT:
                self._looked_up.clear()
            value = self._looked_up[values] = self._value_for(values)
        return value

    @cached_property
    def _looked_up(self) -> dict[tuple[float, ...], float]:
        """The latest look-ups: the many wrong ways of one problem ask for the same rows over and over."""
        return {}

    def _value_for(self, values: tuple[float, ...]) -> float:
        if self.between == "by area" and (around := self.sizes_around(values[0])):
            return max(self.look_up(size, *values[1:]) * size for size in around) / values[0]
        equal = tuple(self._listed(index, values[index]) for index in self._equal)
        if equal not in self._columns:
            raise TableError(f"the table '{self.title}' has no row for these keys together")
        edges, column = self._columns[equal]
        if self._band is None:
            return column[0]
        return column[self._band_of(self.keys[self._band], edges, values[self._band])]

    def sizes_around(self, area: float) -> tuple[float, float] | None:
        """The listed sizes below and above a cross-section (m²) that is no standard size; None for any other."""
        if not self.between or any(same(size, area) for size in self.areas.values()):
            return None
        listed = self._values[0]
        near = bisect_left(listed, area)
        return (listed[near - 1], listed[near]) if 0 < near < len(listed) else None

    def at_most(self, limits: "Table") -> "Table":
        """The table with no value above its size's limit in another table of the same unit.

        A row that is limited tells the limit's note, and both sources.
        """
        rows = {row[limits.key]: row for row in limits.rows}

        def limited(row: Mapping[str, str]) -> Mapping[str, str]:
            limit = rows.get(row[self.key])
            if limit is None or float(row[self.value]) <= float(limit[limits.value]):
                return row
            source = f"{row['source']}; {limit['source']}"
            return {**row, self.value: limit[limits.value], "note": limit["note"], "source": source}

        return replace(self, rows=tuple(limited(row) for row in self.rows))

    def first_at_least(self, value: float) -> float:
        """The smallest standard size that is not below the value, in working units.

        Raises TableError above the largest size.
        """
        index = bisect_left(self.sizes, value * (1 - _REPRESENTATION))
        if index == len(self.sizes):
            largest = written(conversion(self.value_unit).to_shown(self.sizes[-1]), self.value_unit)
            raise TableError(f"the largest size in '{self.title}' is {largest}")
        return self.sizes[index]

    def last_at_most(self, value: float) -> float:
        """The largest standard size that is not above the value, in working units.

        Raises TableError below the smallest size.
        """
        index = bisect_right(self.sizes, value * (1 + _REPRESENTATION))
        if not index:
            smallest = written(conversion(self.value_unit).to_shown(self.sizes[0]), self.value_unit)
            raise TableError(f"the smallest size in '{self.title}' is {smallest}")
        return self.sizes[index - 1]

    def next_below(self, value: float) -> float:
        """The largest standard size below a value, in working units: 0 where there is none."""
        index = bisect_left(self.sizes, value * (1 - _REPRESENTATION))
        return self.sizes[index - 1] if index else 0.0

    def first_size(self, value: float, *others: float, **named: float) -> float:
        """The smallest conductor size (m²) whose value is at least this one, the other keys being given.

        Raises TableError if no size reaches it.
        """
        return self._first(lambda looked_up: looked_up >= value * (1 - _REPRESENTATION), others, named)

    def first_size_above(self, value: float, *others: float, **named: float) -> float:
        """The smallest conductor size (m²) whose value is larger than this one, the other keys being given.

        Raises TableError if no size's is.
        """
        return self._first(lambda looked_up: looked_up > value * (1 + _REPRESENTATION), others, named)

    def first_size_at_most(self, value: float, *others: float, **named: float) -> float:
        """The smallest conductor size (m²) whose value is at most this one: for a resistance, which falls with size.

        Raises TableError if no size comes down to it.
        """
        return self._first(lambda looked_up: looked_up <= value * (1 + _REPRESENTATION), others, named)

    def _first(self, fits: Callable[[float], bool], further: tuple[float, ...], named: Mapping[str, float]) -> float:
        ordered = self._in_order((0.0, *further), named)[1:]
        if ordered not in self._by_size:
            self._by_size[ordered] = [(area, self.look_up(area, *ordered)) for area in self._values[0]]
        for area, value in self._by_size[ordered]:
            if fits(value):
                return area
        several = "; several of one size, length and kind may do in parallel" if self.value_unit == "A" else ""
        largest = self._told(0, self._values[0][-1])
        raise TableError(f"no size in '{self.title}' will do; the largest is {largest}{several}")

    def row_before(self, *keys: float) -> float:
        """The value one row above the right one: what someone reads whose eye slips.

        Raises TableError outside the table, and if there is no such row.
        """
        return self._beside(keys, -1)

    def row_after(self, *keys: float) -> float:
        """The value one row below the right one.  Raises TableError as row_before does."""
        return self._beside(keys, 1)

    def size_before(self, size: float) -> float:
        """The standard size below a standard size.  Raises TableError if there is none."""
        return self._size_beside(size, -1)

    def size_after(self, size: float) -> float:
        """The standard size above a standard size.  Raises TableError if there is none."""
        return self._size_beside(size, 1)

    def _beside(self, keys: tuple[float, ...], offset: int) -> float:
        values = self._in_order(keys, {})
        equal = tuple(self._listed(index, values[index]) for index in self._equal)
        if self._band is None:
            rows = self._values[0]
            near = (rows[self._place(rows, equal[0], offset)], *equal[1:])
            return self.look_up(*near)
        edges, column = self._columns[equal]
        index = self._band_of(self.keys[self._band], edges, values[self._band])
        return column[self._place(edges, edges[index], offset)]

    def _size_beside(self, size: float, offset: int) -> float:
        sizes = self.sizes if self.kind == "sizes" else self._values[0]
        return sizes[self._place(sizes, size, offset)]

    def _place(self, listed: Sequence[float], value: float, offset: int) -> int:
        index = next((place for place, number in enumerate(listed) if same(number, value)), None)
        if index is None or not 0 <= index + offset < len(listed):
            raise TableError(f"the table '{self.title}' has no row beside this one")
        return index + offset

    def _read(self, text: str, unit: str) -> float:
        return self.areas[text] if text in self.areas else conversion(unit).to_working(float(text))

    def _in_order(self, keys: tuple[float, ...], named: Mapping[str, float]) -> tuple[float, ...]:
        if len(keys) == len(self.keys) and not named:
            return keys
        wanted = [key.name for key in self.keys[len(keys) :]]
        if len(keys) > len(self.keys) or sorted(wanted) != sorted(named):
            raise TypeError(f"the keys of the table '{self.name}' are: {', '.join(key.name for key in self.keys)}")
        return (*keys, *(named[name] for name in wanted))

    @cached_property
    def _by_size(self) -> dict[tuple[float, ...], list[tuple[float, float]]]:
        return {}

    @cached_property
    def _equal(self) -> list[int]:
        return [index for index, key in enumerate(self.keys) if key.match == "equal"]

    @cached_property
    def _band(self) -> int | None:
        return next((index for index, key in enumerate(self.keys) if key.match != "equal"), None)

    @cached_property
    def _values(self) -> list[list[float]]:
        """The values that each key takes, ascending."""
        return [sorted({self._edge(row, key) for row in self.rows}) for key in self.keys]

    @cached_property
    def _columns(self) -> dict[tuple[float, ...], tuple[list[float], list[float]]]:
        """The band's edges, ascending, and the values, for each combination of the keys that have to be equal."""
        pairs: dict[tuple[float, ...], list[tuple[float, float]]] = {}
        for row in self.rows:
            edges = [self._edge(row, key) for key in self.keys]
            equal = tuple(edges[index] for index in self._equal)
            edge = 0.0 if self._band is None else edges[self._band]
            pairs.setdefault(equal, []).append((edge, self._read(row[self.value], self.value_unit)))
        return {
            equal: ([e for e, _ in sorted(column_pairs)], [v for _, v in sorted(column_pairs)])
            for equal, column_pairs in pairs.items()
        }

    def _edge(self, row: Mapping[str, str], key: Key) -> float:
        return self._read(row[key.column] or "inf", key.unit)

    def _listed(self, index: int, value: float) -> float:
        """The table's own figure for a key that has to be equal."""
        listed = self._values[index]
        near = bisect_left(listed, value * (1 - _SAME))
        if near < len(listed) and same(listed[near], value):
            return listed[near]
        if index == 0 and (around := self.sizes_around(value)):
            return around[0]
        listing = ", ".join(self._told(index, number) for number in listed)
        raise TableError(f"the table '{self.title}' has no row for {self._told(index, value)}; it has {listing}")

    def _band_of(self, key: Key, edges: list[float], value: float) -> int:
        slack = _REPRESENTATION * max(1.0, abs(value))
        if key.match == "at_or_above":
            if value <= edges[-1] + slack:
                return bisect_left(edges, value - slack)
            raise TableError(f"the table '{self.title}' ends at {_shown(key, edges[-1])}")
        if edges[0] - slack <= value < conversion(key.unit).to_working(key.end) - slack:
            return bisect_right(edges, value + slack) - 1
        low, end = _shown(key, edges[0]), written(key.end, key.unit)
        raise TableError(f"the table '{self.title}' runs from {low} to just below {end}")

    def _told(self, index: int, value: float) -> str:
        named = (name for name, area in self.areas.items() if self.keys[index].unit == "mm^2" and same(area, value))
        return next(named, None) or _shown(self.keys[index], value)


def same(listed: float, value: float) -> bool:
    """Whether a value is the listed one, as far as two printed figures for one size go."""
    return abs(listed - value) <= _SAME * listed


def _shown(key: Key, value: float) -> str:
    return written(conversion(key.unit).to_shown(value), key.unit)
