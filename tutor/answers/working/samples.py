"""A problem in several samples whose givens differ a little, so that calculations are told apart by what they do.

Two calculations that agree in all samples are the same calculation, whatever they look like; two that agree in one
only, by chance, are not.  What a step rounds, chooses or reads off a table varies by itself.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import compress, product
from operator import mul, truediv
from random import Random
from typing import NamedTuple

from tutor.answers.working.dimensions import dimension_of, units_like
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.expression.evaluate import NO_VALUE
from tutor.expression.tree import Literal, Name, Node, Operation, factors, parts, replace_names, terms, walk
from tutor.problems.problem import Problem
from tutor.problems.wrong_method import WrongMethod

Vector = tuple[float, ...]  # a value in each sample
Shape = tuple[float, ...]
Factor = tuple[Vector, bool]  # and whether it multiplies, or is added
SAMPLE_COUNT = 5  # the last one is the problem itself
MOST_FACTORS = 6  # whose partial products are all looked at: 64 of them
SAME = 1e-7  # far above the noise of arithmetic, far below what the samples differ by


class Meaning(NamedTuple):
    """What a calculation may come to: a step's values in all samples, the right ones or those on a wrong way."""

    name: str
    way: WrongMethod | None
    vector: Vector


class Vectors:
    """Vectors, each with a place, in which those that are the same as another are found without looking at all."""

    def __init__(self, placed: Iterable[tuple[Vector, int]]) -> None:
        self._sorted = sorted(placed)
        self._firsts = [vector[0] for vector, _ in self._sorted]

    def same(self, vector: Vector) -> list[int]:
        """The places of the same vectors, in order."""
        room = 2 * SAME * abs(vector[0])
        start, end = bisect_left(self._firsts, vector[0] - room), bisect_right(self._firsts, vector[0] + room)
        return sorted({place for candidate, place in self._sorted[start:end] if same(vector, candidate)})


