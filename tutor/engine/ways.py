"""Every wrong way of a question: the declared mistakes, the slips that its relations invite, and pairs of both.

A way is followed from any point on, so that a working is judged from the learner's own earlier values.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations
from typing import Literal as OneOf

from tutor.engine.derived import NOTHING, Derived, derived_ways, lost_minuses, unit_slips
from tutor.engine.method import Step
from tutor.engine.problem import Problem
from tutor.engine.question import Question
from tutor.expression.evaluate import Relation
from tutor.expression.tree import COMPARED, Call, Literal, Name, Node, is_smooth, parts
from tutor.trade.rulebooks import TableError
from tutor.units import conversion

FURTHER_SLIP = 0.5  # how common a further slip of a mistake is beside its first
PLAUSIBLE = 0.5  # so far beyond the plausible range, as a share of its ends, a result still escapes notice
QUESTIONS_KEPT = 1024
QUESTIONS_WITH_PAIRS_KEPT = 16

Origin = OneOf["declared", "derived", "pair"]
Units = tuple[tuple[str, str], ...]  # each given and the unit that it is told in
NO_VALUE = (TableError, ZeroDivisionError, OverflowError, ValueError)


@dataclass(frozen=True, eq=False, slots=True)
class Way:
    """A wrong way: how common it is beside others of its origin, and its steps, compiled from where it departs.

    `misread` says in which unit a given's printed number is taken, `changed` which steps have another relation.
    """

    id: str
    words: str
    origin: Origin
    weight: float
    steps: tuple[Step, ...]
    misread: Mapping[str, str]
    departs: int
    noticed: bool
    changed: tuple[str, ...]
    runs: tuple[tuple[str, Relation], ...]

    def follow(
        self, problem: Problem, values: Mapping[str, float], own: Mapping[str, float], until: str
    ) -> dict[str, float]:
        """The values by name on this way, up to `until`; before it departs they are `values`, and `own` ones stay.

        Raises one of NO_VALUE where the way leads to no value.
        """
        found = dict(values)
        for name, unit in self.misread.items():
            if name in problem.shown:
                found[name] = conversion(unit).to_working(problem.shown[name].value)
        for name, run in self.runs:
            found[name] = own[name] if name in own else run(found)
            if name == until:
                break
        return found

    def could_be(self, problem: Problem, values: Mapping[str, float]) -> bool:
        """Whether somebody would go on with these values: a slip that nobody declared leads to plausible ones."""
        if not self.noticed:
            return True
        for name, _ in self.runs:
            low, high = problem.question.plausible(name)
            if not low - PLAUSIBLE * abs(low) <= values.get(name, low) <= high + PLAUSIBLE * abs(high):
                return False
        return True

    def reaches(self, name: str) -> bool:
        """Whether a quantity is one of the steps."""
        return any(step.name == name for step in self.steps)

    def unrounded(self, values: Mapping[str, float], name: str) -> tuple[float, ...]:
        """The values that a rounded, chosen or looked-up quantity comes from, back to the last ones that are none."""
        step = next((step for step in self.steps if step.name == name), None)
        if step is None or (is_smooth(step.whole) and not isinstance(step.whole, Name)):
            return (values[name],)
        if isinstance(step.whole, Call) and step.whole.function in COMPARED and not any(map(self.reaches, step.uses)):
            return (values[name],)
        return tuple(self._behind(step.whole, values))

    def _behind(self, node: Node, values: Mapping[str, float]) -> Iterator[float]:
        for part in parts(node):
            match part:
                case Name(id_):
                    yield from self.unrounded(values, id_)
                case Literal(text, unit):
                    yield conversion(unit).to_working(float(text))
                case _:
                    yield from self._behind(part, values)


@dataclass(frozen=True, eq=False)
class Ways:
    """Wrong ways that compete, and the weight of all of one origin together."""

    all: tuple[Way, ...]
    total: Mapping[Origin, float]

    @cached_property
    def likeliest(self) -> float:
        """The weight of the likeliest one's ways together, as a share of the weight of all of its origin."""
        by_id: dict[tuple[str, Origin], float] = {}
        for way in self.all:
            by_id[way.id, way.origin] = by_id.get((way.id, way.origin), 0.0) + way.weight
        return max((weight / self.total[origin] for (_, origin), weight in by_id.items()), default=0.0)


