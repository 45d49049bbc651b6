"""Sheets to print and their key: made while a bar tells how far it is, then offered as a file."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

import streamlit as st

from tutor.app.desk.choice import NO_ADDRESS, link
from tutor.app.desk.room import Bar, Chosen, Room, pick
from tutor.app.session import engine, library
from tutor.classroom.models import Member, StoredSet
from tutor.classroom.names import called
from tutor.classroom.sheets.build import handed_by_member, learner_key, learner_sheet, style_of
from tutor.classroom.sheets.page import key_page, sheets_page
from tutor.classroom.sheets.pdf import key_pdf, sheets_pdf
from tutor.classroom.sheets.slips import screen_note

_MADE = "desk sheets made"
EVERYBODY = 0
Tell = Callable[[int], None]


@dataclass(frozen=True)
class Wanted:
    """What is to be printed, and for whom (0: everybody)."""

    key: bool
    page: bool
    paper: Literal["a4", "us-letter"]
    large: bool
    steps: bool
    member: int


def show(room: Room, chosen: Chosen) -> None:
    """Choose what to print; make it; take the file."""
    st.header("Sheets", anchor=False)
    if chosen.of is None:
        st.markdown("There is no practice set yet. Make one in the tab 'Sets'.")
        return
    members = room.register.members(chosen.class_name)
    if not members:
        st.markdown("Nobody is on the roster yet. Put your learners there, in the tab 'Roster'.")
        return
    st.markdown("Each learner gets their own numbers. Problems that a learner has not got yet are handed out now.")
    if not link(chosen.of):
        st.caption(NO_ADDRESS)
    wanted = _wanted(members)
    name = f"{chosen.of.declaration.id}-{'key' if wanted.key else 'sheets'}.{'html' if wanted.page else 'pdf'}"
    if st.button("Print key" if wanted.key else "Print sheets", type="primary"):
        bar = Bar("Handing out", "learners")
        some = [member for member in members if wanted.member in (EVERYBODY, member.id)]
        made = make(room, chosen.of, some, wanted, lambda at: bar(at, len(some)))
        st.session_state[_MADE] = (chosen.of.id, wanted, made)
    kept = st.session_state.get(_MADE)
    if kept and kept[:2] == (chosen.of.id, wanted):
        content: bytes = kept[2]
        st.markdown(f"It is ready ({len(content) / 1e6:.1f} MB).")
        room.download(f"Download {name}", lambda: content, name, "text/html" if wanted.page else "application/pdf")


def _wanted(members: Sequence[Member]) -> Wanted:
    left, right = st.columns(2)
    key = left.radio(
        "What", ["Learners' sheets", "Answer key and marking strip"], key="desk print what", persist_state="session"
    )
    kind = right.radio(
        "As", ["PDF to print", "Page for screen readers (HTML)"], key="desk print as", persist_state="session"
    )
    names = {EVERYBODY: "Everybody", **{member.id: called(member) for member in members}}
    member = pick("For", names, "desk print for", left)
    page = kind != "PDF to print"
    paper = right.selectbox("Paper", ["A4", "Letter"], disabled=page, key="desk print paper", persist_state="session")
    large = left.toggle("Large print", disabled=page, key="desk print large", persist_state="session")
    steps = right.toggle(
        "A line for each step", disabled=key != "Learners' sheets", key="desk print steps", persist_state="session"
    )
    return Wanted(
        key != "Learners' sheets",
        page,
        "a4" if paper == "A4" else "us-letter",
        bool(large),
        bool(steps) and key == "Learners' sheets",
        member,
    )


def make(room: Room, of: StoredSet, members: Sequence[Member], wanted: Wanted, tell: Tell) -> bytes:
    """The file. Raises StoreError."""
    problems = handed_by_member(room.store, engine(), of, members)
    today = datetime.now(ZoneInfo(of.declaration.zone)).date()
    style = style_of(of.declaration, library(), today, paper=wanted.paper, large=wanted.large)
    if wanted.key:
        keys = [learner_key(member, coded) for member, coded in problems.items()]
        return key_page(style, keys).encode() if wanted.page else key_pdf(style, keys, tell)
    codes = room.register.personal_codes(of.class_name)
    sheets = [
        learner_sheet(member, coded, notes=[screen_note(of, link(of), codes[member.id])], steps=wanted.steps)
        for member, coded in problems.items()
    ]
    return sheets_page(style, sheets).encode() if wanted.page else sheets_pdf(style, sheets, tell)
