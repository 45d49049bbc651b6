"""Who is where: the class at a glance, looked at again by itself."""

from collections.abc import Sequence
from datetime import UTC, datetime

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain
from tutor.app.desk.instructor import Chosen, EndedError, InstructorSession
from tutor.app.desk.matrix import matrix_html
from tutor.app.session import empty_for_another_browser, library
from tutor.base.errors import FaultyRequestError
from tutor.classroom.models import StoredSet
from tutor.classroom.reports.live import LEGEND, who_needs_help
from tutor.classroom.roster.names import called
from tutor.classroom.sets.exams import Look
from tutor.classroom.sets.views import told_time

SECONDS = 5


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """The live view of the chosen set."""
    st.header("Who is where", anchor=False)
    if chosen.practice_set is None:
        st.markdown("There is no practice set yet. Make one in the tab 'Sets'.")
    elif not instructor.register.members(chosen.class_name):
        st.markdown("Nobody is on the roster yet. Put your learners there, in the tab 'Roster'.")
    else:
        _watch(instructor, chosen.practice_set)


@st.fragment(run_every=SECONDS)
def _watch(instructor: InstructorSession, practice_set: StoredSet) -> None:
    empty_for_another_browser()  # a fragment runs by itself
    try:
        results = instructor.results(practice_set)
        learners, outcomes = results.who_is_where(), results.outcomes()
        exam_looks = instructor.exams.recorded_looks(practice_set)
    except (FaultyRequestError, EndedError) as error:
        st.error(plain(str(error)))
        return
    moment = datetime.now(UTC)
    begun = sum(learner.begun for learner in learners)
    right = sum(outcome.state == "right" for outcome in outcomes)
    places = len(practice_set.declaration.places)
    in_all = len(learners) * places
    st.markdown(
        f"**{begun} of {len(learners)}** learners have begun; **{right} of {in_all}** problems are solved. "
        f"Looked at every {SECONDS} seconds."
    )
    for place, members in who_needs_help(outcomes, practice_set.declaration.attempts).items():
        listed = ", ".join(called(member) for member in members)
        st.markdown(f"➡ No attempts left at **problem {place}**: {plain(listed)}.")
    st.html(matrix_html(learners, outcomes, places, moment))
    st.caption(f"{LEGEND}. A number beside a sign counts the tries; a frame shows where the learner is.")
    if exam_looks:
        _show_looks(exam_looks, practice_set.declaration.zone)


def _show_looks(exam_looks: Sequence[Look], zone: str) -> None:
    st.subheader("Attempts to open closed exercises", anchor=False)
    exercises = library().exercises
    show_table(
        [
            {
                "Who": plain(look.visitor),
                "Exercise": plain(exercises[look.exercise].title if look.exercise in exercises else look.exercise),
                "Times": str(look.looks),
                "First": plain(told_time(look.first_at, zone)),
                "Last": plain(told_time(look.last_at, zone)),
            }
            for look in exam_looks
        ]
    )
    st.caption("A learner may have opened such a page by mistake. All browsers without a name share one row.")
