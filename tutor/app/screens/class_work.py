from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

import streamlit as st

from tutor.app.components import class_entry, class_problem, scripts, showing
from tutor.app.components.class_entry import HERE, SHEET
from tutor.app.components.class_words import attempts_words, progress_words, rules_words, state_words
from tutor.app.session import engine, record, store
from tutor.base.errors import FaultyRequestError
from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member, StoredSet
from tutor.classroom.reports.live import SIGNS
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.views import ForLearner, PlaceForLearner
from tutor.classroom.sets.work import ClassWork
from tutor.problems.problem import AnyProblem
from tutor.store.database import StoreError

CODE_LENGTH = 20


@dataclass(frozen=True)
class Sheet:
    """All that a run of the page shows of one learner's work; kept for a run in which the store does not answer."""

    practice_set: StoredSet
    member: Member
    work: ClassWork
    lines: list[PlaceForLearner]
    view: ForLearner
    problem: AnyProblem


def place_of(text: str, last: int, places: int) -> int:
    """The place that an address names, or the last one; raises ClassError for what is none."""
    if not text:
        return min(last, places)
    if text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= places:
        return int(text)
    raise ClassError(f"The address names no problem of this set. It has problems 1 to {places}.")


def load(practice_set: StoredSet, member: Member) -> Sheet:
    work = ClassWork(store(), engine(), practice_set, member)
    with st.spinner("Your problems are being prepared."):
        lines = work.begin()
    place = place_of(st.query_params.get("place", ""), work.last_place(), len(lines))
    work.arrive(place)
    return Sheet(practice_set, member, work, lines, work.view(place), work.problem(place))


def go(practice_set: StoredSet, place: int) -> None:
    st.switch_page(HERE, query_params={"set": practice_set.code, "place": str(place)})


def all_problems(sheet: Sheet) -> None:
    closed = sheet.practice_set.state(datetime.now(UTC)) == "closed"
    with st.expander(f"All problems: {progress_words(sheet.lines)}"):
        for line in sheet.lines:
            marker = " (this one)" if line.place == sheet.view.place else ""
            words = f"{line.place}. {line.title} – {state_words(line, closed=closed)}{marker}"
            query = {"set": sheet.practice_set.code, "place": str(line.place)}
            st.page_link(HERE, label=f"{SIGNS[line.state]} {showing.plain(words)}", query_params=query)


def told(sheet: Sheet) -> None:
    view = sheet.view
    all_problems(sheet)
    with st.container(key="class-problem"):
        st.header(
            f"Problem {view.place} of {view.places}: {showing.plain(sheet.problem.question.exercise.title)}",
            anchor=False,
        )
    facts = [f"Problem code {view.code}", *([] if view.why_not else [attempts_words(view.attempts_left)])]
    st.caption(" · ".join(facts))
    showing.show_problem(sheet.problem, f"class-{view.place}")


def to_neighbours(sheet: Sheet) -> None:
    place, places = sheet.view.place, sheet.view.places
    left, right = st.columns(2)
    if place > 1 and left.button(f"Back to problem {place - 1}"):
        go(sheet.practice_set, place - 1)
    ended = bool(sheet.view.why_not)
    if place < places and right.button(f"On to problem {place + 1}", type="primary" if ended else "secondary"):
        go(sheet.practice_set, place + 1)


def show(sheet: Sheet) -> None:
    query = {"set": sheet.practice_set.code, "place": str(sheet.view.place)}
    class_entry.show_new_code(sheet.practice_set, sheet.member)
    st.query_params.from_dict(query)
    told(sheet)
    class_problem.answer_form(sheet.practice_set, sheet.work, sheet.problem, sheet.view)
    class_problem.show_answers(sheet.practice_set, sheet.problem, sheet.view)
    class_problem.show_help(sheet.practice_set, sheet.work, sheet.problem, sheet.view)
    to_neighbours(sheet)
    showing.show_problems_cautions(sheet.problem)
    class_entry.show_who(sheet.practice_set, sheet.member)
    scripts.show("class-work")
    with suppress(StoreError):
        record().keep_place({"page": "class_work", "query": urlencode(query)})


def show_set(code: str) -> None:
    """A set by its code: who the learner is, then the work. All of it is read before any of it is shown."""
    practice_set = Register(store()).set_of_code(code)
    member = Claims(store(), practice_set).member(st.session_state["learner"])
    if member is None:
        show_title(practice_set)
        class_entry.ask_for_name(practice_set)
        return
    try:
        sheet = load(practice_set, member)
    except ClassError as error:
        show_title(practice_set)
        st.info(showing.plain(str(error)))
        if "place" in st.query_params:
            st.page_link(HERE, label="Open the set where you were", query_params={"set": practice_set.code})
        class_entry.show_new_code(practice_set, member)
        class_entry.show_who(practice_set, member)
        return
    st.session_state[SHEET] = sheet
    show_title(practice_set)
    show(sheet)


def show_without_store(code: str, failure: str) -> None:
    """The page as it was last, so that what is typed stays in its boxes; what is pressed says that it was not kept.

    `failure` says what is wrong with the store, "" where it does not answer just now.
    """
    failure = failure or "The database does not answer just now. Nothing that was saved is lost."
    sheet = st.session_state.get(SHEET)
    if sheet is None or sheet.practice_set.code != code:
        st.title("Class work", anchor=False)
        st.error(f"{failure} Try again in a moment.")
        st.button("Try again", type="primary")
        return
    show_title(sheet.practice_set)
    st.error(f"{failure} This is the page as it was.")
    show(sheet)


def show_title(practice_set: StoredSet) -> None:
    st.title(showing.plain(practice_set.declaration.title), anchor=False)
    st.caption(showing.plain(rules_words(practice_set)))


def page() -> None:
    code = st.query_params.get("set", "")[:CODE_LENGTH]
    try:
        if code:
            show_set(code)
            return
        st.title("Class work", anchor=False)
        st.markdown("Your instructor gives you a link or a code. The problems have numbers of your own.")
        class_entry.ask_for_code()
    except StoreError as error:
        show_without_store(code, error.page)
    except FaultyRequestError as error:
        st.title("Class work", anchor=False)
        st.error(showing.plain(str(error)))
        class_entry.ask_for_code()


page()
