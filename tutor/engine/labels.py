"""What the box or the line for an answer is called, on the screen and on paper."""

from collections.abc import Sequence
from typing import Final

from tutor.engine.order import OrderProblem
from tutor.engine.problem import Problem
from tutor.units import written_unit

ORDERS: Final = {"order": "The whole order", "next_action": "What may come next"}


def capitalised(words: str) -> str:
    """The words as the beginning of a sentence or a label."""
    return words[:1].upper() + words[1:]


def label(words: str, kind: str, unit: str = "", choices: Sequence[str] = ()) -> str:
    """A label with what may be answered there, as 'Voltage at the record low (V)'.

    `kind` is that of tutor.content.models.Quantity, or what is asked of an order.
    """
    if kind in ORDERS:
        return f"{ORDERS[kind]} (letters)"
    expected = {"answer": "yes or no", "choice": ", ".join(choices), "size": "standard size"}
    told = expected.get(kind, written_unit(unit) if unit else "")
    return f"{capitalised(words)} ({told})" if told else capitalised(words)


def answer_label(problem: Problem | OrderProblem) -> str:
    """The label of the answer."""
    if isinstance(problem, OrderProblem):
        return label("", problem.ask)
    return quantity_label(problem, problem.ask)


def quantity_label(problem: Problem, name: str) -> str:
    """The label of one of a problem's quantities."""
    quantity = problem.question.library.quantities[name]
    return label(quantity.words, quantity.kind, problem.unit_of(name), quantity.choices)