class PerturbedSamples:
    """The values of a problem's quantities in all samples, in working units."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.steps = {step.name: step for step in problem.question.right.steps}
        seeds = (Random(f"{place} {problem.question.exercise.id}") for place in range(SAMPLE_COUNT - 1))
        self._samples = [*map(self._sample, seeds), problem.all_values]
        self._in_unit: dict[str | None, Vectors] = {}

    def vector(self, name: str) -> Vector:
        """A quantity's value in each sample."""
        return tuple(sample[name] for sample in self._samples)

    def _sample(self, random: Random) -> dict[str, float]:
        sample = {name: self._moved(name, value, random) for name, value in self.problem.all_values.items()}
        for step in self.steps.values():
            if step.kind == "solve":
                try:
                    sample[step.name] = self.problem.evaluate(self.problem.tree_of(step), sample)
                except NO_VALUE:
                    continue
        return sample

    def _moved(self, name: str, value: float, random: Random) -> float:
        shift = random.uniform(0.01, 0.04) * random.choice((-1, 1))
        if self.problem.question.library.quantities[name].unit in ABSOLUTE_TEMPERATURES or not value:
            return value + 10 * shift
        return value * (1 + shift)

    def values_of(self, node: Node) -> Vector | None:
        """A relation's value in each sample; None where it has none."""
        try:
            if isinstance(node, Name):
                return self.vector(node.id)
            run = self.problem.question.compiled(node)
            return tuple(run(sample) for sample in self._samples)
        except (*NO_VALUE, KeyError, TypeError):
            return None

    def compared(self, name: str) -> Vector | None:
        """The values of a step that takes the least or the greatest of some, worked out from them in each sample."""
        step = self.steps[name]
        return self.values_of(self.problem.tree_of(step)) if step.kind == "compare" else None

    @cached_property
    def legitimate(self) -> frozenset[Shape]:
        """The shapes of all that may stand on the way: partial products, terms, differences, in any order."""
        return frozenset(shape for node in self._wholes() for shape in self._shapes(self._inlined(node)))

    @cached_property
    def parts(self) -> list[Vector]:
        """The values of the differences and sums within relations, and of their terms."""
        vectors: dict[Vector, None] = {}
        for node in self._wholes():
            for inner in walk(self._inlined(node)):
                if isinstance(inner, Operation) and inner.sign in "+-":
                    for operation in (inner, *(part for part in parts(inner) if isinstance(part, Operation))):
                        if (vector := self.values_of(operation)) is not None:
                            vectors[vector] = None
        return list(vectors)

    def _wholes(self) -> Iterator[Node]:
        for step in self.steps.values():
            tree = self.problem.tree_of(step)
            yield from (Name(step.name), *((tree,) if step.kind == "solve" else parts(tree)))
        for limit in self.problem.question.limits:
            yield from (*parts(limit.tree), Operation("-", limit.tree.left, limit.tree.right))

    def _inlined(self, node: Node) -> Node:
        def definition(name: str) -> Node:
            step = self.steps.get(name)
            return self._inlined(self.problem.tree_of(step)) if step and step.kind == "solve" else Name(name)

        return replace_names(node, definition)

    def _partial(self, node: Node) -> list[Vector]:
        """The values of all partial results that lead to a node's value."""
        if isinstance(node, Operation) and node.sign in "*/":
            return self._partial_products(node)
        if isinstance(node, Operation):
            return self._partial_sums(node)
        whole = self.values_of(node)
        return [*(vector for part in parts(node) for vector in self._partial(part)), *([whole] if whole else [])]

    def _partial_sums(self, node: Node) -> list[Vector]:
        summands = [(vector, plain, part) for part, plain in terms(node) if (vector := self.values_of(part))]
        vectors = [vector for _, _, part in summands for vector in self._partial(part)]
        few = len(summands) <= MOST_FACTORS
        for chosen in _subsets([(vector, plain) for vector, plain, _ in summands] if few else []):
            signed = [vector if plain else tuple(-value for value in vector) for vector, plain in chosen]
            vectors.append(tuple(map(sum, zip((0.0,) * SAMPLE_COUNT, *signed, strict=True))))
        return vectors

    def _partial_products(self, node: Node) -> list[Vector]:
        measured = [(vector, plain, part) for part, plain in factors(node) if (vector := self.values_of(part))]
        chain = [(vector, plain) for vector, plain, _ in measured]
        few = len(chain) <= MOST_FACTORS
        vectors = [] if few else [vector for vector, _ in chain]
        vectors += [_multiplied(chosen) for chosen in _subsets(chain if few else [])]
        for place, (_, plain, part) in enumerate(measured):
            if not isinstance(part, Name | Literal):
                within = [vector for vector in self._partial(part) if all(vector)]
                for chosen in _subsets(chain[:place] + chain[place + 1 :] if few else []):
                    product_of_chosen = _multiplied(chosen)
                    vectors += [_multiplied([(product_of_chosen, True), (vector, plain)]) for vector in within]
        return vectors

    @cached_property
    def wrong(self) -> list[tuple[WrongMethod, Mapping[str, Vector]]]:
        """What each wrong way makes of the steps that it touches, the declared ones first."""
        return [(way, vectors) for way in self.problem.wrong_methods.all if (vectors := self._along(way))]

    @cached_property
    def meanings(self) -> list[Meaning]:
        """All that a calculation may come to: each step as it is right, then on the wrong ways."""
        right = [Meaning(name, None, self.vector(name)) for name in self.steps]
        return right + [Meaning(name, way, vector) for way, steps in self.wrong for name, vector in steps.items()]

    @cached_property
    def in_any_unit(self) -> Vectors:
        """The same by their values, in working units and in each unit in which they may be written."""
        return Vectors(
            (vector, place)
            for place, meaning in enumerate(self.meanings)
            for vector in (meaning.vector, *self.shown(meaning.name, meaning.vector))
        )

    @cached_property
    def quantities(self) -> Vectors:
        """The values of all quantities in each unit in which they may be written."""
        names = (*self.problem.known, *self.steps)
        return Vectors((shown, 0) for name in names for shown in self.shown(name, self.vector(name)))

    def in_unit(self, unit: str | None) -> Vectors:
        """What a calculation may come to, of the steps that this unit measures, in it; None for the working units."""
        if unit not in self._in_unit:
            self._in_unit[unit] = Vectors(
                (meaning.vector if unit is None else shown_in(unit, meaning.vector), place)
                for place, meaning in enumerate(self.meanings)
                if unit is None or dimension_of(unit) == dimension_of(self.problem.unit_of(meaning.name))
            )
        return self._in_unit[unit]

    def shown(self, name: str, vector: Vector) -> Iterator[Vector]:
        """A quantity's values in each unit in which it may be written."""
        return (shown_in(unit, vector) for unit in units_like(self.problem.unit_of(name)))

    def _along(self, way: WrongMethod) -> dict[str, Vector]:
        misread = self._misread(way)
        touched = {*way.changed, *misread}
        uses = {step.name: step.uses for step in way.steps}
        samples: list[dict[str, float]] = []
        try:
            for sample in self._samples:
                values = dict(sample)
                for name, unit in misread.items():
                    shown = conversion(self.problem.unit_of(name)).to_shown(values[name])
                    values[name] = conversion(unit).to_working(shown)
                for name, run in way.relations:
                    if name in touched or uses[name] & touched:
                        touched.add(name)
                        values[name] = run(values)
                samples.append(values)
        except (*NO_VALUE, KeyError):
            return {}
        vectors = {name: tuple(values[name] for values in samples) for name in self.steps if name in touched}
        return {name: vector for name, vector in vectors.items() if not same(vector, self.vector(name))}

    @cached_property
    def wrong_on_the_way(self) -> dict[Shape, tuple[WrongMethod, str]]:
        """The shapes of partial results that only a wrong way leads to, with the step that it changes.

        Of the ways that nobody declared only a turned sign is looked for: others share too many shapes.
        """
        shapes: dict[Shape, tuple[WrongMethod, str]] = {}
        for way in self.problem.wrong_methods.all:
            if way.origin != "declared" and way.kind != "turned":
                continue
            misread = {name: self._taken_for(name, unit) for name, unit in self._misread(way).items()}
            for step in way.steps:
                if (step.name in way.changed or misread) and step.name in self.steps and len(step.trees) == 1:
                    for shape in self._shapes(_swapped(step.trees[0], misread)) - self.legitimate:
                        shapes.setdefault(shape, (way, step.name))
        return shapes

    def _shapes(self, node: Node) -> set[Shape]:
        return {shape for vector in self._partial(node) if (shape := shape_of(vector)) is not None}

    def _misread(self, way: WrongMethod) -> dict[str, str]:
        return {name: unit for name, unit in way.misread.items() if name in self.problem.shown}

    def _taken_for(self, name: str, unit: str) -> Node:
        """A given as what its number means in another unit, as a relation of the given itself."""
        shown, taken = conversion(self.problem.unit_of(name)), conversion(unit)
        factor = taken.scale / shown.scale
        offset = taken.offset - shown.offset * factor
        scaled = Operation("*", Literal(repr(factor)), Name(name))
        return Operation("+", scaled, Literal(repr(offset))) if offset else scaled


