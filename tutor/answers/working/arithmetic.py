"""Whether one side of an equals sign is the other, at the precision written, and whether they measure the same."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tutor.answers.working.dims import PURE, Dimensions, MismatchError, dimension_of, dimensions_of, units_like
from tutor.answers.working.expression import Expression, Leaf, Number, Symbol, spread_of, value_of
from tutor.answers.working.sources import EXACT, Sources, is_near
from tutor.units import conversion, written_number

CUT_OFF = 0.005  # digits cut off instead of rounded do no harm up to this share
NO_NUMBER = (ZeroDivisionError, OverflowError, ValueError)

Mode = Literal["typed", "working"]
MODES: tuple[Mode, ...] = ("working", "typed")


@dataclass(frozen=True)
class Side:
    """A side with its values by mode (none where there is no value), how far each is open, and its dimensions."""

    expression: Expression
    values: Mapping[Mode, float]
    open_by: Mapping[Mode, float]
    dimensions: Dimensions
    mismatch: bool


class Arithmetic:
    """Evaluates sides; `known` gives the value that a symbol stands for, in working units."""

    def __init__(self, sources: Sources, known: Mapping[str, float]) -> None:
        self.sources, self.known = sources, known

    def side(self, expression: Expression) -> Side:
        """Evaluate a side."""
        values: dict[Mode, float] = {}
        open_by: dict[Mode, float] = {}
        for mode in MODES:
            try:
                numbers = [self._number(leaf, mode) for leaf in expression.leaves]
                widths = [self._width(leaf, mode) for leaf in expression.leaves]
                values[mode] = value_of(expression, numbers)
                open_by[mode] = spread_of(expression, numbers, widths)
            except (*NO_NUMBER, KeyError):
                values.pop(mode, None)
        number = expression.number
        if number is not None and number.unit is None:
            return Side(expression, values, open_by, None, mismatch=False)
        try:
            bare = [place for place, leaf in enumerate(expression.leaves) if self.sources.is_bare(leaf)]
            dimensions = dimensions_of(expression.term, [self._dimensions(leaf) for leaf in expression.leaves], bare)
            return Side(expression, values, open_by, dimensions, mismatch=False)
        except MismatchError:
            return Side(expression, values, open_by, None, mismatch=True)

    def _number(self, leaf: Leaf, mode: Mode) -> float:
        if isinstance(leaf, Symbol):
            if len(leaf.names) != 1:
                raise KeyError(leaf.text)
            value = self.known[leaf.names[0]]
            unit = self.sources.problem.unit_of(leaf.names[0])
            return value if mode == "working" else conversion(unit).to_shown(value)
        if mode == "working" and leaf.unit and leaf.unit != "count":
            return conversion(leaf.unit).to_working(leaf.value)
        return leaf.value

    def _width(self, leaf: Leaf, mode: Mode) -> float:
        if isinstance(leaf, Symbol):
            return 1e-3 * abs(self._number(leaf, mode))
        width = self.sources.widths.get(leaf)
        if width is None:
            width = self.sources.widths[leaf] = self._typed_width(leaf)
        if mode == "working" and leaf.unit and leaf.unit != "count":
            return width * conversion(leaf.unit).scale
        return width

    def _typed_width(self, leaf: Number) -> float:
        """How far a number is open: a given as it stands is exact, and so is a whole number that is no result."""
        known = self.sources.problem
        for name in (*known.shown, *known.question.discrete):
            value = {**known.known, **known.values}[name]
            for unit in units_like(known.unit_of(name)):
                shown = conversion(unit).to_shown(value)
                if abs(abs(leaf.value) - abs(shown)) <= EXACT * abs(shown):
                    return 0.0
        if self.sources.is_constant(leaf):
            return 0.0
        if not leaf.is_whole:
            return leaf.half_width
        for result in self.sources.results:
            rounded = abs(result.value - result.number.value) > EXACT * abs(result.value)
            if rounded and is_near(leaf, result.value, exact=False):
                return leaf.half_width
        for name, value in known.values.items():
            if name not in known.question.discrete:
                shown = conversion(known.unit_of(name)).to_shown(value)
                if leaf.digits >= 3 and is_near(leaf, shown, exact=False):
                    return leaf.half_width
        return 0.0

    def _dimensions(self, leaf: Leaf) -> Dimensions:
        if isinstance(leaf, Number) and leaf.unit and leaf.unit not in ("count", "%"):
            return frozenset({dimension_of(leaf.unit)})
        if self.sources.is_bare(leaf) and not self.sources.stands_in_the_method(leaf):
            return None
        readings = [one.dimension for one in self.sources.readings(leaf)]
        if not readings or any(one is None for one in readings):
            return None
        found = {one for one in readings if one is not None}
        if isinstance(leaf, Number) and self.sources.is_plain(leaf):
            found.add(PURE)
        return frozenset(found)


def same_dimensions(left: Side, right: Side) -> bool:
    """Whether two sides may measure the same."""
    return left.dimensions is None or right.dimensions is None or bool(left.dimensions & right.dimensions)


def agreeing(left: Side, right: Side) -> list[Mode]:
    """The modes in which the right side is the left one, rounded or cut off as written."""
    found: list[Mode] = []
    for mode in MODES:
        if mode in left.values and mode in right.values:
            one, other = left.values[mode], right.values[mode]
            room = left.open_by[mode] + right.open_by[mode] + _last_place(right, mode)
            if _near(one, other, room, left.open_by[mode]):
                found.append(mode)
    return found


def _last_place(side: Side, mode: Mode) -> float:
    """Half of the last typed place of a side that is one whole number; decimals count already."""
    number = side.expression.number
    if number is None or side.open_by[mode] or not math.isfinite(number.half_width):
        return 0.0
    unit = number.unit if mode == "working" and number.unit != "count" else None
    few = number.half_width >= 0.06 * abs(number.value)
    scale = conversion(unit).scale if unit else 1.0
    return (min(number.half_width, 0.05 * abs(number.value)) if few else number.half_width) * scale


def _near(one: float, other: float, room: float, open_left: float) -> bool:
    apart = abs(one - other)
    noise = 1e-9 * max(abs(one), abs(other))
    if apart <= 1.02 * room + noise:
        return True
    cut_off = abs(one) > abs(other) and one * other > 0
    return cut_off and apart <= min(2 * room + open_left, CUT_OFF * abs(one))


def compares(left: Side, sign: str, right: Side) -> bool:
    """Whether a comparison holds in some mode, at the precision written."""
    for mode in MODES:
        if mode in left.values and mode in right.values:
            one, other = left.values[mode], right.values[mode]
            room = left.open_by[mode] + right.open_by[mode] + 1e-9 * abs(other)
            if (one <= other + room) if sign in "<≤" else (one >= other - room):
                return True
    return not (left.values.keys() & right.values.keys())


def is_measured(side: Side, sources: Sources) -> bool:
    """Whether every number of a side carries its unit or is a plain factor."""
    numbers = [leaf for leaf in side.expression.leaves if isinstance(leaf, Number)]
    typed = any(leaf.unit not in (None, "count") for leaf in numbers)
    in_fahrenheit = any("degF" in (leaf.unit or "") for leaf in numbers)
    plain = all(leaf.unit or sources.is_plain(leaf) for leaf in numbers)
    return typed and plain and not in_fahrenheit and not side.expression.is_symbolic


def told(side: Side, mode: Mode) -> str:
    """A side's value in words, with five figures."""
    return written_number(side.values[mode], 5)
