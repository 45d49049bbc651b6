import streamlit as st

from tutor.app.components.showing import plain
from tutor.app.components.store_down import faults_in_words
from tutor.app.desk import answers, choice, exports, gate, live, paper, remarking, report, roster, sets, sheets
from tutor.app.desk.instructor import Chosen, EndedError, InstructorSession

TABS = {
    "Sets": sets.show,
    "Roster": roster.show,
    "Live": live.show,
    "Answers": answers.show,
    "Paper": paper.show,
    "Mark again": remarking.show,
    "Report": report.show,
    "Sheets": sheets.show,
    "Exports": exports.show,
}


def desk(instructor: InstructorSession) -> None:
    with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
        st.title("Class desk", anchor=False, width="content")
        if st.button("Leave the desk"):
            gate.leave(instructor)
    if instructor.exams.switch() is not None:
        st.warning(plain(instructor.exams.switch_words()), icon="⚠")
    chosen = choice.choose(instructor)
    choice.next_step(instructor, chosen)
    for name, tab in zip(TABS, st.tabs(list(TABS), key="tab", bind="query-params"), strict=True):
        if tab.open:
            with tab:
                show_tab(name, instructor, chosen)


def show_tab(name: str, instructor: InstructorSession, chosen: Chosen) -> None:
    with faults_in_words():
        TABS[name](instructor, chosen)


instructor = gate.enter()
if instructor is not None:
    try:
        desk(instructor)
    except EndedError:
        st.rerun()  # the way in is shown then, and says so
