"""Setting a problem: any exercise, by its id and a number."""

from collections.abc import Mapping

from tutor.content.models import Amount
from tutor.engine.draw import draw
from tutor.engine.order import OrderProblem, draw_order
from tutor.engine.problem import Problem
from tutor.engine.question import Engine, RequestError


def set_problem(
    engine: Engine,
    exercise: str,
    ask: str | None = None,
    number: int = 1,
    rulebook: str = "us",
    own: Mapping[str, Amount] | None = None,
) -> Problem | OrderProblem:
    """Problem `number` of an exercise, asked for a quantity or an order, with the learner's own givens.

    Raises RequestError for what cannot be met, DrawError if no draw passes.
    """
    if exercise not in engine.library.orders:
        return draw(engine.question(exercise, ask, rulebook), number, own)
    if own:
        raise RequestError(f"'{exercise}' asks for an order and rests on no numbers; leave the givens out.")
    return draw_order(engine.order_question(exercise, ask, rulebook), number)
