"""The report: how hard each problem was, how far the numbers can be trusted, and the mistakes of the class."""

import streamlit as st

from tutor.app.components import theme
from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain, show_cautions, typed
from tutor.app.desk.choice import turn_to
from tutor.app.desk.instructor import Chosen, InstructorSession
from tutor.app.desk.making import start_from
from tutor.app.desk.report_figures import places_right, ranked_mistakes
from tutor.app.session import engine, library
from tutor.base.text import counted
from tutor.classroom.reports.mistakes import ClassMistake
from tutor.classroom.reports.report import ClassReport, LearnerLine
from tutor.classroom.reports.report_words import hundredths
from tutor.classroom.reports.statistics import ENOUGH, Reliability
from tutor.content.library import Library
from tutor.entries.kinds import capitalised
from tutor.operations.exports import class_report_of

SHOWN_MISTAKES = 12
_PRINT = """<style>@media print {
[data-baseweb="tab-list"], [data-testid="stSelectbox"], a.download, .stAlert { display: none; }
}</style>"""


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """The report of the chosen set."""
    st.header("Report", anchor=False)
    outcomes = instructor.outcomes(chosen.practice_set) if chosen.practice_set else []
    if chosen.practice_set is None or not any(outcome.answers for outcome in outcomes):
        st.markdown("No answer has come yet. The report begins with the first one.")
        return
    report = class_report_of(engine(), chosen.practice_set, outcomes)
    st.html(_PRINT)
    if not report.closed:
        st.markdown("The set is still open: what nobody has answered yet is left out.")
    _mistakes(report)
    _places(report)
    st.subheader("Each learner", anchor=False)
    show_table([_learner_row(line) for line in report.learners])
    st.caption("To print this page, figures too, use the browser's own print command.")


def _mistakes(report: ClassReport) -> None:
    st.subheader("Mistakes of the class", anchor=False)
    if not report.mistakes:
        st.markdown("No mistake has been named so far.")
    else:
        drawn = ranked_mistakes(report.mistakes, theme.look())
        theme.show_figure(drawn.figure, drawn.sentence, drawn.rows, "mistakes")
    for number, mistake in enumerate(report.mistakes[:SHOWN_MISTAKES], start=1):
        _mistake(number, mistake)
    if report.unexplained:
        st.markdown(f"{report.unexplained} wrong answers fit no known mistake.")


def _mistake(number: int, mistake: ClassMistake) -> None:
    st.markdown(f"**{number}. {plain(capitalised(mistake.words))}**")
    st.markdown(plain(f"{mistake_told(mistake)} {seen_in(mistake, library())}"))
    if mistake.says:
        st.markdown(plain(mistake.says))
    if mistake.examples:
        st.markdown(f"Typed: {typed('; '.join(mistake.examples))}")
    if mistake.broke_limit and mistake.safety:
        show_cautions(library().cautions(mistake.safety, mistake.follow_up.rulebook).values())
    if mistake.lesson:
        st.page_link(
            "screens/lessons.py", label=f"Lesson: {mistake.lesson_title}", query_params={"lesson": mistake.lesson}
        )
    if st.button("Make a follow-up set on this mistake", key=f"desk follow {number} {mistake.id}"):
        start_from(mistake.follow_up)
        turn_to("Sets", another=True)


def mistake_told(mistake: ClassMistake) -> str:
    """How many make a mistake, and how dangerous it is."""
    learners = counted(mistake.learners, "learner makes it", "learners make it")
    words = f"{learners}{f', perhaps {mistake.perhaps:.1f} more' if mistake.perhaps >= 0.05 else ''}."
    if mistake.broke_limit:
        words += (
            f" {mistake.broke_limit} of {mistake.answers} answers would break a limit: equipment or people at risk."
        )
    return words


def seen_in(mistake: ClassMistake, content: Library) -> str:
    """The exercises in which a mistake was made, by title; two exercises may have mistakes of the same words."""
    exercises = content.exercises
    return f"Seen in: {'; '.join(exercises[id_].title if id_ in exercises else id_ for id_ in mistake.exercises)}."


def _places(report: ClassReport) -> None:
    st.subheader("Each problem", anchor=False)
    drawn = places_right(report.statistics, theme.look())
    theme.show_figure(drawn.figure, drawn.sentence, drawn.rows, "places")
    for place in report.statistics.places:
        if place.verdict:
            st.markdown(f"Problem {place.place}: {plain(place.verdict)}.")
    if not report.statistics.enough:
        st.markdown(f"Below {ENOUGH} learners the numbers stand with their intervals and without verdicts.")
    st.markdown(reliability_told(report.statistics.reliability))


def reliability_told(reliability: Reliability) -> str:
    """KR-20 in a sentence."""
    if reliability.kr20 is None:
        return "KR-20 cannot be told yet: it needs two learners with all problems decided and different sums."
    ends = " to ".join(map(hundredths, reliability.interval or ()))
    span = f" (95 % interval {ends})" if ends else ""
    value = f"KR-20, how far the sum of right answers can be trusted, is {hundredths(reliability.kr20)}{span}"
    return f"{value}, from {counted(reliability.learners, 'learner')} and {counted(reliability.places, 'problem')}."


def _learner_row(line: LearnerLine) -> dict[str, str]:
    return {
        "Learner": plain(line.member.name or line.member.number),
        "Right": f"{line.right} of {line.places}" if line.submitted or not line.places else "not submitted",
        "Wrong": str(line.wrong),
        "Open": str(line.open),
        "Minutes": f"{line.seconds / 60:.0f}" if line.seconds is not None else "",
    }
