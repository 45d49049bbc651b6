from datetime import UTC, datetime
from urllib.parse import parse_qs

import streamlit as st

from tutor.app.components import showing
from tutor.app.session import engine, library, record, store
from tutor.base.units import written
from tutor.trade.site import voltage_at

LABEL_VOC, VOC_COEFFICIENT, MODULES = 41.3, -0.0027, 10
RECORD_LOW, INPUT_VOLTAGE_MAX = -24.0, 450.0

WHO = {
    "You want power at the cabin and have bought nothing yet": (
        "Each lesson takes one decision: how many modules in a string, which cable, which fuse. It shows the idea "
        "with a figure that you can move, works one case in full, then gives you problems with numbers of their own. "
        "At the end you know what to buy, and what to ask a licensed electrician before you do."
    ),
    "You teach a class": (
        "Every problem is drawn afresh, so that each learner gets other numbers and the same difficulty. Each answer "
        "is marked with the reason, and a wrong one is traced to the step that went wrong."
    ),
    "You study by yourself and calculate on paper": (
        "Type each step of your arithmetic as you go. The first step that departs is pointed at, with the reason, "
        "and what follows from your own number is not counted against you twice."
    ),
}


def opening_case() -> None:
    cold = MODULES * voltage_at(LABEL_VOC, VOC_COEFFICIENT, RECORD_LOW)
    on_label, in_the_cold, limit = st.columns(3)
    on_label.metric(f"{MODULES} modules in series, by the label", written(MODULES * LABEL_VOC, "V"))
    in_the_cold.metric(f"The same at {written(RECORD_LOW, 'degC')}", written(cold, "V"))
    limit.metric("The charger's input is destroyed above", written(INPUT_VOLTAGE_MAX, "V"))
    st.markdown(
        "Cold cells give more voltage. On paper this string fits its charger; on the coldest morning of the year it "
        "destroys it. That hour gave the tutor its name."
    )


def class_work() -> None:
    """The sets of the learner's classes that are open, each with how far the learner is."""
    if not record().in_a_class():
        return
    from tutor.app.components.class_words import progress_words  # noqa: PLC0415 - most who start are in no class; sympy comes along
    from tutor.classroom.roster.claims import Claims, sets_of  # noqa: PLC0415
    from tutor.classroom.sets.work import ClassWork  # noqa: PLC0415

    token, moment = st.session_state["learner"], datetime.now(UTC)
    for practice_set in sets_of(store(), token):
        member = Claims(store(), practice_set).member(token)
        if member is not None and practice_set.state(moment) == "open":
            lines = ClassWork(store(), engine(), practice_set, member).begin(moment)
            label = f"Your class work: {showing.plain(practice_set.declaration.title)}, {progress_words(lines)}"
            st.page_link("screens/class_work.py", label=label, query_params={"set": practice_set.code})


def next_thing() -> None:
    """Where the learner was, or the first lesson; the way to everything else beside it."""
    place = record().place()
    lessons = library().lessons
    with st.container(key="next-thing"):
        if place and place.get("page") in ("lessons", "practice", "class_work"):
            query = parse_qs(place.get("query", ""))
            if st.button("Next: go on where you were", type="primary"):
                st.switch_page(f"screens/{place['page']}.py", query_params=query)
        else:
            first = next(iter(lessons.values())).header
            if st.button(f"Next: the first lesson, {first.title}", type="primary"):
                st.switch_page("screens/lessons.py", query_params={"lesson": first.id})
    if "cold-voltage" in lessons:
        st.page_link(
            "screens/lessons.py",
            label=f"The lesson on this hour: {lessons['cold-voltage'].header.title}",
            query_params={"lesson": "cold-voltage"},
        )
    st.page_link("screens/lessons.py", label="All lessons")
    st.page_link("screens/practice.py", label="All exercises")


st.title("Size a small solar system before you buy a part of it", anchor=False)
opening_case()
next_thing()
class_work()
st.header("Who it is for", anchor=False)
for person, offer in WHO.items():
    st.subheader(person, anchor=False)
    st.markdown(offer)
st.header("Before you touch anything", anchor=False)
st.warning(
    "An array in daylight cannot be switched off: a string's ends are live as soon as light falls on it, and its "
    "direct current draws arcs that burn. Here you learn to calculate. Wiring is for a licensed electrician."
)
