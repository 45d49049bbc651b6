"""A problem seen in several worlds whose givens differ a little, so that calculations are told apart by what they do.

Two calculations that agree in all worlds are the same calculation, whatever they look like; two that agree in one
only, by chance, are not.  What a step rounds, chooses or reads off a table varies by itself.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from itertools import product
from random import Random
from typing import NamedTuple

from tutor.answers.working.dims import dimension_of, units_like
from tutor.engine.problem import Problem
from tutor.engine.ways import NO_VALUE, Way, ways
from tutor.expression.tree import Call, Literal, Name, Negative, Node, Operation, Power, parts, replace_names, walk
from tutor.units import ABSOLUTE_TEMPERATURES, conversion

Vector = tuple[float, ...]
Shape = tuple[float, ...]
HOW_MANY = 5  # the last one is the problem itself
MOST_FACTORS = 6
SAME = 1e-7
TURNED = "turned-"  # how the names begin of slips in which a sum's sign is turned


class Meant(NamedTuple):
    """What a calculation may come to: a step's values in all worlds, the right ones or those on a wrong way."""

    name: str
    way: Way | None
    vector: Vector


class Vectors:
    """Vectors, each with a place, in which those that are the same as another are found without looking at all."""

    def __init__(self, placed: Iterable[tuple[Vector, int]]) -> None:
        self._sorted = sorted(placed)
        self._firsts = [vector[0] for vector, _ in self._sorted]

    def same(self, vector: Vector) -> list[int]:
        """The places of the same vectors, in order."""
        room = 2 * SAME * abs(vector[0])
        at, end = bisect_left(self._firsts, vector[0] - room), bisect_right(self._firsts, vector[0] + room)
        return sorted({place for other, place in self._sorted[at:end] if same(vector, other)})