def _swapped(node: Node, new: Mapping[str, Node]) -> Node:
    return replace_names(node, lambda name: new.get(name, Name(name)))


def _subsets(chain: Sequence[Factor]) -> Iterator[list[Factor]]:
    """All choices among factors or terms."""
    for chosen in product((False, True), repeat=len(chain)):
        yield list(compress(chain, chosen))


def _multiplied(chain: Iterable[Factor]) -> Vector:
    result = (1.0,) * SAMPLE_COUNT
    for vector, plain in chain:
        if not plain and not all(vector):
            return (0.0,) * SAMPLE_COUNT
        result = tuple(map(mul if plain else truediv, result, vector))
    return result


def shown_in(unit: str, vector: Vector) -> Vector:
    """Values in working units as they are shown in a unit."""
    to_shown = conversion(unit).to_shown
    return tuple(map(to_shown, vector))


def shape_of(vector: Vector) -> Shape | None:
    """What of a calculation is left when factors that are the same everywhere do not count; None for nothing."""
    if not vector[0] or not all(abs(value) < 1e300 for value in vector):
        return None
    return tuple(round(value / vector[0], 6) + 0.0 for value in vector[1:])


def same(vector: Vector, other: Vector) -> bool:
    """Whether two calculations agree in all samples."""
    return all(abs(a - b) <= SAME * max(abs(a), abs(b)) for a, b in zip(vector, other, strict=True))
