"""What a calculation of a working does: a step of the method, a part of one, or what a wrong way makes of it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from typing import Literal, NamedTuple

from tutor.answers.working.arithmetic import MODES, NO_NUMBER, Mode
from tutor.answers.working.dims import dimension_of
from tutor.answers.working.expression import Applied, Expression, UnreadError, value_of
from tutor.answers.working.sources import Reading, Sources, Tag
from tutor.answers.working.worlds import HOW_MANY, SAME, Meant, Vector, same, shape
from tutor.engine.ways import Way
from tutor.units import ABSOLUTE_TEMPERATURES, conversion

MOST_TOGETHER = 240
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

    way: Way
    name: str


@dataclass(frozen=True)
class Match:
    """What a calculation was recognised as; `vector` are its values in all worlds, in the unit of its result.

    `suspected` are the wrong ways that a partial result may also belong to; a `partial` one is no step's value.
    """

    kind: Kind
    vector: Vector | None
    name: str | None = None
    way: Way | None = None
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


class Methods:
    """Recognises calculations of one problem."""

    def __init__(self, sources: Sources, allowance: Allowance) -> None:
        self.sources, self.worlds, self.problem = sources, sources.worlds, sources.problem
        self.allowance = allowance

    def match(self, expression: Expression, unit: str | None, modes: Sequence[Mode], first: Sequence[str]) -> Match:
        """What a calculation whose result has this unit is; the quantities named `first` are looked at first."""
        best = UNKNOWN
        wrong: list[Suspicion] = []
        leaves = [self.sources.readings(leaf) for leaf in expression.leaves]
        if not all(leaves):
            return best
        names = [*first, *(name for name in self.worlds.steps if name not in first)]
        for mode in modes or MODES:
            for readings in _together(leaves):
                self.allowance.use()
                vector = _calculated(expression, readings, mode)
                if vector is None:
                    continue
                if (chosen := self._chosen(expression, vector, mode, unit, names)) is not None:
                    return chosen
                tag = next((one.tag for one in readings if one.tag), None)
                found = self._recognised(vector, mode, unit, names, tag)
                if found.kind == "wrong" and found.way and found.name:
                    wrong.append(Suspicion(found.way, found.name))
                if best.vector is None or found.rank < best.rank:
                    best = found
                if best.rank == 0:
                    return best
        return replace(best, suspected=(*best.suspected, *wrong)) if best.kind == "on the way" else best

    def _chosen(
        self, expression: Expression, vector: Vector, mode: Mode, unit: str | None, names: Iterable[str]
    ) -> Match | None:
        """The step that the least or the greatest of some values is, if a calculation is no more than that."""
        if not (isinstance(expression.term, Applied) and expression.term.operation in ("least", "greatest")):
            return None
        for name in names:
            other = self.worlds.compared(name)
            if other is not None and self._is_quantity(vector, other, name, mode, unit):
                return Match("right", self._as_typed(self.worlds.vector(name), mode, unit), name)
        return None

    def _recognised(self, vector: Vector, mode: Mode, unit: str | None, names: Iterable[str], tag: Tag | None) -> Match:
        as_typed = self._as_typed(vector, mode, unit)
        meant = self._meant(vector, mode, unit)
        right = {one.name: fits for one, fits in meant if one.way is None}
        if (name := next((name for name in names if name in right), None)) is not None:
            if tag is None:
                return Match("right", as_typed, name, fits_unit=right[name])
            return Match("wrong", as_typed, tag.step if tag.step == name else name, tag.way)
        if tag is not None:
            return Match("unknown", as_typed)
        wrong = [Suspicion(one.way, one.name) for one, _ in meant if one.way is not None]
        one = shape(vector)
        if one is None or self.is_legitimate(vector) or self.worlds.given.same(vector):
            return Match("on the way", as_typed, suspected=tuple(wrong))
        if wrong:
            return Match("wrong", as_typed, wrong[0][1], wrong[0][0])
        if one in self.worlds.wrong_on_the_way:
            way, name = self.worlds.wrong_on_the_way[one]
            return Match("wrong", as_typed, name, way, partial=True)
        return Match("unknown", as_typed)

    def is_legitimate(self, vector: Vector) -> bool:
        """Whether a calculation may stand on the way, or is what something on the way is divided by."""
        if shape(vector) in self.worlds.legitimate:
            return True
        inverse = shape(tuple(1 / value for value in vector)) if all(vector) else None
        return inverse in self.worlds.legitimate and all(
            inverse != shape(self.worlds.vector(name)) for name in self.worlds.steps
        )

    def scaled(self, vector: Vector, unit: str) -> str | None:
        """The step that a result in a unit is, but for a factor such as a thousand that was lost or added."""
        for name in self.worlds.steps:
            if dimension_of(unit) == dimension_of(self.problem.unit_of(name)) and unit not in ABSOLUTE_TEMPERATURES:
                right = self.worlds.vector(name)
                if shape(vector) == shape(right) and right[0]:
                    ratio = vector[0] * conversion(unit).scale / right[0]
                    if any(abs(abs(ratio) / lost - 1) < SAME for lost in LOST):
                        return name
        return None

    def _as_typed(self, vector: Vector, mode: Mode, unit: str | None) -> Vector:
        if mode == "typed" or not unit or unit == "count":
            return vector
        to_shown = conversion(unit).to_shown
        return tuple(to_shown(value) for value in vector)

    def _meant(self, vector: Vector, mode: Mode, unit: str | None) -> list[tuple[Meant, bool]]:
        """All that a calculation may come to, each with whether the unit of its result fits."""
        if unit is None or unit == "count":
            return [(self.worlds.meant[place], True) for place in self.worlds.in_any_unit.same(vector)]
        found: dict[int, bool] = {}
        for place in self.worlds.in_any_unit.same(vector):
            shown_in = self.problem.unit_of(self.worlds.meant[place].name)
            fits = dimension_of(unit) == dimension_of(shown_in)
            if not fits or (mode == "typed" and unit == "K" and shown_in in ABSOLUTE_TEMPERATURES):
                found[place] = fits
        for place in self.worlds.in_unit(None if mode == "working" else unit).same(vector):
            shown_in = self.problem.unit_of(self.worlds.meant[place].name)
            if dimension_of(unit) == dimension_of(shown_in) and not (
                mode == "typed" and unit == "K" and shown_in in ABSOLUTE_TEMPERATURES
            ):
                found[place] = True
        return [(self.worlds.meant[place], fits) for place, fits in sorted(found.items())]

    def _is_quantity(self, vector: Vector, other: Vector, name: str, mode: Mode, unit: str | None) -> bool | None:
        """Whether a calculation gives a quantity, and then whether its unit fits; None if it does not."""
        shown_in = self.problem.unit_of(name)
        fits = unit in (None, "count") or dimension_of(str(unit)) == dimension_of(shown_in)
        if mode == "working" and fits and unit not in (None, "count"):
            return True if same(vector, other) else None
        if fits and unit not in (None, "count") and not (shown_in in ABSOLUTE_TEMPERATURES and unit == "K"):
            to_shown = conversion(str(unit)).to_shown
            return True if same(vector, tuple(to_shown(value) for value in other)) else None
        alike = any(same(vector, shown) for _, shown in self.worlds.shown(name, other))
        return fits if alike or same(vector, other) else None


def _together(leaves: Sequence[Sequence[Reading]]) -> Iterator[tuple[Reading, ...]]:
    """All that the numbers may be together: first without values of wrong ways, then with those of one of them."""
    clean = [[one for one in readings if one.tag is None] for readings in leaves]
    if all(clean):
        yield from islice(product(*clean), MOST_TOGETHER)
    for at, readings in enumerate(leaves):
        tagged = [one for one in readings if one.tag is not None]
        others = [clean[place] if place != at else tagged for place in range(len(leaves))]
        if all(others):
            yield from islice(product(*others), MOST_TOGETHER // max(4, len(leaves)))


def _calculated(expression: Expression, readings: Sequence[Reading], mode: Mode) -> Vector | None:
    try:
        return tuple(
            value_of(expression, [one.working[at] if mode == "working" else one.typed[at] for one in readings])
            for at in range(HOW_MANY)
        )
    except NO_NUMBER:
        return None
