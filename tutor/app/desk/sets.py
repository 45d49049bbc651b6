"""The sets of a class: how one stands, its code and link, closing and opening it again; and a new one."""

from datetime import UTC, datetime
from functools import partial
from zoneinfo import ZoneInfo

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain
from tutor.app.desk import making
from tutor.app.desk.choice import NO_ADDRESS, STATES, link, link_here
from tutor.app.desk.instructor import Bar, Chosen, InstructorSession, confirmed
from tutor.app.session import UNITS, engine, library
from tutor.base.text import counted
from tutor.classroom.models import PracticeSet, StoredSet
from tutor.classroom.sets.difficulty import spread
from tutor.classroom.sets.exams import LIMITS
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.set_files import written_set
from tutor.classroom.sets.views import told_time
from tutor.operations import exams, sets

_HELP = {"nothing": "no help", "hints": "hints", "solution": "hints and the worked solution"}


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """The chosen set, and below it a new one."""
    if chosen.practice_set is not None:
        _set_state(instructor, chosen.practice_set)
        st.divider()
        if not st.toggle("Make another set", key=making.ANOTHER, persist_state="session"):
            return
    making.show(instructor, chosen)


def rules_told(declared: PracticeSet) -> str:
    """The rules of a set in a sentence or two."""
    attempts = counted(declared.attempts, "attempt")
    solutions = {"when solved": "once solved", "when closed": "when the set closes", "never": "never"}
    return (
        f"{counted(len(declared.places), 'problem')} ({UNITS[declared.rulebook]}), {attempts} each, with "
        f"{_HELP[declared.help]}. Marked {declared.marked}; worked solutions are shown {solutions[declared.solutions]}."
    )


def _set_state(instructor: InstructorSession, practice_set: StoredSet) -> None:
    declared, moment = practice_set.declaration, datetime.now(UTC)
    st.header(plain(declared.title), anchor=False)
    st.markdown(f"This set is **{STATES[practice_set.state(moment)]}**. {plain(rules_told(declared))}")
    times = [("Opens", declared.opens), ("Closes", declared.closes), ("Closed by you", practice_set.closed_at)]
    time_words = [f"{name}: {told_time(time, declared.zone)}." for name, time in times if time is not None]
    if time_words:
        st.markdown(plain(" ".join(time_words)))
    address = link(practice_set)
    st.markdown("Learners type this code on the page 'Class work', or open the link:")
    st.code(practice_set.code, language=None)
    st.code(address or link_here(practice_set), language=None, wrap_lines=True)
    if not address:
        st.caption(f"This link opens on this computer only. {NO_ADDRESS}")
    _claiming(instructor, practice_set)
    instructor.download("Download the set as a file", lambda: written_set(declared), f"{declared.id}.yaml", "text/yaml")
    _close_or_reopen(instructor, practice_set, moment)
    _exam(instructor, practice_set, moment)
    _problems(instructor, practice_set)


def _exam(instructor: InstructorSession, practice_set: StoredSet, moment: datetime) -> None:
    """What an exam closes and what it cannot, and the switch that closes it to everybody."""
    switch, words = exams.state(instructor.store)
    st.subheader("Exam switch", anchor=False)
    if practice_set.declaration.is_exam:
        st.markdown(LIMITS)
    st.markdown(
        "An exam is a set that is marked when it closes. While the switch is on, the exercises of this set, or of "
        "every open exam, are closed to everybody on this server, with or without a name. "
        f"{plain(words)}"
    )
    with st.container(horizontal=True):
        closed, this_set = (
            practice_set.state(moment) == "closed",
            switch is not None and switch.set_id == practice_set.id,
        )
        if st.button("Turn on for this set", key="desk exam this", disabled=closed or this_set):
            exams.turn_on(instructor.store, practice_set)
            st.rerun()
        for_all = switch is not None and switch.set_id is None
        if st.button("Turn on for all exams", key="desk exam all", disabled=for_all):
            exams.turn_on(instructor.store, None)
            st.rerun()
        if st.button("Turn off", key="desk exam off", disabled=switch is None):
            exams.turn_off(instructor.store)
            st.rerun()


def _claiming(instructor: InstructorSession, practice_set: StoredSet) -> None:
    """With what learners take their names the first time; changed at once."""
    ways = list(making.CLAIMS)
    chosen = st.selectbox(
        "Learners claim their name with",
        ways,
        ways.index(practice_set.declaration.claim_with),
        format_func=making.CLAIMS.__getitem__,
        key=f"desk claims {practice_set.id} {practice_set.declaration.claim_with}",
    )
    st.caption(f"{making.CLAIMS_TOLD} If one set of a class asks for the personal code, all open sets of it do.")
    if chosen != practice_set.declaration.claim_with:
        sets.change_claiming(instructor.store, practice_set, chosen)
        st.rerun()


def _close_or_reopen(instructor: InstructorSession, practice_set: StoredSet, moment: datetime) -> None:
    if practice_set.state(moment) != "closed":
        consequence = partial(sets.closing_consequence, instructor.store, practice_set)
        if confirmed("Close set", consequence, "Close set now", "Keep open", f"desk closing {practice_set.id}"):
            sets.close(instructor.store, practice_set)
            st.rerun()
        return
    with st.form(f"reopen {practice_set.id}", border=False):
        label = f"Open again until ({practice_set.declaration.zone}; empty: until you close it)"
        until = st.datetime_input(label, None, key=f"desk reopen {practice_set.id}")
        sent = st.form_submit_button("Reopen set")
    if sent:
        instructor.register.reopen(
            practice_set.id, until.replace(tzinfo=ZoneInfo(practice_set.declaration.zone)) if until else None
        )
        st.rerun()
    if practice_set.declaration.solutions != "never":
        st.caption("Learners who have seen the worked solutions meanwhile know the answers.")


def _problems(instructor: InstructorSession, practice_set: StoredSet) -> None:
    """The spread of difficulty over what is handed out, and handing out ahead of the learners' first visit."""
    handed = [outcome.handed for outcome in instructor.outcomes(practice_set)]
    members = instructor.register.members(practice_set.class_name)
    served = {problem.member.id for problem in handed}
    unserved = [member for member in members if member.id not in served]
    with st.expander("How alike the learners' problems are"):
        if handed:
            show_table(making.spread_rows(spread(handed), library()))
        else:
            st.markdown("No problem is handed out yet.")
    if unserved:
        st.markdown(
            f"{len(unserved)} of {counted(len(members), 'learner')} have not got their problems yet; each gets them on "
            "first opening the link. For paper, hand them out now."
        )
        if st.button("Hand out the problems now"):
            hand_out(instructor.store, engine(), practice_set, unserved, Bar("Handing out", "learners"))
            st.rerun()
