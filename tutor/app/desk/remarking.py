"""Marking again after a correction: the difference is shown first, and made only when the instructor says so."""

from collections.abc import Sequence

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain, typed
from tutor.app.desk.instructor import Bar, Chosen, InstructorSession, pick
from tutor.app.session import engine, library
from tutor.base.text import counted
from tutor.classroom.marking.regrade import Change, Regrade, apply, preview_content
from tutor.classroom.models import StoredSet
from tutor.classroom.reports.live import SIGNS
from tutor.classroom.roster.names import called
from tutor.operations.marking import preview_right_answer

_LOOKED = "desk remark"
_TOLD = "desk remark told"
LONGEST_REASON = 500
SHOWN_CHANGES = 200
VERDICTS = {"right": f"{SIGNS['right']} right", "wrong": f"{SIGNS['wrong']} wrong", "unclear": "not judged"}


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """The two corrections, and the difference that one of them would make."""
    st.header("Mark again", anchor=False)
    if message := st.session_state.pop(_TOLD, ""):
        st.success(plain(message), icon="✔")
    if chosen.practice_set is None:
        st.markdown("There is no practice set yet. Make one in the tab 'Sets'.")
        return
    st.markdown(
        "When an exercise was mended, or one problem's right answer was wrong. First you see which answers would be "
        "marked otherwise; nothing changes before you say so."
    )
    _by_exercise(instructor, chosen.practice_set)
    _by_answer(instructor, chosen.practice_set)
    preview = st.session_state.get(_LOOKED)
    if preview and preview[0] == chosen.practice_set.id:
        _difference(instructor, *preview[1:])


def _look(practice_set: StoredSet, subject: str, remark: Regrade) -> None:
    st.session_state[_LOOKED] = (practice_set.id, subject, remark)


def _by_exercise(instructor: InstructorSession, practice_set: StoredSet) -> None:
    st.subheader("By the exercises as they are now", anchor=False)
    ids = list(dict.fromkeys(item.exercise for item in practice_set.declaration.items))
    titles = {"": "All exercises of the set"} | {
        id_: library().exercises[id_].title for id_ in ids if id_ in library().exercises
    }
    exercise = pick("Exercise", titles, "desk remark exercise")
    st.caption("An exercise that was mended is known here once the server has been started again.")
    if st.button("Preview changes"):
        bar = Bar("Looking", "problems")
        _look(
            practice_set,
            titles[exercise],
            preview_content(instructor.store, engine(), practice_set, exercise or None, bar),
        )


def _by_answer(instructor: InstructorSession, practice_set: StoredSet) -> None:
    st.subheader("By another right answer to one problem", anchor=False)
    with st.form("another right answer", border=False):
        left, right = st.columns(2)
        code = left.text_input("Problem code", max_chars=20, placeholder="7KQ4-2P")
        answer = right.text_input("Its right answer", max_chars=120)
        sent = st.form_submit_button("Preview changes to this problem")
    if sent:
        handed, difference = preview_right_answer(instructor.store, engine(), practice_set, code, answer)
        _look(practice_set, f"problem {handed.code}", difference)


def _difference(instructor: InstructorSession, subject: str, remark: Regrade) -> None:
    st.subheader(f"The difference: {plain(subject)}", anchor=False)
    st.markdown(difference_told(remark))
    if remark.changes:
        show_table(
            [
                {
                    "Learner": plain(called(change.handed.member)),
                    "Problem": f"{change.handed.place} `{change.handed.code}`",
                    "Answer": typed(change.answer.entry),
                    "Now": VERDICTS.get(change.before, "not readable"),
                    "Then": VERDICTS.get(change.after, "not readable"),
                }
                for change in remark.changes[:SHOWN_CHANGES]
            ]
        )
    if len(remark.changes) > SHOWN_CHANGES:
        st.markdown(f"And {len(remark.changes) - SHOWN_CHANGES} more.")
    if remark.unfit:
        listed = "\n".join(
            f"- {plain(called(problem.member))}, problem {problem.place}: {plain(why)}" for problem, why in remark.unfit
        )
        st.warning(f"**These cannot be marked again.**\n\n{listed}", icon="⚠")
    if remark.corrected:
        _reason_form(instructor, remark)


def difference_told(remark: Regrade) -> str:
    """How much would change, as a sentence."""
    if not remark.corrected:
        return "No problem has other values than before: nothing would change."
    problems = counted(len(remark.corrected), "problem gets", "problems get")
    return f"{problems} another right answer; {_answers(remark.changes)} marked otherwise."


def _answers(changes: Sequence[Change]) -> str:
    return counted(len(changes), "answer is", "answers are") if changes else "no answers are"


def _reason_form(instructor: InstructorSession, remark: Regrade) -> None:
    with st.form("apply the difference", border=False):
        reason = st.text_input("Why (kept with the answers)", max_chars=LONGEST_REASON)
        sent = st.form_submit_button("Make this change", type="primary")
    if sent:
        changes = apply(instructor.store, engine(), remark, reason)
        del st.session_state[_LOOKED]
        st.session_state[_TOLD] = f"The change is made; {_answers(changes)} marked otherwise than before."
        st.rerun()
