"""What a run of a page works with: the content and the engine, shared by all, and the learner's own record."""

from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

import streamlit as st

from tutor.app.checking import CAN_BE_ENDED, Checker, CheckerInPlace
from tutor.app.serve import settings
from tutor.content.library import Library, load
from tutor.engine.order import OrderProblem
from tutor.engine.problem import Problem
from tutor.engine.question import Engine
from tutor.learner.record import Record
from tutor.store.database import Store, StoreError
from tutor.trade.rulebooks import RULEBOOKS

if TYPE_CHECKING:
    from tutor.classroom.exams import Closed

AnyProblem = Problem | OrderProblem
UNITS = {"us": "US: AWG, feet", "iec": "IEC: mm², metres"}


@lru_cache(maxsize=1)
def engine() -> Engine:
    """The engine over the content that this process was started with."""
    return Engine(load(settings().content))


def library() -> Library:
    """The content."""
    return engine().library


@lru_cache(maxsize=1)
def checker() -> Checker | CheckerInPlace:
    """What checks workings: a process of its own, wherever one can be ended."""
    return Checker(settings().content) if CAN_BE_ENDED else CheckerInPlace(engine())


@lru_cache(maxsize=1)
def store() -> Store:
    """The store that this process was started with."""
    return settings().opened or Store.open(settings().store)


def client_address() -> str:
    """The address that this run's browser comes from, as a front proxy that is trusted says; '' for this machine."""
    return st.context.ip_address or ""


def record() -> Record:
    """The record of the learner whose browser this is."""
    return Record(store(), st.session_state["learner"])


def closed_exercises() -> Mapping[str, "list[Closed]"]:
    """The exercises that an open exam closes to the learner of this browser, each with why."""
    from tutor.classroom.exams import Exams  # noqa: PLC0415 - sympy is loaded while the server answers already

    return Exams(store()).closed_to(engine(), st.session_state["learner"])


def chosen_rulebook() -> str:
    """The rulebook, and with it the units, that the learner has chosen."""
    if "chosen rulebook" not in st.session_state:
        try:
            kept = record().setting("rulebook", "us")
        except StoreError:  # the page below says so; the choice is read again at the next run
            return "us"
        st.session_state["chosen rulebook"] = kept if isinstance(kept, str) and kept in RULEBOOKS else "us"
    return str(st.session_state["chosen rulebook"])


def rulebook_choice() -> None:
    """Let the learner choose the rulebook and its units, once for all pages; a problem on the page goes along.

    Beside a problem from a link the box shows the problem's own rulebook.
    """
    linked = st.query_params.get("rulebook", "us") if "exercise" in st.query_params else chosen_rulebook()
    st.session_state["rulebook box"] = linked if linked in UNITS else "us"
    with st.sidebar:
        st.selectbox(
            "Rulebook and units",
            list(UNITS),
            format_func=UNITS.__getitem__,
            key="rulebook box",
            on_change=_choose_rulebook,
        )


def _choose_rulebook() -> None:
    chosen = st.session_state["rulebook box"]
    st.session_state["chosen rulebook"] = chosen
    record().keep_setting("rulebook", chosen)
    exercise = st.query_params.get("exercise", "")
    if exercise:
        st.query_params.from_dict({"exercise": exercise, "number": "1", "rulebook": rulebook_for(exercise)})


def rulebook_for(exercise: str) -> str:
    """The chosen rulebook, or the one that the exercise can be set under."""
    declared = library().declared.get(exercise)
    if declared is None or chosen_rulebook() in declared.exercise.rulebooks:
        return chosen_rulebook()
    return declared.exercise.rulebooks[0]


@lru_cache(maxsize=512)
def problem(
    exercise: str, ask: str | None, number: int, rulebook: str, own: tuple[tuple[str, str], ...] = ()
) -> AnyProblem:
    """The problem of an address; `own` are the learner's own numbers as typed.

    Raises RequestError.
    """
    from tutor.answers.own import own_amounts  # noqa: PLC0415 - sympy is loaded while the server answers already
    from tutor.engine.setting import set_problem  # noqa: PLC0415

    amounts = own_amounts(engine().question(exercise, ask, rulebook), dict(own)) if own else None
    return set_problem(engine(), exercise, ask, number, rulebook, amounts)
