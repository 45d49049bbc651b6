"""Screening a draw: what a problem must not be if its marking is to mean anything."""

from dataclasses import dataclass
from itertools import combinations

from tutor.engine.algebra import Call, Comparison, Name
from tutor.engine.method import Step
from tutor.engine.problem import Problem
from tutor.trade.rulebooks import TableError

HONEST_ROUNDING = 0.005  # one value rounded to three significant figures is off by at most half a per cent
MARGIN_FOR_MISTAKES = 1.25  # a mistake has to miss the marking tolerance by a quarter of it
TELLS_APART = 0.002  # two wrong values closer than this (relative) look the same when typed


@dataclass(frozen=True)
class Screened:
    """Why a draw is refused ('' if it is sound), and how often two mistakes meet in one answer, by their weights."""

    reason: str
    clashes: float = 0.0

    @property
    def sound(self) -> bool:
        """Whether the draw may be set."""
        return not self.reason


def screen(problem: Problem) -> Screened:
    """Judge one draw."""
    if _rounding_could_change(problem):
        return Screened("honest rounding on the way could change the answer")
    answer = problem.values[problem.ask]
    reach = MARGIN_FOR_MISTAKES * problem.question.tolerance(answer)
    wrong: dict[str, set[float]] = {}
    for way, values in problem.each_prediction():
        value = values[problem.ask]
        if abs(value - answer) <= reach:
            return Screened(f"the mistake '{way.mistake}' would be marked right")
        wrong.setdefault(way.mistake, set()).add(value)
    return Screened("", _clashes(problem, wrong))


def _clashes(problem: Problem, wrong: dict[str, set[float]]) -> float:
    mistakes = problem.question.exercise.mistakes
    found = 0.0
    for (one, values), (other, other_values) in combinations(wrong.items(), 2):
        if any(look_alike(value, other_value) for value in values for other_value in other_values):
            found += mistakes[one].weight * mistakes[other].weight
    return found


def look_alike(value: float, other: float) -> bool:
    """Whether two values look the same when typed with the usual figures."""
    return abs(value - other) <= TELLS_APART * max(abs(value), abs(other), 1e-12)


def _rounding_could_change(problem: Problem) -> bool:
    roundings = 1
    for step in problem.question.right.steps:
        if step.kind == "solve":
            roundings += 1
        elif any(_crosses(step, problem, side * HONEST_ROUNDING * roundings) for side in (-1, 1)):
            return True
    return False


def _crosses(step: Step, problem: Problem, change: float) -> bool:
    """Whether the step's result changes when the worked-out value in it is off by a share `change`."""
    tree = step.trees[0]
    value = problem.values[step.name]
    if isinstance(tree, Comparison):
        left, right = (problem.evaluate(side) for side in (tree.left, tree.right))
        return abs(left - right) <= abs(change) * max(abs(left), abs(right))
    if not isinstance(tree, Call) or tree.function in ("least", "greatest"):
        return False
    argument = tree.arguments[0]
    if isinstance(argument, Name) and argument.id in problem.known:
        return False
    try:
        return problem.question.discrete(tree, problem.evaluate(argument) * (1 + change)) != value
    except TableError:
        return True
