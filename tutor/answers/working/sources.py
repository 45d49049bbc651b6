"""What a number in a working may be: a given, a step, an earlier line's result, a constant, or a known wrong value."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from tutor.answers.working.dims import PURE, Dimension, Dimensions, dimension_of, units_like
from tutor.answers.working.expression import Leaf, Number, Symbol
from tutor.answers.working.worlds import HOW_MANY, Vector, Worlds
from tutor.engine.ways import NO_VALUE, Way, ways
from tutor.expression.tree import Literal, Name, Operation, walk
from tutor.units import conversion

MOST_READINGS = 14
MOST_RESULTS = 120  # two for each line of the longest working
FEW = 3
SMALL = 20  # whole numbers up to here may be plain factors, whatever else they may be
FEW_DIGITS = 2
EXACT = 1e-9
FAR = 0.13  # twice the widest half width that may count, as a share of the number
PLAIN = (100.0, 1000.0, 3600.0, 60.0, 24.0, 32.0, 1.8, 273.15, 0.8, 1.25, 1.5625, 1.56, 0.64, 20.0, 25.0, 0.5)


@dataclass(frozen=True)
class Tag:
    """A number that only a known wrong way leads to, taken for a step."""

    way: Way
    step: str


@dataclass(frozen=True)
class Reading:
    """One thing that a number may be: its values in all worlds, as typed and in working units, and its dimension."""

    typed: Vector
    working: Vector
    dimension: Dimension | None
    tag: Tag | None = None


@dataclass(frozen=True)
class Result:
    """What an earlier calculation came to: the number typed, the value before rounding, and its values in all worlds.

    `vector` is in the unit typed, or in that of the bare number.
    """

    number: Number
    value: float
    vector: Vector
    dimensions: Dimensions


class Sources:
    """All that the numbers of one problem's working may be."""

    def __init__(self, worlds: Worlds) -> None:
        self.problem, self.worlds = worlds.problem, worlds
        self.results: list[Result] = []
        self._not_read: set[float] = set()
        self._kept: dict[Leaf, list[Reading]] = {}
        self.widths: dict[Number, float] = {}  # how far each number is open, until there is a further result

    def keep_unread(self, numbers: Iterable[float]) -> None:
        """Remember numbers of what was not read: where they are used later, they do not come from nowhere."""
        self._not_read |= {abs(number) for number in numbers}

    def keep(self, result: Result) -> None:
        """Remember a result for the lines that follow; one that is told again only becomes the latest."""
        if result in self.results:
            self.results.remove(result)
        self.results.append(result)
        del self.results[:-MOST_RESULTS]
        self._kept.clear()
        self.widths.clear()

    def readings(self, leaf: Leaf) -> list[Reading]:
        """What a leaf may be, the likeliest first; a number that is nothing known is itself in all worlds."""
        if leaf not in self._kept:
            if isinstance(leaf, Symbol):
                self._kept[leaf] = [self._symbol(name) for name in leaf.names]
            else:
                self._kept[leaf] = self._readings(leaf)
        return self._kept[leaf]

    def _readings(self, leaf: Number) -> list[Reading]:
        found = [*self._earlier(leaf), *self._named(leaf), *self._multiplied(leaf), *self._rests(leaf)]
        if not found or not self._is_told(leaf):
            found += self._in_parts(leaf)
        if not found or self.is_constant(leaf) or (self.is_plain(leaf) and not self._is_told(leaf)):
            plain = PURE if self.is_plain(leaf) else None
            found += [self._constant(leaf, one) for one in self._constants.get(abs(leaf.value), [plain])]
        distinct: dict[tuple[Vector, Dimension | None, str], Reading] = {}
        for one in (*found, *self._mistaken(leaf)):
            distinct.setdefault((one.typed, one.dimension, one.tag.way.id if one.tag else ""), one)
        return list(distinct.values())[:MOST_READINGS]

    def _symbol(self, name: str) -> Reading:
        vector = self.worlds.vector(name)
        to_shown = conversion(self.problem.unit_of(name)).to_shown
        shown = tuple(to_shown(value) for value in vector)
        return Reading(shown, vector, dimension_of(self.problem.unit_of(name)))

    def _constant(self, number: Number, dimension: Dimension | None) -> Reading:
        unit = number.unit
        working = conversion(unit).to_working(number.value) if unit and unit != "count" else number.value
        dimension = dimension_of(unit) if unit else dimension
        return Reading((number.value,) * HOW_MANY, (working,) * HOW_MANY, dimension)

    def is_plain(self, number: Number) -> bool:
        """Whether a number may be a plain factor: small and whole, or a constant of the relations."""
        if number.unit:
            return False
        small = number.is_whole and abs(number.value) <= SMALL
        return small or abs(number.value) in self._constants or abs(number.value) in PLAIN

    def is_constant(self, number: Number) -> bool:
        """Whether a number stands in a relation, or counts a few."""
        return self.is_plain(number) and (abs(number.value) in self._constants or abs(number.value) <= FEW)

    def is_bare(self, leaf: Leaf) -> bool:
        """Whether a number is a plain one that is nothing known, so that it may carry any unit in its writer's mind."""
        if isinstance(leaf, Symbol) or not self.is_plain(leaf) or leaf.value == 1:
            return False
        return all(len(set(one.typed)) == 1 and one.dimension in (None, PURE) for one in self.readings(leaf))

    def stands_in_the_method(self, leaf: Leaf) -> bool:
        """Whether a number is a plain one of the relations or of the trade; another may be a mistaken given."""
        return isinstance(leaf, Number) and (self.is_constant(leaf) or abs(leaf.value) in PLAIN)

    def is_stray(self, leaf: Leaf) -> bool:
        """Whether a number is neither a given, nor a result, nor a constant: it comes from nowhere."""
        if isinstance(leaf, Symbol) or self.is_plain(leaf) or abs(leaf.value) in self._not_read:
            return False
        return all(len(set(one.typed)) == 1 for one in self.readings(leaf))

    def _is_told(self, number: Number) -> bool:
        """Whether a number is one of the givens as it is told."""
        return any(abs(number.value) == abs(amount.value) for amount in self.problem.shown.values())

    @cached_property
    def _constants(self) -> dict[float, list[Dimension]]:
        """The numbers that stand in the right and the wrong relations, with what they measure there."""
        trees = [tree for step in self.worlds.steps.values() for tree in step.trees]
        for way in ways(self.problem).all:
            trees += [tree for step in way.steps if step.name in way.changed for tree in step.trees]
        found: dict[float, list[Dimension]] = {}
        for leaf in {leaf for tree in trees for leaf in walk(tree) if isinstance(leaf, Literal)}:
            found.setdefault(abs(float(leaf.text)), []).append(dimension_of(leaf.unit))
        return found

    def _named(self, number: Number) -> Iterator[Reading]:
        """The givens and steps that a number may be, in any of their units."""
        for name, value in {**self.problem.known, **self.problem.values}.items():
            yield from self._as_quantity(number, name, value, self.worlds.vector(name), None)

    def _as_quantity(
        self, number: Number, name: str, value: float, vector: Vector, tag: Tag | None
    ) -> Iterator[Reading]:
        shown_in = self.problem.unit_of(name)
        typed = number.unit
        exact = name in self.problem.shown or (tag is not None and name in self.problem.question.discrete)
        if typed and typed != "count":
            if not self._fits(typed, shown_in):
                return
            units: Sequence[str] = (typed,)
        else:
            units = [unit for unit in units_like(shown_in) if shown_in or unit != "%"]
        for unit in units:
            if unit == "%" and shown_in == "%/K":
                meant = conversion("%/K")
            elif unit == "K" and shown_in in ("degC", "degF"):
                meant = conversion("degC")
            else:
                meant = conversion(unit)
            shown = meant.to_shown(value)
            if not is_near(number, shown, exact=exact):
                continue
            sign = -1.0 if shown * number.value < 0 else 1.0
            as_typed = tuple(sign * meant.to_shown(one) for one in vector)
            working = tuple(sign * one for one in vector) if typed else as_typed
            yield Reading(as_typed, working, dimension_of(shown_in), tag)

    def _multiplied(self, number: Number) -> Iterator[Reading]:
        """The givens and steps times a factor of the relations that a number may be, such as both ways of a run."""
        known = {**self.problem.known, **self.problem.values}
        for factor, name in self._multiples:
            vector = tuple(factor * value for value in self.worlds.vector(name))
            yield from self._as_quantity(number, name, factor * known[name], vector, None)

    def _rests(self, number: Number) -> Iterator[Reading]:
        """What is left of the whole beside a share that is given, such as 75 % above a cut-off at 25 %."""
        for name in self.problem.shown:
            if self.problem.unit_of(name) == "%":
                vector = tuple(1 - value for value in self.worlds.vector(name))
                yield from self._as_quantity(number, name, 1 - self.problem.known[name], vector, None)

    @cached_property
    def _multiples(self) -> list[tuple[float, str]]:
        trees = [tree for step in self.worlds.steps.values() for tree in step.trees]
        return [
            (float(one.left.text), one.right.id)
            for tree in trees
            for one in walk(tree)
            if isinstance(one, Operation) and one.sign == "*"
            if isinstance(one.left, Literal) and not one.left.unit and isinstance(one.right, Name)
        ]

    def _fits(self, typed: str, shown_in: str) -> bool:
        if typed == "%" and shown_in == "%/K":
            return True
        return bool(dimension_of(typed) == dimension_of(shown_in))

    def _earlier(self, number: Number) -> Iterator[Reading]:
        """The earlier results that a number may be, or be made of by a step that is done in the head."""
        for result in reversed(self.results):
            for scale, offset in self._as_written(number, result):
                for before in dict.fromkeys((result.number.value, result.value)):
                    for turned, by in _in_the_head(before * scale + offset):
                        if is_near(number, turned, exact=False):
                            sign = -1.0 if turned * number.value < 0 else 1.0
                            vector = tuple(sign * by(value * scale + offset) for value in result.vector)
                            yield self._reading_of(number, result, vector)

    def _as_written(self, number: Number, result: Result) -> Iterator[tuple[float, float]]:
        """Scale and offset that bring an earlier result to the unit of a number; a bare one may be in several."""
        typed, known = (None if one.unit == "count" else one.unit for one in (number, result.number))
        if known is None or typed == known:
            yield 1.0, 0.0
            if known is None and typed != "%":
                yield 0.01, 0.0
            if known is None:
                yield 100.0, 0.0
            return
        for unit in units_like(known) if typed is None else (typed,):
            old, new = conversion(known), conversion(unit)
            if old.dimension == new.dimension:
                yield old.scale / new.scale, (old.offset - new.offset) / new.scale

    def _reading_of(self, number: Number, result: Result, vector: Vector) -> Reading:
        typed = number.unit
        to_working = conversion(typed).to_working if typed and typed != "count" else float
        dimensions = result.dimensions
        only = next(iter(dimensions)) if dimensions and len(dimensions) == 1 else None
        return Reading(vector, tuple(to_working(value) for value in vector), dimension_of(typed) if typed else only)

    def _in_parts(self, number: Number) -> Iterator[Reading]:
        """The parts of relations that a number may be, worked out in the head: a difference, a share added to one."""
        if number.unit and number.unit not in ("K", "%"):
            return
        for vector in self.worlds.parts:
            for by in (1.0, 100.0):
                if is_near(number, by * vector[-1], exact=False):
                    sign = -1.0 if vector[-1] * number.value < 0 else 1.0
                    typed = tuple(sign * by * value for value in vector)
                    working = tuple(value / 100 for value in typed) if number.unit == "%" else typed
                    yield Reading(typed, working, dimension_of(number.unit) if number.unit else None)

    def _mistaken(self, number: Number) -> Iterator[Reading]:
        """The steps that a number may be taken for on a declared wrong way."""
        for way, values in self._wrong_values:
            for name, value in values.items():
                tag = Tag(way, name)
                yield from self._as_quantity(number, name, value, self.worlds.vector(name), tag)

    @cached_property
    def _wrong_values(self) -> list[tuple[Way, dict[str, float]]]:
        declared = (way for way in ways(self.problem).all if way.origin == "declared")
        return [(way, values) for way in declared if (values := self._along(way))]

    def _along(self, way: Way) -> dict[str, float]:
        """The steps' values on a way, where they differ from the right ones; nothing where there are none."""
        right = self.problem.values
        try:
            values = way.follow(self.problem, {**self.problem.known, **right}, {}, "")
        except NO_VALUE:
            return {}
        return {
            name: value
            for name, value in values.items()
            if name in right and abs(value - right[name]) > 1e-6 * max(abs(right[name]), 1e-12)
        }

    def values_on(self, way: Way) -> dict[str, float]:
        """The steps' values on a wrong way, where they differ."""
        return next((values for one, values in self._wrong_values if one is way), None) or self._along(way)

    @property
    def wrong_values(self) -> list[tuple[Way, dict[str, float]]]:
        """The steps' values on each declared wrong way, where they differ from the right ones."""
        return self._wrong_values


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


def _in_the_head(value: float) -> Iterator[tuple[float, Callable[[float], float]]]:
    """A result, and what people make of it without writing it down: one more, or one less."""
    yield value, lambda one: one
    yield 1 + value, lambda one: 1 + one
    yield 1 - value, lambda one: 1 - one
