"""How well mistakes are recognised: simulated learners whose mistakes are known, and what the marking says of them.

Each learner follows one wrong way, or two at once, or none (a number from nowhere, or a right way with its own
rounding), and types as people do.  Everything is drawn from the exercise's own id and number, so a trial can be run
again with the same result.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

from tutor.answers.marking import mark
from tutor.answers.naming import COMMON, OFFERED
from tutor.answers.verdicts import Candidate, Explanation, Marking
from tutor.content.library import Library, load
from tutor.engine.draw import draw
from tutor.engine.problem import Problem
from tutor.engine.question import Engine, Question
from tutor.engine.ways import NO_VALUE, Origin, Way, pairs, ways
from tutor.intervals import Interval, wilson
from tutor.units import conversion

LEARNERS = 12  # of each kind for each question, if not told otherwise
FIGURES = (3, 4, 4, 4, 5, 5)  # significant figures that people type, one as likely as the other
SAME = 1e-9
FAR = math.log(10)  # numbers from nowhere lie within a factor of ten of the right one

Outcome = str
NAMED, ASKED, UNKNOWN, FALSE = "named rightly", "asked a separating question", "not identified", "named falsely"
MARKED_RIGHT = "marked right"
OUTCOMES = (NAMED, ASKED, UNKNOWN, FALSE, MARKED_RIGHT)
STEPS, VALUE, FEW = "with steps", "final value only", "final whole number or size only"
NOWHERE, ROUTE = "a number from nowhere", "the right answer by another route"
KINDS = (
    *(f"{origin}, {typed}" for origin in ("a declared mistake", "a derived slip") for typed in (STEPS, VALUE, FEW)),
    *(f"two mistakes, {typed}" for typed in (STEPS, VALUE)),
    NOWHERE,
    ROUTE,
)
_ORIGINS: dict[Origin, str] = {"declared": "a declared mistake", "derived": "a derived slip", "pair": "two mistakes"}
SINGLE: tuple[Origin, Origin] = ("declared", "derived")


@dataclass
class Tally:
    """The outcomes of one kind of learner."""

    outcomes: Counter[Outcome] = field(default_factory=Counter)

    @property
    def learners(self) -> int:
        """How many there were."""
        return self.outcomes.total()

    def share(self, outcome: Outcome) -> float:
        """The share of an outcome; not a number if there were no learners."""
        return self.outcomes[outcome] / self.learners if self.learners else math.nan

    def interval(self, outcome: Outcome) -> Interval:
        """The 95 % interval of a share; not a number if there were no learners."""
        return wilson(self.outcomes[outcome], self.learners)


Trial = dict[str, Tally]


@dataclass(frozen=True)
class ExerciseTrial:
    """What a trial found for one exercise."""

    exercise: str
    trial: Mapping[str, Tally]

    def as_json(self) -> dict[str, Any]:
        """How many learners of each kind there were, and how many came to each outcome."""
        counts = {kind: {"learners": tally.learners, **tally.outcomes} for kind, tally in self.trial.items()}
        return {"exercise": self.exercise, **{kind: row for kind, row in counts.items() if row["learners"]}}


def as_json(trial: Mapping[str, Tally]) -> dict[str, Any]:
    """A trial's counts and shares with their intervals, by kind of learner."""
    return {
        kind: {
            "learners": tally.learners,
            **{
                outcome: {
                    "share": round(tally.share(outcome), 4),
                    "interval": [round(e, 4) for e in tally.interval(outcome)],
                }
                for outcome in OUTCOMES
            },
        }
        for kind, tally in trial.items()
        if tally.learners
    }


def together(trials: Sequence[ExerciseTrial]) -> Trial:
    """The outcomes of several exercises added up."""
    whole = {kind: Tally() for kind in KINDS}
    for one in trials:
        for kind, tally in one.trial.items():
            whole[kind].outcomes.update(tally.outcomes)
    return whole


def report(trials: Sequence[ExerciseTrial], learners: int) -> dict[str, Any]:
    """The whole trial as JSON: all exercises together, single mistakes as often as they are expected, each exercise."""
    whole = together(trials)
    return {
        "learners_of_each_kind": learners,
        "overall": as_json(whole),
        "single_mistakes": {typed: _as_expected(whole, typed) for typed in (STEPS, VALUE, FEW)},
        "exercises": [trial.as_json() for trial in trials],
    }


def _as_expected(whole: Trial, typed: str) -> dict[str, float]:
    """The shares for single mistakes, declared and derived ones mixed as they are expected among wrong answers."""
    of_all = COMMON["declared"] + COMMON["derived"]
    mixed = {}
    for outcome in OUTCOMES:
        declared, derived = (whole[f"{_ORIGINS[origin]}, {typed}"].share(outcome) for origin in SINGLE)
        mixed[outcome] = round((COMMON["declared"] * declared + COMMON["derived"] * derived) / of_all, 4)
    return mixed