def ways(problem: Problem) -> Ways:
    """The single ways of a problem, the declared ones first."""
    return _single(problem.question, _units(problem), _below_zero(problem))


def pairs(problem: Problem) -> Ways:
    """Two slips together, one of them declared at least."""
    return _pairs(problem.question, _units(problem))


def _units(problem: Problem) -> Units:
    return tuple((name, amount.unit) for name, amount in problem.shown.items())


def _below_zero(problem: Problem) -> tuple[str, ...]:
    return tuple(name for name, told in problem.shown.items() if told.unit == "degC" and told.value < 0)


@lru_cache(maxsize=QUESTIONS_KEPT)
def _single(question: Question, units: Units, below_zero: tuple[str, ...]) -> Ways:
    steps = question.right.steps
    slips = [*derived_ways(question, steps), *unit_slips(question, steps, dict(units))]
    slips += lost_minuses(question, steps, below_zero)
    return _together((*declared_ways(question), *(_way(question, slip, "derived") for slip in slips)))


@lru_cache(maxsize=QUESTIONS_WITH_PAIRS_KEPT)
def _pairs(question: Question, units: Units) -> Ways:
    found = list(declared_pairs(question))
    for way in declared_ways(question):
        slips = [slip for slip in derived_ways(question, way.steps) if slip.departs >= way.departs]
        slips += unit_slips(question, way.steps, {name: unit for name, unit in units if name not in way.misread})
        found += [_pair(question, way, slip, slip.steps) for slip in slips]
    return _together(tuple(found))


def _together(found: tuple[Way, ...]) -> Ways:
    total: dict[Origin, float] = {}
    for origin, weight in {way.id: (way.origin, way.weight) for way in found}.values():
        total[origin] = total.get(origin, 0.0) + weight
    return Ways(found, total)


@lru_cache(maxsize=QUESTIONS_KEPT)
def declared_pairs(question: Question) -> tuple[Way, ...]:
    """Two declared mistakes together, for all that touch different steps."""
    found = []
    for one, other in combinations(declared_ways(question), 2):
        if (steps := _both(question, one, other)) is not None:
            found.append(_pair(question, one, other, steps))
    return tuple(found)


@lru_cache(maxsize=QUESTIONS_KEPT)
def declared_ways(question: Question) -> tuple[Way, ...]:
    """The declared mistakes of a question, one way for each slip that changes its answer."""
    mistakes = question.exercise.mistakes
    found = []
    for wrong in question.wrong:
        mistake, steps = mistakes[wrong.mistake], wrong.method.steps
        weight = mistake.weight if wrong.slip == mistake.slips[0] else mistake.weight * FURTHER_SLIP
        slip = Derived(wrong.mistake, mistake.words, weight, steps, wrong.slip.misread, noticed=False)
        found.append(_way(question, slip, "declared"))
    return tuple(found)


def _pair(question: Question, way: Way, other: Way | Derived, steps: tuple[Step, ...]) -> Way:
    both = Derived(
        f"{way.id}+{other.id}",
        f"{way.words}, and {other.words}",
        way.weight * other.weight,
        steps,
        {**way.misread, **other.misread} or NOTHING,
        way.noticed or other.noticed,
        min(way.departs, other.departs),
    )
    return _way(question, both, "pair")


def _way(question: Question, slip: Derived, origin: Origin) -> Way:
    """A way compiled; the relations of pairs, of which there are many, are not kept."""
    compiled = question.relation if origin != "pair" else question.compiled
    runs = tuple((step.name, compiled(step.whole)) for step in slip.steps[slip.departs :])
    right = {step.name: step.trees for step in question.right.steps}
    changed = tuple(step.name for step in slip.steps if step.trees != right.get(step.name))
    return Way(
        slip.id, slip.words, origin, slip.weight, slip.steps, slip.misread, slip.departs, slip.noticed, changed, runs
    )


def _both(question: Question, one: Way, other: Way) -> tuple[Step, ...] | None:
    """The steps of two slips in different places; None if they touch the same step, or change which steps there are."""
    if one.id == other.id or [s.name for s in one.steps] != [s.name for s in other.steps]:
        return None
    right = {step.name: step for step in question.right.steps}
    steps = []
    for first, second in zip(one.steps, other.steps, strict=True):
        changed = [step for step in (first, second) if step != right.get(step.name)]
        if len(changed) > 1:
            return None
        steps.append(changed[0] if changed else first)
    return tuple(steps)
