"""What if a number of a problem were another: how the answer moves with one of its givens, the others as they are."""

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise

from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.content.models import ChoiceGiven, SizeGiven
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.agreements import binding, broken
from tutor.problems.draw import pools
from tutor.problems.problem import Problem
from tutor.problems.protection import unprotected
from tutor.problems.sweep import Axis, Line, Traced, table_points

POINTS, POINTS_OF_A_DAY = 65, 17  # a simulated day takes a millisecond or more for each
_AROUND = 0.5  # the share by which a number is moved that is drawn from no range
_KELVINS_AROUND = 20.0
_GAP = "Where no line is drawn, a table ends, the numbers contradict each other, or the result cannot be built."


def movable(problem: Problem) -> list[str]:
    """The givens that the answer rests on."""
    return [name for name in problem.shown if name in problem.question.right.inputs and len(_values(problem, name)) > 1]


def what_if(problem: Problem, given: str) -> Traced:
    """Follow the answer as a given moves; a yes or no is followed by the number that decides it."""
    question = problem.question
    followed = question.evidence or problem.ask
    quantities, values = question.library.quantities, _values(problem, given)
    named = quantities[given].kind not in ("number", "count")
    unit = problem.unit_of(given)
    shown = list(map(float, range(len(values)))) if named else [conversion(unit).to_shown(value) for value in values]
    current = problem.known[given]
    axis = Axis(
        quantities[given].words,
        "" if named else unit,
        shown,
        [problem.text_of(given, value) for value in values],
        table_points(len(values)),
        shown[min(range(len(values)), key=lambda index: abs(values[index] - current))]
        if named
        else conversion(unit).to_shown(current),
        named=named,
    )
    answers = [_answer(problem, given, value, followed) for value in values]
    words = quantities[followed].words
    line = Line(words, followed, answers, [None] * len(answers), problem.values[followed])
    stepped = quantities[followed].kind != "number" and not axis.whole
    return Traced(problem, words, axis, [line], _sentence(problem, given, axis, line), stepped=stepped)


def _values(problem: Problem, name: str) -> list[float]:
    """What a given may be, in rising order: what is drawn for it, else around its own value, and that itself."""
    question, current = problem.question, problem.known[name]
    quantity = question.library.quantities[name]
    drawn = {option.working[name] for _, pool in pools(question) for option in pool if name in option.working}
    if isinstance(question.exercise.givens.get(name), ChoiceGiven | SizeGiven):
        return sorted(drawn | {current})
    around = _KELVINS_AROUND if quantity.unit in ABSOLUTE_TEMPERATURES else _AROUND * abs(current)
    ends = drawn | {current} if len(drawn) > 1 else {current - around, current + around}
    plausible = question.plausible(name)
    low, high = max(min(ends), plausible[0]), min(max(ends), plausible[1])
    if quantity.kind == "count":
        return [float(count) for count in range(math.ceil(low), math.floor(high) + 1)]
    points = POINTS_OF_A_DAY if question.day else POINTS
    return [low + (high - low) * index / (points - 1) for index in range(points)] if high > low else [current]


def _answer(problem: Problem, given: str, value: float, followed: str) -> float | None:
    """The answer with another value of a given.

    None where a table ends, the numbers contradict each other, or what they lead to breaks a limit or cannot be built.
    """
    question, moved_givens = problem.question, {**problem.known, given: value}
    if any(broken(binding(question), moved_givens)):
        return None
    with suppress(*NO_VALUE):
        values = question.right.values(moved_givens)
        moved = replace(problem, known=moved_givens, values=values)
        low, high = question.plausible(followed)
        if low <= values[followed] <= high and not moved.breaks_limit(values[problem.ask]) and not unprotected(moved):
            return values[followed]
    return None


def _sentence(problem: Problem, given: str, axis: Axis, line: Line) -> str:
    drawn = [(text, value) for text, value in zip(axis.texts, line.values, strict=True) if value is not None]
    as_set = f"In this problem it is {problem.text_of(given)}, and the {line.words} is {problem.text_of(line.of)}."
    if len(drawn) < 2:
        return f"No other {axis.words} leads to an answer. {as_set}"
    (first, low), (last, high) = drawn[0], drawn[-1]
    ends = f"from {problem.text_of(line.of, low)} to {problem.text_of(line.of, high)}"
    moves = (
        f"{_verb([value for _, value in drawn])} {ends}"
        if low != high
        else f"is {problem.text_of(line.of, low)} at both ends"
    )
    gap = "" if len(drawn) == len(axis.texts) else f" {_GAP}"
    return f"As the {axis.words} goes from {first} to {last}, the {line.words} {moves}. {as_set}{gap}"


def _verb(values: Sequence[float]) -> str:
    steps = [later - earlier for earlier, later in pairwise(values)]
    if min(steps) >= 0:
        return "rises"
    return "falls" if max(steps) <= 0 else "changes"