def of_all(found: Mapping[str, Any]) -> Iterator[str]:
    """A report in lines: each kind of learner with its shares and their intervals."""
    for kind, row in found["overall"].items():
        shares = ", ".join(
            f"{outcome} {100 * row[outcome]['share']:.1f} % "
            f"({100 * row[outcome]['interval'][0]:.1f} to {100 * row[outcome]['interval'][1]:.1f})"
            for outcome in OUTCOMES
            if row[outcome]["share"]
        )
        yield f"{kind} ({row['learners']} learners): {shares}"


def of_single_mistakes(found: Mapping[str, Any]) -> Iterator[str]:
    """The shares for single mistakes, mixed as they are expected, in lines."""
    for typed, row in found["single_mistakes"].items():
        shares = ", ".join(f"{outcome} {100 * share:.1f} %" for outcome, share in row.items() if share)
        yield f"single mistakes as often as expected, {typed}: {shares}"


def diagnose_all(extra: Path | None, learners: int = LEARNERS) -> Iterator[ExerciseTrial]:
    """The trial of every exercise with numbers, on two cores, in the order of the exercises."""
    ids = list(load(extra).declared)
    with ProcessPoolExecutor(2, initializer=_load_in_worker, initargs=(extra,)) as workers:
        yield from workers.map(_in_worker, ids, [learners] * len(ids))


_worker_library: list[Library] = []


def _load_in_worker(extra: Path | None) -> None:
    _worker_library[:] = [load(extra)]


def _in_worker(id_: str, learners: int) -> ExerciseTrial:
    return diagnose(Engine(_worker_library[0]), id_, learners)


def diagnose(engine: Engine, exercise: str, learners: int) -> ExerciseTrial:
    """The trial of one exercise: all its questions, each rulebook that changes it."""
    trial = {kind: Tally() for kind in KINDS}
    declared = engine.library.declared[exercise].exercise
    for at, id_ in enumerate(declared.rulebooks):
        if at == 0 or id_ in declared.in_rulebook:
            for ask in engine.library.declared[exercise].under(id_).exercise.asks:
                _try_question(engine.question(exercise, ask, id_), learners, trial)
    return ExerciseTrial(exercise, trial)


def _try_question(question: Question, learners: int, trial: Trial) -> None:
    for number in range(1, learners + 1):
        random = Random(f"{question.exercise.id} {question.ask} {question.rulebook.id} {number}")
        learner = _Learner(draw(question, number), random)
        for kind, outcome in learner.outcomes():
            trial[kind].outcomes[outcome] += 1


