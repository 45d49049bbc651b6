"""Whether one side of an equals sign is the other, at the precision written, and whether they measure the same."""

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Literal

from tutor.answers.working.dimensions import PURE, Dimensions, MismatchError, dimension_of, dimensions_of
from tutor.answers.working.expression import Expression, Leaf, Number, Symbol, spread_of, value_of
from tutor.answers.working.numbers import NumberInterpretations
from tutor.base.units import conversion

CUT_OFF = 0.005  # digits cut off instead of rounded do no harm up to this share
OPEN_SYMBOL = 1e-3  # how far (relative) a quantity's own value may be off that stands by its symbol
NO_NUMBER = (ZeroDivisionError, OverflowError, ValueError)

Mode = Literal["typed", "working"]
MODES: tuple[Mode, ...] = ("working", "typed")


@dataclass(frozen=True)
class Side:
    """A side with its values by mode (none where there is no value), how far each is open, and its dimensions."""

    expression: Expression
    values: Mapping[Mode, float]
    open_by: Mapping[Mode, float]
    dimensions: Dimensions = None
    mismatch: bool = False

    @property
    def number(self) -> Number | None:
        """The number, if the side is nothing but one."""
        return self.expression.number

    @property
    def value(self) -> float | None:
        """Its value as typed, or where that is none in working units."""
        return self.values.get("typed", self.values.get("working"))

    @property
    def units(self) -> set[str | None]:
        """The units of its numbers."""
        return {number.unit for number in self.expression.numbers}


class SideEvaluator:
    """Evaluates sides; `values` are those that symbols stand for, in working units."""

    def __init__(self, numbers: NumberInterpretations, values: Mapping[str, float]) -> None:
        self.numbers, self.values = numbers, values

    def side(self, expression: Expression) -> Side:
        """Evaluate a side."""
        values: dict[Mode, float] = {}
        open_by: dict[Mode, float] = {}
        leaves = expression.leaves
        for mode in MODES:
            with suppress(*NO_NUMBER, KeyError):
                numbers = [self._number(leaf, mode) for leaf in leaves]
                value = value_of(expression, numbers)
                open_by[mode] = spread_of(expression, numbers, [self._half_width(leaf, mode) for leaf in leaves])
                values[mode] = value
        if (number := expression.number) is not None and number.unit is None:
            return Side(expression, values, open_by)
        bare = [place for place, leaf in enumerate(leaves) if self.numbers.is_bare(leaf)]
        try:
            dimensions = dimensions_of(expression.tree, list(map(self._dimensions, leaves)), bare)
        except MismatchError:
            return Side(expression, values, open_by, mismatch=True)
        return Side(expression, values, open_by, dimensions)

    def _number(self, leaf: Leaf, mode: Mode) -> float:
        if isinstance(leaf, Symbol):
            if len(leaf.names) != 1:
                raise KeyError(leaf.text)
            value = self.values[leaf.names[0]]
            return value if mode == "working" else conversion(self._unit(leaf)).to_shown(value)
        return conversion(leaf.measured_in).to_working(leaf.value) if mode == "working" else leaf.value

    def _unit(self, symbol: Symbol) -> str:
        return self.numbers.problem.unit_of(symbol.names[0])

    def _half_width(self, leaf: Leaf, mode: Mode) -> float:
        if isinstance(leaf, Symbol):
            return OPEN_SYMBOL * abs(self._number(leaf, mode))
        return self.numbers.half_width(leaf) * (conversion(leaf.measured_in).scale if mode == "working" else 1.0)

    def _dimensions(self, leaf: Leaf) -> Dimensions:
        if isinstance(leaf, Number) and leaf.measured_in not in ("", "%"):
            return frozenset({dimension_of(leaf.measured_in)})
        if self.numbers.is_bare(leaf) and not self.numbers.stands_in_the_method(leaf):
            return None
        dimensions = {reading.dimension for reading in self.numbers.readings(leaf)}
        if not dimensions or None in dimensions:
            return None
        plain = isinstance(leaf, Number) and self.numbers.is_plain(leaf)
        return frozenset(dimensions | {PURE} if plain else dimensions)


def same_dimensions(left: Side, right: Side) -> bool:
    """Whether two sides may measure the same."""
    return left.dimensions is None or right.dimensions is None or bool(left.dimensions & right.dimensions)


def agreeing(left: Side, right: Side) -> list[Mode]:
    """The modes in which the right side is the left one, rounded or cut off as written."""
    return [mode for mode in MODES if mode in left.values and mode in right.values and _agree(left, right, mode)]


def _agree(left: Side, right: Side, mode: Mode) -> bool:
    value, result = left.values[mode], right.values[mode]
    room = left.open_by[mode] + right.open_by[mode] + _last_place(right, mode)
    apart = abs(value - result)
    if apart <= 1.02 * room + 1e-9 * max(abs(value), abs(result)):
        return True
    cut_off = abs(value) > abs(result) and value * result > 0
    return cut_off and apart <= min(2 * room + left.open_by[mode], CUT_OFF * abs(value))


def _last_place(side: Side, mode: Mode) -> float:
    """Half of the last typed place of a side that is one whole number; decimals count already."""
    number = side.number
    if number is None or side.open_by[mode] or not math.isfinite(number.half_width):
        return 0.0
    few = number.half_width >= 0.06 * abs(number.value)
    half_place = min(number.half_width, 0.05 * abs(number.value)) if few else number.half_width
    return half_place * (conversion(number.measured_in).scale if mode == "working" else 1.0)


def compares(left: Side, sign: str, right: Side) -> bool:
    """Whether a comparison holds in some mode, at the precision written."""
    modes = left.values.keys() & right.values.keys()
    for mode in modes:
        room = left.open_by[mode] + right.open_by[mode] + 1e-9 * abs(right.values[mode])
        above = left.values[mode] - right.values[mode]
        if (above <= room) if sign in "<≤" else (above >= -room):
            return True
    return not modes


def is_measured(side: Side, numbers: NumberInterpretations) -> bool:
    """Whether every number of a side carries its unit or is a plain factor."""
    typed = any(number.measured_in for number in side.expression.numbers)
    in_fahrenheit = any("degF" in (unit or "") for unit in side.units)
    plain = all(number.unit or numbers.is_plain(number) for number in side.expression.numbers)
    return typed and plain and not in_fahrenheit and not side.expression.is_symbolic