class Worlds:
    """The values of a problem's quantities in all worlds, in working units."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.steps = {step.name: step for step in problem.question.right.steps}
        self._each = [dict(self._world(Random(f"{at} {problem.question.exercise.id}"))) for at in range(HOW_MANY - 1)]
        self._each.append({**problem.known, **problem.values})
        self._in_unit: dict[str | None, Vectors] = {}

    def vector(self, name: str) -> Vector:
        """A quantity's value in each world."""
        return tuple(world[name] for world in self._each)

    def _world(self, random: Random) -> Iterator[tuple[str, float]]:
        world: dict[str, float] = {}
        for name, value in {**self.problem.known, **self.problem.values}.items():
            world[name] = self._moved(name, value, random)
        for step in self.steps.values():
            if step.kind == "solve":
                try:
                    world[step.name] = self.problem.evaluate(self.problem.tree_of(step), world)
                except NO_VALUE:
                    continue
        return iter(world.items())

    def _moved(self, name: str, value: float, random: Random) -> float:
        by = random.uniform(0.01, 0.04) * random.choice((-1, 1))
        if self.problem.question.library.quantities[name].unit in ABSOLUTE_TEMPERATURES or not value:
            return value + 10 * by
        return value * (1 + by)

    def of(self, node: Node) -> Vector | None:
        """A relation's value in each world; None where it has none."""
        try:
            run = self.problem.question.compiled(node)
            return tuple(run(world) for world in self._each)
        except (*NO_VALUE, KeyError, TypeError):
            return None

    def compared(self, name: str) -> Vector | None:
        """The values of a step that takes the least or the greatest of some, worked out from them in each world."""
        step = self.steps[name]
        return self.of(self.problem.tree_of(step)) if step.kind == "compare" else None

    @cached_property
    def legitimate(self) -> frozenset[Shape]:
        """The shapes of all that may stand on the way: partial products, terms, differences, in any order."""
        found: set[Shape] = set()
        for node in self._wholes():
            found |= self._shapes(self._inlined(node))
        return frozenset(found)

    @cached_property
    def parts(self) -> list[Vector]:
        """The values of the differences and sums within relations, and of their terms."""
        found: dict[Vector, None] = {}
        for node in self._wholes():
            for inner in walk(self._inlined(node)):
                if isinstance(inner, Operation) and inner.sign in "+-":
                    for one in (inner, *(part for part in parts(inner) if isinstance(part, Operation))):
                        if (vector := self._value(one)) is not None:
                            found[vector] = None
        return list(found)

    def _wholes(self) -> Iterator[Node]:
        for step in self.steps.values():
            tree = self.problem.tree_of(step)
            yield Name(step.name)
            yield from (tree,) if step.kind == "solve" else parts(tree)
        for limit in self.problem.question.limits:
            yield limit.tree.left
            yield limit.tree.right
            yield Operation("-", limit.tree.left, limit.tree.right)

    def _inlined(self, node: Node) -> Node:
        def inside(name: str) -> Node:
            step = self.steps.get(name)
            if step is None or step.kind != "solve":
                return Name(name)
            return replace_names(self.problem.tree_of(step), inside)

        return replace_names(node, inside)

    def _value(self, node: Node) -> Vector | None:
        match node:
            case Name(id_):
                return self.vector(id_) if id_ in self._each[0] else None
            case Literal(text, unit):
                return (conversion(unit).to_working(float(text)),) * HOW_MANY
            case _:
                return self.of(node)

    def _partial(self, node: Node) -> list[Vector]:
        """The values of all partial results that lead to a node's value."""
        match node:
            case Operation("*" | "/"):
                return self._partial_products(node)
            case Operation("+" | "-"):
                return self._partial_sums(node)
            case Negative() | Power() | Call():
                whole = self._value(node)
                inner = [vector for part in parts(node) for vector in self._partial(part)]
                return [*inner, whole] if whole else inner
            case _:
                whole = self._value(node)
                return [whole] if whole else []

    def _partial_sums(self, node: Node) -> list[Vector]:
        terms = [(vector, sign, inner) for inner, sign in _flat(node, "+", "-") if (vector := self._value(inner))]
        found = [vector for _, _, inner in terms for vector in self._partial(inner)]
        if len(terms) <= MOST_FACTORS:
            for taken in product((False, True), repeat=len(terms)):
                chosen = [(vector, sign) for (vector, sign, _), take in zip(terms, taken, strict=True) if take]
                found.append(tuple(sum(sign * vector[at] for vector, sign in chosen) for at in range(HOW_MANY)))
        return found

    def _partial_products(self, node: Node) -> list[Vector]:
        factors = [(vector, sign, inner) for inner, sign in _flat(node, "*", "/") if (vector := self._value(inner))]
        few = len(factors) <= MOST_FACTORS
        found: list[Vector] = [] if few else [vector for vector, _, _ in factors]
        inner_ones: list[list[Vector]] = [
            [] if isinstance(inner, Name | Literal) else self._partial(inner) for _, _, inner in factors
        ]
        for taken in product((False, True), repeat=len(factors) if few else 0):
            found.append(_multiplied((vector, sign) for (vector, sign, _), take in zip(factors, taken) if take))  # noqa: B905
        for at, (_, sign, _) in enumerate(factors):
            others = [factor for place, factor in enumerate(factors) if place != at]
            for taken in product((False, True), repeat=len(others) if few else 0):
                rest = _multiplied((vector, sign) for (vector, sign, _), take in zip(others, taken) if take)  # noqa: B905
                found += [_multiplied([(rest, 1), (vector, sign)]) for vector in inner_ones[at] if all(vector)]
        return found

    @cached_property
    def wrong(self) -> list[tuple[Way, Mapping[str, Vector]]]:
        """What each wrong way makes of the steps that it touches, the declared ones first."""
        return [(way, found) for way in ways(self.problem).all if (found := self._along(way))]

    @cached_property
    def meant(self) -> list[Meant]:
        """All that a calculation may come to: each step as it is right, then on the wrong ways."""
        right = [Meant(name, None, self.vector(name)) for name in self.steps]
        return [*right, *(Meant(name, way, vector) for way, found in self.wrong for name, vector in found.items())]

    @cached_property
    def in_any_unit(self) -> Vectors:
        """The same by their values, in working units and in each unit in which they may be written."""
        return Vectors(
            (vector, place)
            for place, one in enumerate(self.meant)
            for vector in (one.vector, *(shown for _, shown in self.shown(one.name, one.vector)))
        )

    @cached_property
    def given(self) -> Vectors:
        """The values of all quantities in each unit in which they may be written."""
        names = (*self.problem.known, *self.steps)
        return Vectors((shown, 0) for name in names for _, shown in self.shown(name, self.vector(name)))

    def in_unit(self, unit: str | None) -> Vectors:
        """What a calculation may come to, of the steps that this unit measures, in it; None for the working units."""
        if unit not in self._in_unit:
            to_shown = conversion(unit).to_shown if unit is not None else float
            self._in_unit[unit] = Vectors(
                (tuple(to_shown(value) for value in one.vector), place)
                for place, one in enumerate(self.meant)
                if unit is None or dimension_of(unit) == dimension_of(self.problem.unit_of(one.name))
            )
        return self._in_unit[unit]

    def _along(self, way: Way) -> dict[str, Vector]:
        touched = set(way.changed) | {name for name in way.misread if name in self.problem.shown}
        uses = {step.name: step.uses for step in way.steps}
        each: list[dict[str, float]] = []
        try:
            for world in self._each:
                values = dict(world)
                for name, unit in way.misread.items():
                    if name in self.problem.shown:
                        shown = conversion(self.problem.unit_of(name)).to_shown(values[name])
                        values[name] = conversion(unit).to_working(shown)
                for name, run in way.runs:
                    if name in touched or uses[name] & touched:
                        touched.add(name)
                        values[name] = run(values)
                each.append(values)
        except (*NO_VALUE, KeyError):
            return {}
        return {
            name: vector
            for name in self.steps
            if name in touched and not same(vector := tuple(v[name] for v in each), self.vector(name))
        }

    @cached_property
    def wrong_on_the_way(self) -> dict[Shape, tuple[Way, str]]:
        """The shapes of partial results that only a wrong way leads to, with the step that it changes.

        Of the ways that nobody declared only a turned sign is looked for: others share too many shapes.
        """
        found: dict[Shape, tuple[Way, str]] = {}
        for way in ways(self.problem).all:
            if way.origin != "declared" and not way.id.startswith(TURNED):
                continue
            swapped = self._misread(way)
            for step in way.steps:
                if (step.name in way.changed or swapped) and step.name in self.steps and len(step.trees) == 1:
                    for one in self._shapes(_swapped(step.trees[0], swapped)) - self.legitimate:
                        found.setdefault(one, (way, step.name))
        return found

    def _shapes(self, node: Node) -> set[Shape]:
        return {one for vector in self._partial(node) if (one := shape(vector)) is not None}

    def _misread(self, way: Way) -> dict[str, Node]:
        """Each misread given as what its number means in the other unit, as a relation of the given itself."""
        found: dict[str, Node] = {}
        for name, unit in way.misread.items():
            if name in self.problem.shown:
                told, taken = conversion(self.problem.unit_of(name)), conversion(unit)
                factor = taken.scale / told.scale
                offset = taken.offset - told.offset * factor
                scaled = Operation("*", Literal(repr(factor)), Name(name))
                found[name] = Operation("+", scaled, Literal(repr(offset))) if offset else scaled
        return found

    def shown(self, name: str, vector: Vector) -> Iterable[tuple[str, Vector]]:
        """A quantity's values in each unit in which it may be written."""
        for unit in units_like(self.problem.unit_of(name)):
            to_shown = conversion(unit).to_shown
            yield unit, tuple(to_shown(value) for value in vector)


