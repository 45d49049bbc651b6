"""What other programs take: gradebook, results for the school's system, problems for other tutors, statements."""

from collections.abc import Sequence

import streamlit as st

from tutor.app.components.showing import plain
from tutor.app.desk.instructor import Chosen, InstructorSession
from tutor.app.session import engine
from tutor.classroom.exports.oneroster import OneRosterError
from tutor.classroom.exports.qti.elements import Version
from tutor.classroom.exports.xapi import HomeError
from tutor.classroom.models import Outcome, StoredSet
from tutor.operations import exports as operations

_QTI = "desk qti made"
SEPARATORS = {",": "Comma", ";": "Semicolon (Excel in many countries)"}
MOST_VARIANTS = 30
VERSIONS: list[Version] = ["2.1", "3.0"]


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """Each export with what it is for."""
    st.header("Exports", anchor=False)
    if chosen.practice_set is None:
        st.markdown("There is no practice set yet. Make one in the tab 'Sets'.")
        return
    outcomes = instructor.outcomes(chosen.practice_set)
    if outcomes:
        _gradebook(instructor, chosen.practice_set)
    else:
        st.markdown("No problem is handed out yet, so there are no results to export.")
    _qti(instructor, chosen.practice_set)
    if outcomes:
        _oneroster(instructor, chosen.practice_set)
        _xapi(instructor, chosen.practice_set, outcomes)


def _gradebook(instructor: InstructorSession, practice_set: StoredSet) -> None:
    st.subheader("Gradebook", anchor=False)
    empty = "zero" if operations.is_closed(practice_set) else "an empty cell while the set is open"
    st.markdown(
        f"A CSV for a spreadsheet: one row for each learner, one column for each problem. An open problem is {empty}. "
        "A learner without any answer has no score, here and in every export: the last column says 'not submitted'."
    )
    separator = st.radio(
        "Cells parted by",
        list(SEPARATORS),
        format_func=SEPARATORS.__getitem__,
        horizontal=True,
        key="desk separator",
        persist_state="session",
    )
    instructor.download(
        "Download the gradebook",
        lambda: operations.gradebook(instructor.store, practice_set, semicolons=separator == ";"),
        f"{practice_set.declaration.id}-gradebook.csv",
        "text/csv",
        first=True,
    )


def _qti(instructor: InstructorSession, practice_set: StoredSet) -> None:
    st.subheader("Problems for another tutor (QTI)", anchor=False)
    st.markdown(
        "Fixed variants of each problem, equally difficult and none of them a learner's own, with tolerance and "
        "feedback. The package holds the answers."
    )
    left, right = st.columns(2)
    version: Version = left.radio("Version", VERSIONS, horizontal=True, key="desk qti version", persist_state="session")
    count = int(
        right.number_input(
            "Variants of each problem", 1, MOST_VARIANTS, 5, key="desk qti variants", persist_state="session"
        )
    )
    wanted = (practice_set.id, version, count)
    if st.button("Make the package"):
        with st.spinner("Drawing variants"):
            archive = operations.qti(engine(), practice_set, version, count)
        st.session_state[_QTI] = (wanted, archive)
    package = st.session_state.get(_QTI)
    if package and package[0] == wanted:
        name = f"{practice_set.declaration.id}-qti-{version}.zip"
        instructor.download(f"Download {name}", lambda: package[1], name, "application/zip")


def _oneroster(instructor: InstructorSession, practice_set: StoredSet) -> None:
    st.subheader("Results for the school's system (OneRoster 1.2)", anchor=False)
    st.markdown("The system knows learners by the numbers on your roster, and the rest by ids that its office gives.")
    labels = {
        "school_id": "Id of the school",
        "class_id": "Id of the class",
        "category_id": "Id of the category",
        "session_id": "Id of the grading period",
    }
    with st.form("oneroster", border=False):
        typed = {
            name: st.text_input(
                label, max_chars=200, key=f"desk id {name} {practice_set.class_id}", persist_state="session"
            )
            for name, label in labels.items()
        }
        sent = st.form_submit_button("Take these ids")
    if not (sent or all(text.strip() for text in typed.values())):
        return
    try:
        archive = operations.oneroster(instructor.store, practice_set, **typed)
    except OneRosterError as error:
        st.error(plain(str(error)))
        return
    instructor.download(
        "Download the results", lambda: archive, f"{practice_set.declaration.id}-oneroster.zip", "application/zip"
    )


def _xapi(instructor: InstructorSession, practice_set: StoredSet, outcomes: Sequence[Outcome]) -> None:
    st.subheader("Statements for a record store (xAPI)", anchor=False)
    home = st.text_input(
        "The school's address, under which learners are named",
        placeholder="https://school.example",
        key="desk home",
        persist_state="session",
    )
    if not home.strip():
        return
    try:
        statements = operations.statement_lines(practice_set, outcomes, home)
    except HomeError as error:
        st.error(plain(str(error)))
        return
    instructor.download(
        "Download the statements",
        lambda: statements,
        f"{practice_set.declaration.id}-xapi.jsonl",
        "application/x-ndjson",
    )
