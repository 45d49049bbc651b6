"""Coming into a class's set: its code, the learner's name on the class list, the personal code; and leaving again."""

import streamlit as st

from tutor.app.components import showing
from tutor.app.components.store_down import faults_in_words
from tutor.app.server import renewing
from tutor.app.session import client_address, renewed_token, store
from tutor.classroom.models import Member, StoredSet
from tutor.classroom.roster.claims import Claims, sets_of
from tutor.classroom.roster.codes import set_code

HERE = "screens/class_work.py"
SHEET = "class sheet"  # the session's name for the page as it was last
_LONGEST = 200


def ask_for_code() -> None:
    """The box for a set's code, and the sets that the learner of this browser has come into before."""
    with st.form("set code", border=False):
        typed = st.text_input("Code of the set, as your instructor gave it", key="set code box", max_chars=40)
        sent = st.form_submit_button("Open the set", type="primary")
    if sent:
        code = set_code(typed)
        if code:
            st.switch_page(HERE, query_params={"set": code})
        st.error("A set's code has six letters and digits, such as K7Q-4MP. Compare it with the sheet or the board.")
    own_sets = sets_of(store(), st.session_state["learner"])
    if own_sets:
        st.subheader("Your sets", anchor=False)
    for practice_set in own_sets:
        st.page_link(HERE, label=showing.plain(practice_set.declaration.title), query_params={"set": practice_set.code})


def ask_for_name(practice_set: StoredSet) -> None:
    """The boxes for the learner's name or number and the personal code: the same two, whatever was typed before."""
    claims = Claims(store(), practice_set)
    strict = claims.want_code()
    if strict:
        advice = (
            "Type your name or number and your personal code. The code is on the slip or the sheet that your "
            "instructor gave you. If you have neither, ask your instructor for your code."
        )
    else:
        advice = "Type your name or number. If you have used another device before, type your personal code too."
    st.markdown(f"{advice} This device then remembers you.")
    with st.form("name", border=False):
        typed = st.text_input(
            "Your name or number, as on the class list", key=f"name {practice_set.code}", max_chars=_LONGEST
        )
        personal = st.text_input("Your personal code", key=f"personal code {practice_set.code}", max_chars=40)
        sent = st.form_submit_button("That is me", type="primary")
    if not sent:
        return
    renewed = renewed_token()
    with faults_in_words():
        claims.claim(st.session_state["learner"], typed, personal, renewed, address=client_address())
        if renewed is not None:
            first = {} if personal else {renewing.FIRST: "yes"}
            renewing.lead(renewed, st.query_params.to_dict() | first)
            return
        if not personal:
            st.session_state[f"new here {practice_set.code}"] = True
        st.rerun()


def show_new_code(practice_set: StoredSet, member: Member) -> None:
    """The personal code, once, right after the name was taken."""
    if st.query_params.pop(renewing.FIRST, ""):
        st.session_state[f"new here {practice_set.code}"] = True
    if st.session_state.get(f"new here {practice_set.code}"):
        code = Claims(store(), practice_set).personal_code(member)
        st.info(
            f"Write down your personal code: **{code}**. On another device, type your name and this code, and your "
            "work is there too. Show it to nobody.",
            icon="✏",
        )
        if st.button("I have written it down"):
            del st.session_state[f"new here {practice_set.code}"]
            st.rerun()


def show_who(practice_set: StoredSet, member: Member) -> None:
    """Who the learner is here, the personal code when it is asked for, and the way out."""
    claims = Claims(store(), practice_set)
    with st.expander(showing.plain(f"You are {member.name or member.number}")):
        if st.button("Show my personal code"):
            code = claims.personal_code(member)
            st.markdown(f"Your personal code is **{code}**. It lets you in on another device. Show it to nobody.")
        st.markdown("Not you, or is somebody else to work here? Your name stays yours, and all your work is kept.")
        if st.button("Leave this name on this device"):
            renewed = renewed_token()
            with faults_in_words():
                claims.leave(st.session_state["learner"], renewed)
                st.session_state.pop(SHEET, None)
                st.session_state.pop(f"new here {practice_set.code}", None)
                if renewed is not None:
                    renewing.lead(renewed, {"set": practice_set.code})
                    st.stop()
                st.switch_page(HERE, query_params={"set": practice_set.code})
