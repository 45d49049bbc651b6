"""What a run of a page works with: the content and the engine, shared by all, and the learner's own record."""

from functools import lru_cache

import streamlit as st

from tutor.app.serve import settings
from tutor.content.library import Library, load
from tutor.engine.order import OrderProblem
from tutor.engine.problem import Problem
from tutor.engine.question import Engine
from tutor.learner.record import Record
from tutor.store.database import Store


@lru_cache(maxsize=1)
def engine() -> Engine:
    """The engine over the content that this process was started with."""
    return Engine(load(settings().content))


def library() -> Library:
    """The content."""
    return engine().library


@lru_cache(maxsize=1)
def store() -> Store:
    """The store that this process was started with."""
    return Store.open(settings().store)


def record() -> Record:
    """The record of the learner whose browser this is."""
    return Record(store(), st.session_state["learner"])


@lru_cache(maxsize=512)
def problem(
    exercise: str, ask: str | None, number: int, rulebook: str, own: tuple[tuple[str, str], ...] = ()
) -> Problem | OrderProblem:
    """The problem of an address; `own` are the learner's own numbers as typed.

    Raises RequestError.
    """
    from tutor.answers.own import own_amounts  # noqa: PLC0415 - sympy is loaded while the server answers already
    from tutor.engine.setting import set_problem  # noqa: PLC0415

    amounts = own_amounts(engine().question(exercise, ask, rulebook), dict(own)) if own else None
    return set_problem(engine(), exercise, ask, number, rulebook, amounts)
