"""What a wrong answer would do to those who built by it."""

from enum import IntEnum

from tutor.answers.marking import read_answer
from tutor.answers.naming import in_working_units
from tutor.engine.order import OrderProblem
from tutor.engine.problem import AnyProblem
from tutor.entries.entry import EntryError


class Harm(IntEnum):
    """How bad it would be."""

    NONE = 0
    SOME = 1
    LIMIT_BROKEN = 2


def harm_of(problem: AnyProblem, answer: str, mistakes: frozenset[str] = frozenset()) -> Harm:
    """The harm that a wrong answer would do; for an order `mistakes` tell which were made in it.

    A limit is broken where the answer passes one that it has to respect, or steps into a trap of an order.  Some harm
    is done where the quantity's glossary entry says what a value on that side does, or an order has its steps turned
    round.
    """
    if isinstance(problem, OrderProblem):
        if mistakes & problem.question.exercise.traps.keys():
            return Harm.LIMIT_BROKEN
        return Harm.SOME if mistakes else Harm.NONE
    try:
        value = in_working_units(problem, problem.ask, read_answer(problem, problem.ask, answer))
    except EntryError:
        return Harm.NONE
    if problem.breaks_limit(value):
        return Harm.LIMIT_BROKEN
    quantity, right = problem.question.library.quantities[problem.ask], problem.values[problem.ask]
    done = quantity.too_low if value < right else quantity.too_high if value > right else None
    return Harm.SOME if done else Harm.NONE
