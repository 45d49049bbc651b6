"""Naming the mistake: which wrong ways explain what was typed, and whether one of them may be claimed.

A candidate explains an entry if it predicts it within the precision typed.  The candidates compete by how common they
are, against each other and against chance; one is named only if it is clearly the likeliest.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from tutor.answers.entry import Entry
from tutor.answers.verdicts import Explanation
from tutor.engine.problem import Problem
from tutor.engine.question import WrongWay
from tutor.units import conversion

CLAIM = 0.8  # the posterior from which a name is claimed
UNCATALOGUED = 0.2  # how common slips outside the catalogue are, beside all catalogued ones together
CHANCE_FOR_COUNTS = 0.05  # how often such a slip hits one whole number
CHANCE_FOR_VALUES = 0.01  # how often it hits one value within the precision of matching
MATCH = 0.002  # share of the value within which a prediction counts as met, if fewer digits were not typed


@dataclass(frozen=True)
class Candidate(Explanation):
    """An explanation by a wrong way of working the problem out."""

    way: WrongWay


def in_working_units(problem: Problem, name: str, entry: Entry) -> float:
    """An entry for a quantity of a problem, in working units."""
    return conversion(problem.unit_of(name)).to_working(entry.value)


def explains(problem: Problem, values: Mapping[str, float], entries: Mapping[str, Entry]) -> bool:
    """Whether predicted values meet every entry that they speak of, and at least one."""
    met = [_meets(problem, name, values[name], entry) for name, entry in entries.items() if name in values]
    return bool(met) and all(met)


def _meets(problem: Problem, name: str, predicted: float, entry: Entry) -> bool:
    shown = conversion(problem.unit_of(name)).to_shown(predicted)
    if problem.question.library.quantities[name].kind != "number":
        return abs(shown - entry.value) <= 1e-3 * abs(entry.value)
    return abs(shown - entry.value) <= max(1.05 * entry.half_width, MATCH * abs(shown), 1e-12)


def candidates(problem: Problem, entries: Mapping[str, Entry], wrong: str) -> list[Candidate]:
    """The mistakes that explain the entries, likeliest first.

    `wrong` is the first quantity whose entry departs from the right way.  A mistake has to explain all that was typed;
    if none does, it has to explain what was typed up to there, since a second slip may follow the first.
    """
    found = [way for way, values in problem.predictions if explains(problem, values, entries)]
    if not found:
        order = [step.name for step in problem.question.right.steps]
        until = {name: entries[name] for name in order[: order.index(wrong) + 1] if name in entries}
        found = [way for way, values in problem.predictions if explains(problem, values, until)]
    return _weighed(problem, found, problem.question.library.quantities[wrong].kind)


def _weighed(problem: Problem, ways: list[WrongWay], kind: str) -> list[Candidate]:
    mistakes = problem.question.exercise.mistakes
    chance = CHANCE_FOR_VALUES if kind == "number" else CHANCE_FOR_COUNTS
    by_id = {way.mistake: way for way in ways}
    unknown = UNCATALOGUED * chance * sum(mistake.weight for mistake in mistakes.values())
    whole = unknown + sum(mistakes[id_].weight for id_ in by_id)
    found = [
        Candidate(id_, mistakes[id_].words, round(mistakes[id_].weight / whole, 4), way) for id_, way in by_id.items()
    ]
    return sorted(found, key=lambda candidate: -candidate.probability)


def claimed(found: list[Candidate]) -> Candidate | None:
    """The candidate that may be named, if one is clearly the likeliest."""
    return found[0] if found and found[0].probability >= CLAIM else None
