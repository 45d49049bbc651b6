"""Screening a draw: what a problem must not be if its marking is to mean anything."""

from dataclasses import dataclass
from itertools import combinations

from tutor.engine.problem import Problem
from tutor.engine.rounding import could_change

MARGIN_FOR_MISTAKES = 1.25  # a mistake has to miss the marking tolerance by a quarter of it
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


def screen(problem: Problem) -> Screened:
    """Judge one draw."""
    judged = problem.question.evidence or problem.ask
    answer = problem.values[judged]
    reach = MARGIN_FOR_MISTAKES * problem.question.tolerance(judged, answer)
    wrong: dict[str, set[float]] = {}
    for way, numbers in problem.each_wrong_way():
        value = way.number(judged, numbers)
        same_verdict = judged == problem.ask or numbers[-1] == problem.values[problem.ask]
        if same_verdict and abs(value - answer) <= reach:
            return Screened(f"the mistake '{way.mistake}' would be marked right")
        wrong.setdefault(way.mistake, set()).add(value)
    if could_change(problem):
        return Screened("honest rounding on the way could change the answer")
    clashes = _clashes(problem, wrong)
    return Screened("", sum(clashes), max(clashes, default=0.0) >= problem.question.likeliest_pair)


def _clashes(problem: Problem, wrong: dict[str, set[float]]) -> list[float]:
    """The weight of each pair of mistakes that meet."""
    mistakes = problem.question.exercise.mistakes
    found = []
    for (one, values), (other, other_values) in combinations(wrong.items(), 2):
        if any(look_alike(value, other_value) for value in values for other_value in other_values):
            found.append(mistakes[one].weight * mistakes[other].weight)
    return found


def look_alike(value: float, other: float) -> bool:
    """Whether two values look the same when typed with the usual figures."""
    return abs(value - other) <= TELLS_APART * max(abs(value), abs(other), 1e-12)
