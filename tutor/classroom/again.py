"""A problem that was handed out, set again from what was kept of it."""

from tutor.classroom.models import Handed
from tutor.engine.order import OrderProblem
from tutor.engine.problem import Problem
from tutor.engine.question import Engine
from tutor.engine.setting import set_problem
from tutor.errors import FaultyRequestError


def set_again(engine: Engine, handed: Handed) -> Problem | OrderProblem | None:
    """The problem with its kept givens; None if the exercise has changed since, or is gone."""
    own = None if handed.exercise in engine.library.orders else dict(handed.givens) or None
    try:
        problem = set_problem(engine, handed.exercise, handed.ask, handed.number, handed.rulebook, own)
    except FaultyRequestError:
        return None
    return problem if problem.question.version == handed.version else None
