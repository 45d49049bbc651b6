"""What a calculation of a working does: a step of the method, a part of one, or what a wrong way makes of it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from typing import Literal, NamedTuple

from tutor.answers.working.dimensions import dimension_of
from tutor.answers.working.expression import OF_SEVERAL, Expression, UnreadError, value_of
from tutor.answers.working.numbers import NumberInterpretations, Reading, Tag
from tutor.answers.working.samples import SAME, Meaning, Vector, same, shape_of, shown_in
from tutor.answers.working.sides import MODES, NO_NUMBER, Mode
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.entries.unit_names import COUNT
from tutor.expression.tree import Call
from tutor.problems.wrong_method import WrongMethod

MOST_TOGETHER = 240  # readings of all numbers of a calculation together
# How many readings of calculations are tried: those of a learner's own lines take a tenth of it.
MOST_TRIED = 500
MOST_TRIED_IN_ALL = 20_000
TOO_MANY_READINGS = (
    "The numbers of this line can be read in too many ways to check it. Write it as several shorter lines, each with "
    "its result."
)
# How far off a unit that was not brought along may carry a result.
LOST = (1000.0, 0.001, 100.0, 0.01, 1e6, 1e-6, 60.0, 1 / 60, 3600.0, 1 / 3600)

Kind = Literal["right", "on the way", "wrong", "unknown"]
_ORDER: tuple[Kind, ...] = ("right", "on the way", "wrong", "unknown")


class Suspicion(NamedTuple):
    """A wrong way that a result may belong to, and the step that the result would be on it."""

    way: WrongMethod
    name: str


@dataclass(frozen=True)
class Match:
    """What a calculation was recognised as; `vector` are its values in all samples, in the unit of its result.

    `suspected` are the wrong ways that a partial result may also belong to; a `partial` one is no step's value.
    """

    kind: Kind
    vector: Vector | None
    name: str | None = None
    way: WrongMethod | None = None
    suspected: tuple[Suspicion, ...] = ()
    fits_unit: bool = True
    partial: bool = False

    @property
    def rank(self) -> float:
        """The lower, the likelier among readings; a step in a unit that does not fit comes behind one that does."""
        return _ORDER.index(self.kind) if self.fits_unit else 0.5


UNKNOWN = Match("unknown", None)


class Allowance:
    """How many readings may still be tried, in a line and in the whole working with all its methods.

    A count, not a time: the verdict on a working is the same on a slow machine.
    """

    def __init__(self) -> None:
        self.of_line, self.of_all = MOST_TRIED, MOST_TRIED_IN_ALL

    def begin_line(self) -> None:
        """Allow a new line its own number."""
        self.of_line = MOST_TRIED

    def use(self) -> None:
        """Take one away.

        Raises UnreadError where none is left.
        """
        self.of_line -= 1
        self.of_all -= 1
        if min(self.of_line, self.of_all) < 0:
            raise UnreadError(TOO_MANY_READINGS)


class Matcher:
    """Recognises calculations of one problem."""

    def __init__(self, numbers: NumberInterpretations, allowance: Allowance) -> None:
        self.numbers, self.samples, self.problem = numbers, numbers.samples, numbers.problem
        self.allowance = allowance

    def match(self, expression: Expression, unit: str | None, modes: Sequence[Mode], likely: Sequence[str]) -> Match:
        """What a calculation whose result has this unit is; the `likely` steps are looked at first."""
        best = UNKNOWN
        wrong: list[Suspicion] = []
        leaves = [self.numbers.readings(leaf) for leaf in expression.leaves]
        if not all(leaves):
            return best
        names = [*likely, *(name for name in self.samples.steps if name not in likely)]
        for mode in modes or MODES:
            for readings in _together(leaves):
                self.allowance.use()
                vector = _calculated(expression, readings, mode)
                if vector is None:
                    continue
                if (chosen := self._chosen(expression, vector, mode, unit, names)) is not None:
                    return chosen
                tag = next((reading.tag for reading in readings if reading.tag), None)
                match = self._recognised(vector, mode, unit, names, tag)
                if match.kind == "wrong" and match.way and match.name:
                    wrong.append(Suspicion(match.way, match.name))
                if best.vector is None or match.rank < best.rank:
                    best = match
                if best.rank == 0:
                    return best
        return replace(best, suspected=(*best.suspected, *wrong)) if best.kind == "on the way" else best

    def _chosen(
        self, expression: Expression, vector: Vector, mode: Mode, unit: str | None, names: Iterable[str]
    ) -> Match | None:
        """The step that the least or the greatest of some values is, if a calculation is no more than that."""
        if not (isinstance(expression.tree, Call) and expression.tree.function in OF_SEVERAL):
            return None
        for name in names:
            compared = self.samples.compared(name)
            if compared is not None and self._is_quantity(vector, compared, name, mode, unit):
                return Match("right", _as_typed(self.samples.vector(name), mode, unit), name)
        return None

    def _recognised(self, vector: Vector, mode: Mode, unit: str | None, names: Iterable[str], tag: Tag | None) -> Match:
        as_typed = _as_typed(vector, mode, unit)
        meanings = self._meanings(vector, mode, unit)
        right = {meaning.name: fits for meaning, fits in meanings if meaning.way is None}
        if (name := next((name for name in names if name in right), None)) is not None:
            if tag is None:
                return Match("right", as_typed, name, fits_unit=right[name])
            return Match("wrong", as_typed, name, tag.way)
        if tag is not None:
            return Match("unknown", as_typed)
        wrong = [Suspicion(meaning.way, meaning.name) for meaning, _ in meanings if meaning.way is not None]
        shape = shape_of(vector)
        if shape is None or self._is_legitimate(vector) or self.samples.quantities.same(vector):
            return Match("on the way", as_typed, suspected=tuple(wrong))
        if wrong:
            return Match("wrong", as_typed, wrong[0].name, wrong[0].way)
        if shape in self.samples.wrong_on_the_way:
            way, name = self.samples.wrong_on_the_way[shape]
            return Match("wrong", as_typed, name, way, partial=True)
        return Match("unknown", as_typed)

    def _is_legitimate(self, vector: Vector) -> bool:
        """Whether a calculation may stand on the way, or is what something on the way is divided by."""
        if shape_of(vector) in self.samples.legitimate:
            return True
        inverse = shape_of(tuple(1 / value for value in vector)) if all(vector) else None
        return inverse in self.samples.legitimate and all(
            inverse != shape_of(self.samples.vector(name)) for name in self.samples.steps
        )

    def scaled(self, vector: Vector, unit: str) -> str | None:
        """The step that a result in a unit is, but for a factor such as a thousand that was lost or added."""
        for name in self.samples.steps:
            if dimension_of(unit) == dimension_of(self.problem.unit_of(name)) and unit not in ABSOLUTE_TEMPERATURES:
                right = self.samples.vector(name)
                if shape_of(vector) == shape_of(right) and right[0]:
                    ratio = vector[0] * conversion(unit).scale / right[0]
                    if any(abs(abs(ratio) / factor - 1) < SAME for factor in LOST):
                        return name
        return None

    def _meanings(self, vector: Vector, mode: Mode, unit: str | None) -> list[tuple[Meaning, bool]]:
        """All that a calculation may come to, each with whether the unit of its result fits."""
        meanings = self.samples.meanings
        in_any_unit = self.samples.in_any_unit.same(vector)
        if unit is None or unit == COUNT:
            return [(meanings[place], True) for place in in_any_unit]
        fits: dict[int, bool] = {}
        for place in in_any_unit:
            shown_unit = self.problem.unit_of(meanings[place].name)
            fitting = dimension_of(unit) == dimension_of(shown_unit)
            if not fitting or (mode == "typed" and _is_degree(unit, shown_unit)):
                fits[place] = fitting
        for place in self.samples.in_unit(None if mode == "working" else unit).same(vector):
            shown_unit = self.problem.unit_of(meanings[place].name)
            if dimension_of(unit) == dimension_of(shown_unit) and not (
                mode == "typed" and _is_degree(unit, shown_unit)
            ):
                fits[place] = True
        return [(meanings[place], fitting) for place, fitting in sorted(fits.items())]

    def _is_quantity(self, vector: Vector, values: Vector, name: str, mode: Mode, unit: str | None) -> bool:
        """Whether a calculation gives a quantity with these values, in a unit that fits."""
        shown_unit = self.problem.unit_of(name)
        measured = unit if unit != COUNT else None
        if measured and dimension_of(measured) != dimension_of(shown_unit):
            return False
        if measured and mode == "working":
            return same(vector, values)
        if measured and not _is_degree(measured, shown_unit):
            return same(vector, shown_in(measured, values))
        return any(same(vector, shown) for shown in (*self.samples.shown(name, values), values))


def _is_degree(unit: str, shown_unit: str) -> bool:
    """Whether a kelvin stands for a degree of a temperature."""
    return unit == "K" and shown_unit in ABSOLUTE_TEMPERATURES


def _as_typed(vector: Vector, mode: Mode, unit: str | None) -> Vector:
    return vector if mode == "typed" or not unit or unit == COUNT else shown_in(unit, vector)


def _together(leaves: Sequence[Sequence[Reading]]) -> Iterator[tuple[Reading, ...]]:
    """All that the numbers may be together: first without values of wrong ways, then with those of one of them."""
    clean = [[reading for reading in readings if reading.tag is None] for readings in leaves]
    if all(clean):
        yield from islice(product(*clean), MOST_TOGETHER)
    for place, readings in enumerate(leaves):
        tagged = [reading for reading in readings if reading.tag is not None]
        choices = [*clean[:place], tagged, *clean[place + 1 :]]
        if all(choices):
            yield from islice(product(*choices), MOST_TOGETHER // max(4, len(leaves)))


def _calculated(expression: Expression, readings: Sequence[Reading], mode: Mode) -> Vector | None:
    vectors = [reading.working if mode == "working" else reading.typed for reading in readings]
    try:
        return tuple(value_of(expression, numbers) for numbers in zip(*vectors, strict=True))
    except NO_NUMBER:
        return None
