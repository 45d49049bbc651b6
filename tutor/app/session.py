"""What a run of a page works with: the content and the engine, shared by all, and the learner's own record."""

from collections.abc import Mapping
from contextlib import suppress
from functools import lru_cache
from typing import TYPE_CHECKING

import streamlit as st
from streamlit.runtime import exists, get_instance
from streamlit.runtime.scriptrunner import get_script_run_ctx

from tutor.app import config
from tutor.app.config import settings, tokens
from tutor.app.server.checking import CAN_BE_ENDED, Checker, CheckerInPlace
from tutor.app.server.middleware import BROWSER, token
from tutor.content.library import Library, load
from tutor.learner.record import Record
from tutor.problems.problem import AnyProblem
from tutor.problems.question import Engine
from tutor.store.database import StoreError
from tutor.trade.rulebooks import RULEBOOKS

if TYPE_CHECKING:
    from tutor.classroom.sets.exams import Closed

store = config.store
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


def begin() -> None:
    """Give the run its learner; a browser that keeps no cookie gets a token that lives as long as its tab."""
    empty_for_another_browser()
    if "learner" not in st.session_state:
        st.session_state["learner"] = _cookie() or tokens().issue()


def empty_for_another_browser() -> None:
    """Empty the session, its login too, and run anew if the browser that holds it is not the one that began it."""
    browser = _cookie() or st.context.headers.get(BROWSER, "")
    if st.session_state.setdefault("browser", browser) == browser:
        return
    st.session_state.clear()
    context = get_script_run_ctx()
    if context is not None and exists():
        get_instance().clear_user_info_for_session(context.session_id)
        context.user_info.clear()
    st.rerun()


def is_superseded() -> bool:
    """Whether the token that this page began with counts no more, for a name was taken or left in its browser."""
    with suppress(StoreError):  # the page says so
        return tokens().is_superseded(st.session_state["learner"])
    return False


def renewed_token() -> str | None:
    """What is to take the place of the learner's token; None without a cookie, where nobody can have noted it."""
    return None if _cookie() is None else tokens().issue()


def _cookie() -> str | None:
    return token(st.context.cookies, tokens())


def client_address() -> str:
    """The address that this run's browser comes from, as a front proxy that is trusted says; '' for this machine."""
    return st.context.ip_address or ""


def record() -> Record:
    """The record of the learner whose browser this is."""
    return Record(store(), st.session_state["learner"])


def closed_exercises() -> Mapping[str, "list[Closed]"]:
    """The exercises that an open exam closes to the learner of this browser, each with why."""
    from tutor.classroom.sets.exams import Exams  # noqa: PLC0415 - sympy is loaded while the server answers already

    return Exams(store()).closed_to(engine(), st.session_state["learner"])


def chosen_rulebook() -> str:
    """The rulebook, and with it the units, that the learner has chosen."""
    if "chosen rulebook" not in st.session_state:
        try:
            stored = record().setting("rulebook", "us")
        except StoreError:  # the page below says so; the choice is read again at the next run
            return "us"
        st.session_state["chosen rulebook"] = stored if isinstance(stored, str) and stored in RULEBOOKS else "us"
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
    from tutor.problems.problem_factory import make_problem  # noqa: PLC0415

    amounts = own_amounts(engine().question(exercise, ask, rulebook), dict(own)) if own else None
    return make_problem(engine(), exercise, ask, number, rulebook, amounts)
