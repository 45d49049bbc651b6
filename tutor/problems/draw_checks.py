"""The checks of a draw: what a problem must not be if its marking is to mean anything.

Among the draws that may be set, the one is preferred whose answers tell the mistakes apart best.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tutor.expression.evaluate import NO_VALUE
from tutor.expression.notation import PLAIN, plain_leaf
from tutor.problems.agreements import binding_draws
from tutor.problems.problem import Problem
from tutor.problems.question import Question
from tutor.problems.rounding import step_open_to_rounding
from tutor.problems.wrong_method import WrongMethod, declared_values, likeliest_pair
from tutor.problems.wrong_methods import declared_pairs

MARGIN_FOR_MISTAKES = 2.0  # a mistake misses even when honest rounding carries it half a per cent towards the answer
TELLS_APART = 0.002  # two wrong values closer than this (relative) look the same when typed


@dataclass(frozen=True, order=True)
class Ambiguity:
    """What stays open when one of the declared mistakes has been made, the worst first; all false and 0 is best.

    `likeliest_meet`: two mistakes that are as common as any two of the exercise lead to one answer.  `cancels`: two
    mistakes together lead to what looks right.  `bits`: the entropy that is left about the mistake once the answer is
    known; a draw in which all lead to answers of their own has none left.
    """

    likeliest_meet: bool = False
    cancels: bool = False
    bits: float = 0.0


@dataclass(frozen=True)
class Refusal:
    """Why a draw may not be set: the check that it fails, where the exercise declares what fails, and a sentence."""

    check: str
    key: tuple[str, ...]
    why: str


def refusal(problem: Problem) -> Refusal | None:
    """The first check that a drawn problem fails; None if it may be set."""
    lucky = lucky_mistake(problem)
    if lucky is not None:
        why = f"the mistake '{lucky.id}' would be marked right"
        return Refusal("mistakes", ("mistakes", lucky.id), why)
    if step := step_open_to_rounding(problem):
        why = f"honest rounding on the way could change {relation_text(problem.question, step)}"
        return Refusal("rounding", ("relations", step), why)
    for agreement in binding_draws(problem.question):
        if agreement.is_broken(problem.all_values):
            why = f"its numbers break the agreement '{agreement.id}' ({PLAIN.write(agreement.tree, plain_leaf)})"
            return Refusal("agreements", ("relations", agreement.joins[0]), why)
    return None


def relation_text(question: Question, name: str) -> str:
    """A quantity with the relation that the exercise declares for it, if it is no given."""
    relation = question.exercise.relations.get(name)
    return f"'{name}: {relation}'" if relation else f"'{name}'"


def lucky_mistake(problem: Problem) -> WrongMethod | None:
    """The first slip whose answer would be marked right; a yes or no is judged by the number that decides."""
    question = problem.question
    judged = question.evidence or question.ask
    answer, verdict = problem.values[judged], problem.values[question.ask]
    reach = MARGIN_FOR_MISTAKES * problem.tolerance(judged)
    for mistake, values in declared_values(question, problem.known, problem.shown):
        near = abs(values.get(judged, values[question.ask]) - answer) <= reach
        if near and (question.evidence is None or values[question.ask] == verdict):
            return mistake
    return None


def ambiguity(problem: Problem) -> Ambiguity:
    """How well the answers to a problem tell its mistakes apart."""
    likeliest_meet, bits = _left_open(problem)
    return Ambiguity(likeliest_meet, _cancels(problem), bits)


def shows(problem: Problem, mistake: str) -> bool:
    """Whether a mistake leads to an answer of its own, so that making it again would be seen."""
    return mistake in showing(problem)


def showing(problem: Problem) -> set[str]:
    """The declared mistakes that lead to answers of their own."""
    answers = _judged_values(problem)
    return {next(iter(group)) for group in _alike(answers) if len(group) == 1}


def _judged_values(problem: Problem) -> list[tuple[float, str]]:
    """What each declared mistake leads to for the quantity that it is judged by, sorted, with the mistake's id."""
    question = problem.question
    judged = question.evidence or question.ask
    return sorted((values.get(judged, values[question.ask]), mistake.id) for mistake, values in problem.predictions)


def _left_open(problem: Problem) -> tuple[bool, float]:
    mistakes = problem.question.exercise.mistakes
    answers = _judged_values(problem)
    total = sum(mistakes[id_].weight for id_ in {id_ for _, id_ in answers})
    bits, meet = 0.0, False
    for group in _alike(answers):
        weights = sorted(mistakes[id_].weight for id_ in group)
        if len(weights) > 1:
            weight_of_group = sum(weights)
            bits -= sum(weight / total * math.log2(weight / weight_of_group) for weight in weights)
            meet = meet or weights[-1] * weights[-2] >= likeliest_pair(problem.question)
    return meet, bits


def _alike(answers: Sequence[tuple[float, str]]) -> list[set[str]]:
    """The mistakes in groups whose values look the same when typed with the usual figures; `found` is sorted."""
    groups: list[set[str]] = []
    before = math.nan
    for value, id_ in answers:
        if groups and abs(value - before) <= TELLS_APART * max(abs(value), abs(before), 1e-12):
            groups[-1].add(id_)
        else:
            groups.append({id_})
        before = value
    return groups


def _cancels(problem: Problem) -> bool:
    """Whether two mistakes together lead to what looks right."""
    question = problem.question
    judged = question.evidence or question.ask
    values = problem.all_values
    reach = problem.tolerance(judged)
    for pair in declared_pairs(question):
        try:
            answer = pair.follow(problem.shown, values, {}, judged)[judged]
        except NO_VALUE:
            continue
        if abs(answer - values[judged]) <= reach:
            return True
    return False