class _Learner:
    """One simulated learner before one problem."""

    def __init__(self, problem: Problem, random: Random) -> None:
        self.problem, self.random = problem, random
        self.quantities = problem.question.library.quantities
        self.figures = random.choice(FIGURES)
        self.is_value = problem.ask not in problem.question.discrete
        self.has_steps = len(problem.step_names) > 1

    def outcomes(self) -> Iterator[tuple[str, Outcome]]:
        """What came of each kind of learner that this problem can have."""
        alone = self.problem.question.evidence is None
        for origin in _ORIGINS:
            if alone and (self.is_value or origin != "pair"):
                yield from self._mistaken(origin, with_steps=False)
            if self.has_steps:
                yield from self._mistaken(origin, with_steps=True)
        if self.is_value:
            yield NOWHERE, self._from_nowhere()
        yield ROUTE, self._by_another_route()

    def _mistaken(self, origin: Origin, *, with_steps: bool) -> Iterator[tuple[str, Outcome]]:
        some = pairs(self.problem) if origin == "pair" else ways(self.problem)
        biting = [way for way in some.all if way.origin == origin and self._bites(way)]
        if not biting:
            return
        (way,) = self.random.choices(biting, [way.weight for way in biting])
        typed = self._typed_on(way, with_steps=with_steps)
        if typed is None or not typed[self.problem.ask].strip("0."):
            return
        answer = typed.pop(self.problem.ask)
        kind = STEPS if typed else (VALUE if self.is_value else FEW)
        if f"{_ORIGINS[origin]}, {kind}" in KINDS:
            yield f"{_ORIGINS[origin]}, {kind}", self._judged(way, mark(self.problem, answer, typed))

    def _bites(self, way: Way) -> bool:
        """Whether the way leads to a possible value that is not the right one."""
        values = self._values(way)
        if values is None:
            return False
        answer, right = values[self.problem.ask], self.problem.values[self.problem.ask]
        apart = abs(answer - right) > 2 * self.problem.question.tolerance(self.problem.ask, right)
        return apart and way.could_be(self.problem, values)

    def _values(self, way: Way) -> dict[str, float] | None:
        values = {**self.problem.known, **self.problem.values}
        try:
            found = way.follow(self.problem, values, {}, self.problem.ask)
        except NO_VALUE:
            return None
        return found if math.isfinite(found[self.problem.ask]) else None

    def _typed_on(self, way: Way, *, with_steps: bool) -> dict[str, str] | None:
        """What the learner types: the answer, or every step, each worked out from the rounded one before."""
        if not with_steps:
            values = self._values(way)
            return (
                None if values is None else {self.problem.ask: self._typed(self.problem.ask, values[self.problem.ask])}
            )
        typed: dict[str, str] = {}
        own: dict[str, float] = {}
        shared = [step.name for step in way.steps if step.name in self.problem.step_names]
        for name in shared:
            try:
                value = way.follow(self.problem, {**self.problem.known, **self.problem.values, **own}, own, name)[name]
                typed[name] = self._typed(name, value)
                own[name] = self._read_back(name, value)
            except NO_VALUE:
                return None
        return typed

    def _typed(self, name: str, value: float) -> str:
        kind = self.quantities[name].kind
        if kind in ("answer", "choice", "size"):
            return self.problem.text_of(name, value)
        shown = conversion(self.problem.unit_of(name)).to_shown(value)
        if kind == "count":
            return f"{shown:.10g}"
        text = f"{shown:.{self.figures}g}"
        return f"{Decimal(text):f}"

    def _read_back(self, name: str, value: float) -> float:
        if self.quantities[name].kind in ("answer", "choice", "size", "count"):
            return value
        return conversion(self.problem.unit_of(name)).to_working(float(self._typed(name, value)))

    def _judged(self, way: Way, marking: Marking) -> Outcome:
        if marking.verdict == "right":
            return MARKED_RIGHT
        named = marking.all_named
        if named:
            parts = {part for one in named for part in one.id.split("+")}
            rightly = parts == set(way.id.split("+")) or any(self._same(way, one, marking) for one in named)
            return NAMED if rightly else FALSE
        offered = marking.candidates[:OFFERED]
        return ASKED if any(one.id == way.id or self._same(way, one, marking) for one in offered) else UNKNOWN

    def _same(self, way: Way, explanation: Explanation, marking: Marking) -> bool:
        """Whether an explanation comes to the same expression, so that nobody could tell the two apart."""
        if not isinstance(explanation, Candidate):
            return False
        own: dict[str, float] = {}
        for name, one in marking.steps.items():
            if one.verdict == "wrong":
                return self._agree(way, explanation.way, own, name)
            if one.entry is not None:
                own[name] = conversion(self.problem.unit_of(name)).to_working(one.entry.value)
        return self._agree(way, explanation.way, own, self.problem.ask)

    def _agree(self, way: Way, other: Way, own: Mapping[str, float], name: str) -> bool:
        values = {**self.problem.known, **self.problem.values, **own}
        try:
            first, second = (one.follow(self.problem, values, own, name) for one in (way, other))
        except NO_VALUE:
            return False
        if name not in first or name not in second:
            return False
        both = [(first[name], second[name])]
        if name in self.problem.question.discrete:
            both += zip(way.unrounded(first, name), other.unrounded(second, name), strict=False)
        return all(abs(one - two) <= SAME * max(abs(one), abs(two)) for one, two in both)

    def _from_nowhere(self) -> Outcome:
        right = self.problem.values[self.problem.ask]
        value = right * math.exp(self.random.uniform(-FAR, FAR))
        marking = mark(self.problem, self._typed(self.problem.ask, value))
        if marking.verdict == "right":
            return MARKED_RIGHT
        return FALSE if marking.named else (ASKED if marking.candidates else UNKNOWN)

    def _by_another_route(self) -> Outcome:
        """Every step worked out from the rounded one before, four figures at least; only the answer is typed."""
        self.figures = max(4, self.figures)
        own: dict[str, float] = {}
        for step in self.problem.question.right.steps:
            value = self.problem.question.relation(step.whole)({**self.problem.known, **own})
            own[step.name] = self._read_back(step.name, value)
        evidence = self.problem.question.evidence
        steps = {evidence: self._typed(evidence, own[evidence])} if evidence else {}
        marking = mark(self.problem, self._typed(self.problem.ask, own[self.problem.ask]), steps)
        return {"right": MARKED_RIGHT, "unclear": UNKNOWN}.get(marking.verdict, FALSE)
