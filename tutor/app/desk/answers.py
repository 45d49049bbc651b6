"""One learner's answers: read, commented, withdrawn; a problem excused."""

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain, show_problems_cautions, show_solution, typed
from tutor.app.desk.instructor import Chosen, InstructorSession, pick
from tutor.app.session import engine
from tutor.classroom.models import Answer, Outcome, StoredSet
from tutor.classroom.reports.live import SIGNS, WORDS
from tutor.classroom.reports.results import LONGEST_COMMENT
from tutor.classroom.roster.names import called
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.sets.views import told_time
from tutor.classroom.sets.work import solution_lines
from tutor.entries.kinds import capitalised

_VERDICTS = {
    "right": "✔ right",
    "wrong": "✖ wrong",
    "unclear": "❔ could not be judged",
    "refused": "❔ could not be read",
    "": "not marked",
}


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """Choose a learner and a problem; then its answers."""
    st.header("Answers", anchor=False)
    outcomes = instructor.outcomes(chosen.practice_set) if chosen.practice_set else []
    if chosen.practice_set is None or not outcomes:
        st.markdown("No problem is handed out yet. Learners get theirs when they open the link for the first time.")
        return
    members = {outcome.handed.member.id: called(outcome.handed.member) for outcome in outcomes}
    left, right = st.columns(2)
    owner = pick("Learner", members, "desk answers of", left)
    outcomes_by_place = {outcome.handed.place: outcome for outcome in outcomes if outcome.handed.member.id == owner}
    place = pick(
        "Problem", {number: _line(outcome) for number, outcome in outcomes_by_place.items()}, "desk answers at", right
    )
    _problem(instructor, chosen.practice_set, outcomes_by_place[place])


def _line(outcome: Outcome) -> str:
    return f"{outcome.handed.place}. {SIGNS[outcome.state]} {WORDS[outcome.state]}: {outcome.handed.snapshot.title}"


def _problem(instructor: InstructorSession, practice_set: StoredSet, outcome: Outcome) -> None:
    handed = outcome.handed
    problem = problem_of(engine(), handed)
    st.subheader(plain(problem.question.exercise.title), anchor=False)
    st.markdown(plain(" ".join([*problem.story, problem.task])))
    if problem.shown:
        words = problem.question.library.quantities
        show_table(
            [
                {"Given": capitalised(words[name].words), "Value": plain(amount.text)}
                for name, amount in problem.shown.items()
            ]
        )
    st.markdown(f"Problem code `{handed.code}`. Right answer: **{plain(handed.answer)}**")
    with st.expander("Worked solution", key=f"desk solution {handed.id}", on_change="rerun") as worked:
        if worked.open:
            show_solution(problem, solution_lines(engine(), handed))
            show_problems_cautions(problem)
    if not outcome.answers:
        st.markdown("No answer yet.")
    for answer in outcome.answers:
        _answer(instructor, practice_set, answer)
    st.divider()
    label = "Count this problem for the learner again" if handed.excused else "Excuse the learner from this problem"
    if st.button(label):
        instructor.results(practice_set).excuse(handed.id, excused=not handed.excused)
        st.rerun()


def _answer(instructor: InstructorSession, practice_set: StoredSet, answer: Answer) -> None:
    counted = "" if answer.counted else ", not counted"
    st.markdown(
        f"**{typed(answer.entry)}**: {_VERDICTS[answer.verdict]}{counted}, on {answer.source}, "
        f"{plain(told_time(answer.at, practice_set.declaration.zone))}"
    )
    for name, text in answer.steps.items():
        st.caption(f"{plain(name.replace('_', ' '))}: {typed(text)}")
    if answer.feedback:
        st.caption(plain(answer.feedback))
    text = st.text_area(
        f"Comment that the learner sees, to {typed(answer.entry[:40])}",
        answer.comment,
        max_chars=LONGEST_COMMENT,
        key=f"desk comment {answer.id}",
        persist_state="session",
    )
    if st.button("Save comment", key=f"desk keep {answer.id}"):
        instructor.results(practice_set).comment(answer.id, text)
        st.success("The comment is saved. The learner sees it beside the answer.", icon="✔")
    if answer.counted or answer.was_withdrawn:
        label = "Withdraw this answer: do not count it" if answer.counted else "Count this answer again"
        if st.button(label, key=f"desk withdraw {answer.id}"):
            instructor.results(practice_set).withdraw(answer.id, withdrawn=answer.counted)
            st.rerun()
