"""Makes a problem of any exercise, by its id and a number."""

from collections.abc import Mapping
from contextlib import suppress

from tutor.content.models import Amount
from tutor.problems.draw import DrawError, draw
from tutor.problems.draw_checks import shows
from tutor.problems.order import draw_order
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Engine, RequestError
from tutor.problems.wrong_method import declared_mistakes

LOOKED_AHEAD = 8  # so many problems, when one is wanted in which a certain mistake shows


def make_problem(
    engine: Engine,
    exercise: str,
    ask: str | None = None,
    number: int = 1,
    rulebook: str = "us",
    own: Mapping[str, Amount] | None = None,
) -> AnyProblem:
    """Problem `number` of an exercise, asked for a quantity or an order, with the learner's own givens.

    Raises RequestError for what cannot be met, DrawError if no draw passes.
    """
    if exercise not in engine.library.orders:
        return draw(engine.question(exercise, ask, rulebook), number, own)
    if own:
        raise RequestError(f"'{exercise}' asks for an order and rests on no numbers; leave the givens out.")
    return draw_order(engine.order_question(exercise, ask, rulebook), number)


def by_other_methods(problem: Problem) -> list[Problem]:
    """The same problem as the exercises set it whose methods are as good; empty where none asks for the same."""
    problems = []
    for question in problem.question.by_other_methods:
        shared = {name: amount for name, amount in problem.shown.items() if name in question.known}
        with suppress(RequestError, DrawError):
            problems.append(draw(question, problem.number, shared))
    return problems


def next_number(
    engine: Engine, exercise: str, ask: str | None, number: int, rulebook: str, mistake: str | None = None
) -> int:
    """The number of the next problem: the first of those ahead in which a mistake just made would show again."""
    if mistake is None or exercise in engine.library.orders:
        return number + 1
    question = engine.question(exercise, ask, rulebook)
    if mistake not in {declared.id for declared in declared_mistakes(question)}:
        return number + 1
    ahead = range(number + 1, number + 1 + LOOKED_AHEAD)
    return next((candidate for candidate in ahead if shows(draw(question, candidate), mistake)), number + 1)