def _swapped(node: Node, new: Mapping[str, Node]) -> Node:
    return replace_names(node, lambda name: new.get(name, Name(name)))


def _flat(node: Node, joins: str, parts_with: str, sign: int = 1) -> Iterator[tuple[Node, int]]:
    """The terms of a sum or the factors of a product, each with 1, or -1 where it is taken away or divides."""
    match node:
        case Operation(by, left, right) if by in (joins, parts_with):
            yield from _flat(left, joins, parts_with, sign)
            yield from _flat(right, joins, parts_with, sign if by == joins else -sign)
        case _:
            yield node, sign


def _multiplied(factors: Iterable[tuple[Vector, int]]) -> Vector:
    result = [1.0] * HOW_MANY
    for vector, sign in factors:
        for at, value in enumerate(vector):
            if sign < 0 and not value:
                return (0.0,) * HOW_MANY
            result[at] = result[at] * value if sign > 0 else result[at] / value
    return tuple(result)


def shape(vector: Vector) -> Shape | None:
    """What of a calculation is left when factors that are the same everywhere do not count; None for nothing."""
    if not vector[0] or not all(abs(value) < 1e300 for value in vector):
        return None
    return tuple(round(value / vector[0], 6) + 0.0 for value in vector[1:])


def same(one: Vector, other: Vector) -> bool:
    """Whether two calculations agree in all worlds."""
    return all(abs(a - b) <= SAME * max(abs(a), abs(b)) for a, b in zip(one, other, strict=True))
