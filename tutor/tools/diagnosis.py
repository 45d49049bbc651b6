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
from pathlib import Path
from random import Random
from typing import Any

from tutor.answers.naming import COMMON
from tutor.base.intervals import Interval, wilson
from tutor.content.library import Library, load
from tutor.problems.draw import draw
from tutor.problems.proving import load_proved
from tutor.problems.question import Engine, Question
from tutor.problems.wrong_method import Origin
from tutor.tools.simulated_learner import FEW, KINDS, ORIGINS, OUTCOMES, STEPS, VALUE, Learner, Outcome

LEARNERS = 12  # of each kind for each question, if not told otherwise
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
    total = {kind: Tally() for kind in KINDS}
    for exercise in trials:
        for kind, tally in exercise.trial.items():
            total[kind].outcomes.update(tally.outcomes)
    return total


def report(trials: Sequence[ExerciseTrial], learners: int) -> dict[str, Any]:
    """The whole trial as JSON: all exercises together, single mistakes as often as they are expected, each exercise."""
    total = together(trials)
    return {
        "learners_of_each_kind": learners,
        "overall": as_json(total),
        "single_mistakes": {typed: _as_expected(total, typed) for typed in (STEPS, VALUE, FEW)},
        "exercises": [trial.as_json() for trial in trials],
    }


def _as_expected(trial: Trial, typed: str) -> dict[str, float]:
    """The shares for single mistakes, declared and derived ones mixed as they are expected among wrong answers."""
    of_all = COMMON["declared"] + COMMON["derived"]
    mixed = {}
    for outcome in OUTCOMES:
        declared, derived = (trial[f"{ORIGINS[origin]}, {typed}"].share(outcome) for origin in SINGLE)
        mixed[outcome] = round((COMMON["declared"] * declared + COMMON["derived"] * derived) / of_all, 4)
    return mixed


def of_all(report: Mapping[str, Any]) -> Iterator[str]:
    """A report in lines: each kind of learner with its shares and their intervals."""
    for kind, row in report["overall"].items():
        shares = ", ".join(
            f"{outcome} {100 * row[outcome]['share']:.1f} % "
            f"({100 * row[outcome]['interval'][0]:.1f} to {100 * row[outcome]['interval'][1]:.1f})"
            for outcome in OUTCOMES
            if row[outcome]["share"]
        )
        yield f"{kind} ({row['learners']} learners): {shares}"


def of_single_mistakes(report: Mapping[str, Any]) -> Iterator[str]:
    """The shares for single mistakes, mixed as they are expected, in lines."""
    for typed, row in report["single_mistakes"].items():
        shares = ", ".join(f"{outcome} {100 * share:.1f} %" for outcome, share in row.items() if share)
        yield f"single mistakes as often as expected, {typed}: {shares}"


def diagnose_all(extra: Path | None, learners: int = LEARNERS) -> Iterator[ExerciseTrial]:
    """The trial of every exercise with numbers, on two cores, in the order of the exercises."""
    ids = list(load_proved(extra).declared)
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
    for place, id_ in enumerate(declared.rulebooks):
        if place == 0 or id_ in declared.in_rulebook:
            for ask in engine.library.declared[exercise].under(id_).exercise.asks:
                _try_question(engine.question(exercise, ask, id_), learners, trial)
    return ExerciseTrial(exercise, trial)


def _try_question(question: Question, learners: int, trial: Trial) -> None:
    for number in range(1, learners + 1):
        random = Random(f"{question.exercise.id} {question.ask} {question.rulebook.id} {number}")
        learner = Learner(draw(question, number), random)
        for kind, outcome in learner.outcomes():
            trial[kind].outcomes[outcome] += 1
