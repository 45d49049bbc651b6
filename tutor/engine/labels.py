"""What the box or the line for an answer is called, on the screen and on paper."""

from typing import Final

from tutor.engine.order import OrderProblem
from tutor.engine.problem import Problem
from tutor.units import written_unit

ORDERS: Final = {"order": "The whole order", "next_action": "What may come next"}


def capitalised(words: str) -> str:
    """The words as the beginning of a sentence or a label."""
    return words[:1].upper() + words[1:]


def answer_label(problem: Problem | OrderProblem) -> str:
    """The label of the answer, as 'Voltage at the record low (V)'."""
    if isinstance(problem, OrderProblem):
        return f"{ORDERS[problem.ask]} (letters)"
    return quantity_label(problem, problem.ask)


def quantity_label(problem: Problem, name: str) -> str:
    """The label of one of a problem's quantities, with its unit."""
    return f"{capitalised(problem.question.library.quantities[name].words)}{asked_unit(problem, name)}"


def asked_unit(problem: Problem, name: str) -> str:
    """The unit that is asked for, as ' (V)', or what may be answered."""
    quantity = problem.question.library.quantities[name]
    if quantity.kind == "answer":
        return " (yes or no)"
    if quantity.kind == "choice":
        return f" ({', '.join(quantity.choices)})"
    if quantity.kind == "size":
        return " (standard size)"
    unit = written_unit(problem.unit_of(name))
    return f" ({unit})" if unit else ""
