"""What a number in a working may be: a given, a step, an earlier line's result, a constant, or a known wrong value."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property, lru_cache

from tutor.answers.working.dimensions import PURE, Dimension, Dimensions, dimension_of, units_like
from tutor.answers.working.expression import Leaf, Number, Symbol
from tutor.answers.working.samples import SAMPLE_COUNT, PerturbedSamples, Vector, shown_in
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.entries.unit_names import COUNT
from tutor.expression.evaluate import NO_VALUE
from tutor.expression.tree import Literal, Name, Operation, walk
from tutor.problems.wrong_method import WrongMethod
from tutor.trade.rulebooks import Rulebook

MOST_READINGS = 14  # of one number; those behind are the least likely
MOST_RESULTS = 120  # two for each line of the longest working
FEW = 3  # whole numbers up to here count things or legs, and are no results
SMALL = 20  # whole numbers up to here may be plain factors, whatever else they may be
FEW_DIGITS = 2  # so many digits are met by chance
EXACT = 1e-9  # what floating-point arithmetic leaves of a number
FAR = 0.13  # twice the widest half width that may count, as a share of the number
DIFFERING = 1e-6  # a value on a wrong way this close (relative) to the right one is no other
# Plain factors of unit conversions, of two legs, and the temperatures that labels and tables hold at.
_CONVERSIONS = (100.0, 1000.0, 3600.0, 60.0, 24.0, 32.0, 1.8, 273.15, 0.5, 20.0, 25.0)


@dataclass(frozen=True)
class Tag:
    """A number that only a known wrong way leads to, taken for a step."""

    way: WrongMethod
    step: str


@dataclass(frozen=True)
class Reading:
    """One thing that a number may be: its values in all samples, typed and in working units, and its dimension."""

    typed: Vector
    working: Vector
    dimension: Dimension | None
    tag: Tag | None = None

    @property
    def varies(self) -> bool:
        """Whether it depends on the givens."""
        return len(set(self.typed)) > 1


@dataclass(frozen=True)
class Result:
    """What an earlier calculation came to: the number typed, the value before rounding, and those in all samples.

    `vector` is in the unit typed, or in that of the bare number.
    """

    number: Number
    value: float
    vector: Vector
    dimensions: Dimensions


@lru_cache(maxsize=8)
def _plain_factors(rulebook: Rulebook) -> frozenset[float]:
    """Factors that everybody knows: of unit conversions, and of array currents once and twice, also to divide by."""
    factors = set(_CONVERSIONS)
    if figure := rulebook.figures.get("pv_current_factor"):
        for factor in (figure.value, figure.value**2):
            factors |= {factor, round(factor, 2), 1 / factor}
    return frozenset(factors)


class NumberInterpretations:
    """All that the numbers of one problem's working may be."""

    def __init__(self, samples: PerturbedSamples) -> None:
        self.problem, self.samples = samples.problem, samples
        self.results: list[Result] = []
        self._unread: set[float] = set()
        self._readings: dict[Leaf, list[Reading]] = {}
        self._half_widths: dict[Number, float] = {}
        self._values_on: dict[WrongMethod, dict[str, float]] = {}
        self._plain_factors = _plain_factors(samples.problem.question.rulebook)

    def remember_unread(self, values: Iterable[float]) -> None:
        """Remember numbers of what was not read: where they are used later, they do not come from nowhere."""
        self._unread |= {abs(value) for value in values}

    def remember(self, result: Result) -> None:
        """Remember a result for the lines that follow; one that is repeated only becomes the latest."""
        if result in self.results:
            self.results.remove(result)
        self.results.append(result)
        del self.results[:-MOST_RESULTS]
        self._readings.clear()
        self._half_widths.clear()

    def readings(self, leaf: Leaf) -> list[Reading]:
        """What a leaf may be, the likeliest first; a number that is nothing known is itself in all samples."""
        if leaf not in self._readings:
            if isinstance(leaf, Symbol):
                self._readings[leaf] = [self._symbol(name) for name in leaf.names]
            else:
                self._readings[leaf] = self._all_readings(leaf)
        return self._readings[leaf]

    def _all_readings(self, number: Number) -> list[Reading]:
        readings = [*self._earlier(number), *self._quantities(number), *self._multiplied(number), *self._rests(number)]
        if not readings or not self._is_given(number):
            readings += self._in_parts(number)
        if not readings or self.is_constant(number) or (self.is_plain(number) and not self._is_given(number)):
            plain = PURE if self.is_plain(number) else None
            readings += [
                self._constant(number, dimension) for dimension in self._constants.get(abs(number.value), [plain])
            ]
        distinct: dict[tuple[Vector, Dimension | None, str], Reading] = {}
        for reading in (*readings, *self._mistaken(number)):
            way = reading.tag.way.id if reading.tag else ""
            distinct.setdefault((reading.typed, reading.dimension, way), reading)
        return list(distinct.values())[:MOST_READINGS]

    def _symbol(self, name: str) -> Reading:
        vector, unit = self.samples.vector(name), self.problem.unit_of(name)
        return Reading(shown_in(unit, vector), vector, dimension_of(unit))

    def _constant(self, number: Number, dimension: Dimension | None) -> Reading:
        unit = number.measured_in
        working = conversion(unit).to_working(number.value) if unit else number.value
        dimension = dimension_of(number.unit) if number.unit else dimension
        return Reading((number.value,) * SAMPLE_COUNT, (working,) * SAMPLE_COUNT, dimension)

    def is_plain(self, number: Number) -> bool:
        """Whether a number may be a plain factor: small and whole, or a constant of the relations."""
        if number.unit:
            return False
        value = abs(number.value)
        return (number.is_whole and value <= SMALL) or value in self._constants or value in self._plain_factors

    def is_constant(self, number: Number) -> bool:
        """Whether a number stands in a relation, or counts a few."""
        return self.is_plain(number) and (abs(number.value) in self._constants or abs(number.value) <= FEW)

    def is_bare(self, leaf: Leaf) -> bool:
        """Whether a number is a plain one that is nothing known, so that it may carry any unit in its writer's mind."""
        if isinstance(leaf, Symbol) or not self.is_plain(leaf) or leaf.value == 1:
            return False
        return all(not reading.varies and reading.dimension in (None, PURE) for reading in self.readings(leaf))

    def stands_in_the_method(self, leaf: Leaf) -> bool:
        """Whether a number is a plain one of the relations or of the trade; another may be a mistaken given."""
        return isinstance(leaf, Number) and (self.is_constant(leaf) or abs(leaf.value) in self._plain_factors)

    def is_unknown(self, leaf: Leaf) -> bool:
        """Whether a number is neither a given, nor a result, nor a constant: it comes from nowhere."""
        if isinstance(leaf, Symbol) or self.is_plain(leaf) or abs(leaf.value) in self._unread:
            return False
        return not any(reading.varies for reading in self.readings(leaf))

    def _is_given(self, number: Number) -> bool:
        """Whether a number is one of the givens as it is shown."""
        return any(abs(number.value) == abs(amount.value) for amount in self.problem.shown.values())

    @cached_property
    def _constants(self) -> dict[float, list[Dimension]]:
        """The numbers that stand in the right and the wrong relations, with what they measure there."""
        trees = [tree for step in self.samples.steps.values() for tree in step.trees]
        for way in self.problem.wrong_methods.all:
            trees += [tree for step in way.steps if step.name in way.changed for tree in step.trees]
        constants: dict[float, list[Dimension]] = {}
        for literal in {node for tree in trees for node in walk(tree) if isinstance(node, Literal)}:
            constants.setdefault(abs(float(literal.text)), []).append(dimension_of(literal.unit))
        return constants

    def _quantities(self, number: Number) -> Iterator[Reading]:
        """The givens and steps that a number may be, in any of their units."""
        for name, value in self.problem.all_values.items():
            yield from self._as_quantity(number, name, value, self.samples.vector(name))

    def _as_quantity(
        self, number: Number, name: str, value: float, vector: Vector, tag: Tag | None = None
    ) -> Iterator[Reading]:
        shown_unit, typed_unit = self.problem.unit_of(name), number.measured_in
        exact = name in self.problem.shown or (tag is not None and name in self.problem.question.discrete)
        if not typed_unit:
            units: Sequence[str] = [unit for unit in units_like(shown_unit) if shown_unit or unit != "%"]
        elif (typed_unit, shown_unit) == ("%", "%/K"):  # of a kelvin
            units = ("%/K",)
        elif dimension_of(typed_unit) == dimension_of(shown_unit):
            units = (typed_unit,)
        else:
            return
        for unit in units:
            unit = "degC" if unit == "K" and shown_unit in ABSOLUTE_TEMPERATURES else unit  # noqa: PLW2901
            shown = conversion(unit).to_shown(value)
            if is_near(number, shown, exact=exact):
                sign = -1.0 if shown * number.value < 0 else 1.0
                typed = tuple(sign * of_sample for of_sample in shown_in(unit, vector))
                working = tuple(sign * of_sample for of_sample in vector) if number.unit else typed
                yield Reading(typed, working, dimension_of(shown_unit), tag)

    def _multiplied(self, number: Number) -> Iterator[Reading]:
        """The givens and steps times a factor of the relations that a number may be, such as both ways of a run."""
        for factor, name in self._multiples:
            vector = tuple(factor * value for value in self.samples.vector(name))
            yield from self._as_quantity(number, name, factor * self.problem.all_values[name], vector)

    def _rests(self, number: Number) -> Iterator[Reading]:
        """What is left of the whole beside a share that is given, such as 75 % above a cut-off at 25 %."""
        for name in self.problem.shown:
            if self.problem.unit_of(name) == "%":
                vector = tuple(1 - value for value in self.samples.vector(name))
                yield from self._as_quantity(number, name, 1 - self.problem.known[name], vector)

    @cached_property
    def _multiples(self) -> list[tuple[float, str]]:
        nodes = (node for step in self.samples.steps.values() for tree in step.trees for node in walk(tree))
        multiples = []
        for node in nodes:
            match node:
                case Operation("*", Literal(factor, ""), Name(name)):
                    multiples.append((float(factor), name))
        return multiples

    def _earlier(self, number: Number) -> Iterator[Reading]:
        """The earlier results that a number may be, or be made of by a step that is done in the head."""
        for result in reversed(self.results):
            for scale, offset in _as_written(number, result):
                for value in dict.fromkeys((result.number.value, result.value)):
                    for changed, change in _in_the_head(value * scale + offset):
                        if is_near(number, changed, exact=False):
                            sign = -1.0 if changed * number.value < 0 else 1.0
                            typed = tuple(sign * change(before * scale + offset) for before in result.vector)
                            yield _of_result(number, result, typed)

    def _in_parts(self, number: Number) -> Iterator[Reading]:
        """The parts of relations that a number may be, worked out in the head: a difference, a share added to one."""
        if number.unit and number.unit not in ("K", "%"):
            return
        for vector in self.samples.parts:
            for factor in (1.0, 100.0):
                if is_near(number, factor * vector[-1], exact=False):
                    sign = -1.0 if vector[-1] * number.value < 0 else 1.0
                    typed = tuple(sign * factor * value for value in vector)
                    working = tuple(value / 100 for value in typed) if number.unit == "%" else typed
                    yield Reading(typed, working, dimension_of(number.unit) if number.unit else None)

    def _mistaken(self, number: Number) -> Iterator[Reading]:
        """The steps that a number may be taken for on a declared wrong way."""
        for way, values in self.wrong_values:
            for name, value in values.items():
                yield from self._as_quantity(number, name, value, self.samples.vector(name), Tag(way, name))

    @cached_property
    def wrong_values(self) -> list[tuple[WrongMethod, dict[str, float]]]:
        """The steps' values on each declared wrong way, where they differ from the right ones."""
        declared = (way for way in self.problem.wrong_methods.all if way.origin == "declared")
        return [(way, values) for way in declared if (values := self.values_on(way))]

    def values_on(self, way: WrongMethod) -> dict[str, float]:
        """The steps' values on a wrong way, where they differ; nothing where there are none."""
        if way not in self._values_on:
            right, values = self.problem.values, dict[str, float]()
            with suppress(*NO_VALUE):
                values = way.follow(self.problem.shown, self.problem.all_values, {}, "")
            self._values_on[way] = {
                name: values[name]
                for name in values
                if name in right and abs(values[name] - right[name]) > DIFFERING * max(abs(right[name]), 1e-12)
            }
        return self._values_on[way]

    def half_width(self, number: Number) -> float:
        """How far a typed number is open: a given as shown is exact, and so is a whole number that is no result."""
        if number not in self._half_widths:
            self._half_widths[number] = number.half_width if self._is_open(number) else 0.0
        return self._half_widths[number]

    def _is_open(self, number: Number) -> bool:
        problem, value = self.problem, abs(number.value)
        for name in (*problem.shown, *problem.question.discrete):
            for unit in units_like(problem.unit_of(name)):
                shown = abs(conversion(unit).to_shown(problem.all_values[name]))
                if abs(value - shown) <= EXACT * shown:
                    return False
        if self.is_constant(number):
            return False
        if not number.is_whole:
            return True
        for result in self.results:
            rounded = abs(result.value - result.number.value) > EXACT * abs(result.value)
            if rounded and is_near(number, result.value, exact=False):
                return True
        exact_steps = {name: step for name, step in problem.values.items() if name not in problem.question.discrete}
        return number.digits > FEW_DIGITS and any(
            is_near(number, conversion(problem.unit_of(name)).to_shown(step), exact=False)
            for name, step in exact_steps.items()
        )


