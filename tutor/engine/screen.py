"""Screening a draw: what a problem must not be if its marking is to mean anything."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

from tutor.content.models import Amount
from tutor.engine.problem import Problem
from tutor.engine.question import Question, WrongWay
from tutor.engine.rounding import could_change

MARGIN_FOR_MISTAKES = 2.0  # a mistake misses even when honest rounding carries it half a per cent towards the answer
TELLS_APART = 0.002  # two wrong values closer than this (relative) look the same when typed


@dataclass(frozen=True)
class Screened:
    """Why a draw is refused ('' if it is sound), and how often two mistakes meet in one answer, by their weights.

    `likeliest_meet` says whether two that are as common as any two of the exercise are among them.
    """

    reason: str
    clashes: float = 0.0
    likeliest_meet: bool = False

    @property
    def sound(self) -> bool:
        """Whether the draw may be set."""
        return not self.reason


def lucky_mistake(
    question: Question, known: Mapping[str, float], values: Mapping[str, float], shown: Mapping[str, Amount]
) -> WrongWay | None:
    """The first slip whose answer would be marked right; a yes or no is judged by the number that decides."""
    judged = question.evidence or question.ask
    answer = values[judged]
    reach = MARGIN_FOR_MISTAKES * question.tolerance(judged, answer)
    for way, numbers in question.each_wrong_way(known, shown):
        if abs(numbers[way.judged] - answer) <= reach and (
            question.evidence is None or numbers[-1] == values[question.ask]
        ):
            return way
    return None


def screen(problem: Problem) -> Screened:
    """Judge one draw."""
    lucky = lucky_mistake(problem.question, problem.known, problem.values, problem.shown)
    if lucky is not None:
        return Screened(f"the mistake '{lucky.mistake}' would be marked right")
    if could_change(problem):
        return Screened("honest rounding on the way could change the answer")
    clashes = _clashes(problem)
    return Screened("", sum(clashes), max(clashes, default=0.0) >= problem.question.likeliest_pair)


def _clashes(problem: Problem) -> list[float]:
    """The weight of each pair of mistakes that meet."""
    mistakes = problem.question.exercise.mistakes
    wrong: dict[str, set[float]] = {}
    for way, numbers in problem.question.each_wrong_way(problem.known, problem.shown):
        wrong.setdefault(way.mistake, set()).add(numbers[way.judged])
    found = []
    for (one, values), (other, other_values) in combinations(wrong.items(), 2):
        if any(look_alike(value, other_value) for value in values for other_value in other_values):
            found.append(mistakes[one].weight * mistakes[other].weight)
    return found


def look_alike(value: float, other: float) -> bool:
    """Whether two values look the same when typed with the usual figures."""
    return abs(value - other) <= TELLS_APART * max(abs(value), abs(other), 1e-12)
