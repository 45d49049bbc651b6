import streamlit as st

from tutor.app.desk import answers, choice, exports, gate, live, paper, remarking, report, roster, sets, sheets
from tutor.app.desk.room import Chosen, EndedError, Room
from tutor.app.showing import plain
from tutor.app.store_down import faults_in_words

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


def desk(room: Room) -> None:
    with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
        st.title("Class desk", anchor=False, width="content")
        if st.button("Leave the desk"):
            gate.leave(room)
    if room.exams.switch() is not None:
        st.warning(plain(room.exams.switch_words()), icon="⚠")
    chosen = choice.choose(room)
    choice.next_step(room, chosen)
    for name, tab in zip(TABS, st.tabs(list(TABS), key="tab", bind="query-params"), strict=True):
        if tab.open:
            with tab:
                show_tab(name, room, chosen)


def show_tab(name: str, room: Room, chosen: Chosen) -> None:
    with faults_in_words():
        TABS[name](room, chosen)


room = gate.enter()
if room is not None:
    try:
        desk(room)
    except EndedError:
        st.rerun()  # the way in is shown then, and says so