def is_near(number: Number, value: float, *, exact: bool) -> bool:
    """Whether a number as typed is a value, but for its sign: exactly, or rounded or cut off to the digits typed."""
    apart = abs(abs(number.value) - abs(value))
    if apart > FAR * abs(number.value):
        return False
    if apart <= EXACT * abs(value):
        return True
    if exact and number.digits <= FEW_DIGITS:
        return False
    enough = number.digits >= FEW_DIGITS and number.half_width < 0.06 * abs(number.value)
    cut_off = abs(value) >= abs(number.value) and apart < 2 * number.half_width and number.digits > FEW_DIGITS
    return enough and (apart <= 1.05 * number.half_width or cut_off)


def _as_written(number: Number, result: Result) -> Iterator[tuple[float, float]]:
    """Scale and offset that bring an earlier result to the unit of a number; a bare one may be in several."""
    typed, earlier = (None if unit == COUNT else unit for unit in (number.unit, result.number.unit))
    if earlier is None:
        yield from ((1.0, 0.0), *([(0.01, 0.0)] if typed != "%" else []), (100.0, 0.0))
        return
    if typed == earlier:
        yield 1.0, 0.0
        return
    for unit in units_like(earlier) if typed is None else (typed,):
        old, new = conversion(earlier), conversion(unit)
        if old.dimension == new.dimension:
            yield old.scale / new.scale, (old.offset - new.offset) / new.scale


def _of_result(number: Number, result: Result, typed: Vector) -> Reading:
    unit = number.measured_in
    working = tuple(map(conversion(unit).to_working, typed)) if unit else typed
    only = next(iter(result.dimensions)) if result.dimensions and len(result.dimensions) == 1 else None
    return Reading(typed, working, dimension_of(number.unit) if number.unit else only)


def _in_the_head(value: float) -> Iterator[tuple[float, Callable[[float], float]]]:
    """A result, and what people make of it without writing it down: one more, or one less."""
    yield value, lambda before: before
    yield 1 + value, lambda before: 1 + before
    yield 1 - value, lambda before: 1 - before
