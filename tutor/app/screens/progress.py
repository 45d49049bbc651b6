import json

import streamlit as st

from tutor.app.address import Address
from tutor.app.components.markdown_table import show_table
from tutor.app.server.downloads import offer
from tutor.app.session import closed_exercises, library, record, rulebook_for
from tutor.learner.progress import Progress, progress

PRACTICE = "screens/practice.py"


def row(entry: Progress) -> dict[str, str]:
    exercise = library().exercises[entry.exercise]
    words = [
        f"{exercise.mistakes[id_].words} ({count})"
        for id_, count in entry.mistakes.most_common()
        if id_ in exercise.mistakes
    ]
    return {
        "Exercise": exercise.title,
        "Tries": str(entry.tries),
        "Right": f"{entry.right_unaided} unaided, {entry.right_with_help} with help",
        "Last": f"{entry.last_at:%Y-%m-%d %H:%M} UTC" if entry.last_at else "",
        "Mistakes met": "; ".join(words),
    }


def own_data() -> None:
    st.header("What is kept about you", anchor=False)
    st.markdown(
        "Your answers, the help you looked at and the times, under a random token in this browser's cookie. "
        "No name, nothing else, and nothing is sent on. What you did in a class's set is kept with the "
        "class: your instructor gives it out and erases it."
    )
    learner_record = record()  # the download is made outside this run, where no session is known
    offer(
        "Download all of it as JSON",
        lambda: json.dumps(learner_record.export(), ensure_ascii=False, indent=2),
        "coldmorning-record.json",
        "application/json",
    )
    with st.form("erase", border=False):
        sure = st.checkbox("Yes, erase everything that is kept of my own practice. It cannot be brought back.")
        sent = st.form_submit_button("Erase")
    if sent and any(closed.in_class for why in closed_exercises().values() for closed in why):
        st.warning("Nothing was erased. Your class has an open set that keeps its answers back. Erase after it closes.")
    elif sent and sure:
        learner_record.erase()
        st.rerun()
    elif sent:
        st.warning("Nothing was erased. Tick the box first.")


st.title("Progress", anchor=False)
by_exercise = progress(record().attempts())
shown = [row(entry) for id_, entry in by_exercise.items() if id_ in library().exercises and entry.tries]
if shown:
    show_table(shown)
else:
    st.markdown("Nothing answered yet. What you answer is kept as you go, and shown here.")
closed = closed_exercises()
left = [e for e in library().exercises.values() if e.id not in by_exercise or not by_exercise[e.id].right_unaided]
open_ones = [e for e in left if e.id not in closed]
if open_ones:
    label = f"Next: {open_ones[0].title}"
    st.page_link(
        PRACTICE, label=label, query_params=Address(open_ones[0].id, rulebook=rulebook_for(open_ones[0].id)).query()
    )
elif not left:
    st.markdown("Every exercise has been answered rightly without help. Come back in some days and try fresh numbers.")
own_data()
