"""Sheets to print and their key: made while a bar tells how far it is, then offered as a file."""

from collections.abc import Sequence

import streamlit as st

from tutor.app.desk.choice import NO_ADDRESS, origin_of_links
from tutor.app.desk.instructor import Bar, Chosen, InstructorSession, pick
from tutor.app.session import engine
from tutor.classroom.models import Member
from tutor.classroom.roster.names import called
from tutor.classroom.sheets.build import handed_by_member
from tutor.classroom.sheets.content import Paper
from tutor.operations.sheets import Printing, printed

_MADE = "desk sheets made"
EVERYBODY = 0
WHAT = ["Learners' sheets", "Answer key and marking strip"]
AS = ["PDF to print", "Page for screen readers (HTML)"]


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """Choose what to print; make it; take the file."""
    st.header("Sheets", anchor=False)
    if chosen.practice_set is None:
        st.markdown("There is no practice set yet. Make one in the tab 'Sets'.")
        return
    members = instructor.register.members(chosen.class_name)
    if not members:
        st.markdown("Nobody is on the roster yet. Put your learners there, in the tab 'Roster'.")
        return
    st.markdown("Each learner gets their own numbers. Problems that a learner has not got yet are handed out now.")
    if not origin_of_links():
        st.caption(NO_ADDRESS)
    printing, member_id = _choice(members, origin_of_links())
    kind, ending = "key" if printing.key else "sheets", "html" if printing.page else "pdf"
    name = f"{chosen.practice_set.declaration.id}-{kind}.{ending}"
    if st.button("Print key" if printing.key else "Print sheets", type="primary"):
        bar = Bar("Handing out", "learners")
        readers = [member for member in members if member_id in (EVERYBODY, member.id)]
        problems = handed_by_member(instructor.store, engine(), chosen.practice_set, readers)
        file = printed(
            instructor.store, engine(), chosen.practice_set, problems, printing, lambda count: bar(count, len(readers))
        )
        st.session_state[_MADE] = (chosen.practice_set.id, printing, member_id, file)
    made_file = st.session_state.get(_MADE)
    if made_file and made_file[:3] == (chosen.practice_set.id, printing, member_id):
        content: bytes = made_file[3]
        st.markdown(f"It is ready ({len(content) / 1e6:.1f} MB).")
        mime = "text/html" if printing.page else "application/pdf"
        instructor.download(f"Download {name}", lambda: content, name, mime)


def _choice(members: Sequence[Member], origin: str) -> tuple[Printing, int]:
    """How to print, and for whom."""
    left, right = st.columns(2)
    key = left.radio("What", WHAT, key="desk print what", persist_state="session") != WHAT[0]
    page = right.radio("As", AS, key="desk print as", persist_state="session") != AS[0]
    names = {EVERYBODY: "Everybody", **{member.id: called(member) for member in members}}
    member_id = pick("For", names, "desk print for", left)
    paper = right.selectbox("Paper", ["A4", "Letter"], disabled=page, key="desk print paper", persist_state="session")
    large = left.toggle("Large print", disabled=page, key="desk print large", persist_state="session")
    steps = right.toggle("A line for each step", disabled=key, key="desk print steps", persist_state="session")
    size: Paper = "a4" if paper == "A4" else "us-letter"
    return Printing(key, page, size, bool(large), bool(steps) and not key, origin), member_id
