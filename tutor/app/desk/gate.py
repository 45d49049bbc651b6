"""The way into the desk, and out of it.

The session's token lives in this tab's session on the server and nowhere in the browser. A page's script cannot set a
cookie, and one set by another way would be read only when the tab connects again; and at a desk that learners come to,
closing the tab should shut it. So a reload asks for the passphrase again.
"""

from datetime import UTC, datetime

import streamlit as st

from tutor.app import session
from tutor.app.components.showing import plain
from tutor.app.desk import login
from tutor.app.desk.instructor import InstructorSession
from tutor.classroom.desk import FEWEST_CHARACTERS, MOST_CHARACTERS, DeskError, InstructorAuth

_TOKEN = "desk session"
_TOLD = "desk told"


def enter() -> InstructorSession | None:
    """The instructor if this tab's session is inside; else the way in is shown."""
    desk = InstructorAuth(session.store(), st.session_state["learner"], session.client_address())
    token = st.session_state.get(_TOKEN, "")
    if desk.is_inside(token):
        return InstructorSession(token)
    st.title("Class desk", anchor=False)
    _forget_the_desk()
    message = st.session_state.pop(_TOLD, "Your time at the desk has ended. Enter again." if token else "")
    if message:
        st.info(message)
    st.markdown("For instructors: practice sets for a class, who is where, marking, and what the class misunderstands.")
    if login.is_configured():
        _by_login(desk)
    elif desk.has_passphrase():
        _by_passphrase(desk)
    else:
        _first_passphrase(desk)
    return None


def leave(instructor: InstructorSession) -> None:
    """End the session and forget what the desk held; with a login, that ends too."""
    instructor.leave()
    _forget_the_desk()
    st.session_state[_TOLD] = "You have left the desk."
    if login.is_configured() and st.user.get("is_logged_in"):
        user = st.user.to_dict()
        InstructorAuth(session.store()).end_login(login.key(user), login.since(user))
        st.logout()
        st.stop()  # a run begun now would drop the message that leads the browser to the logout
    st.rerun()


def _forget_the_desk() -> None:
    """Drop all that the desk's parts keep for this tab; their names begin with 'desk'."""
    for name in [name for name in st.session_state if str(name).startswith("desk") and name != _TOLD]:
        del st.session_state[name]


def _begin(token: str) -> None:
    st.session_state[_TOKEN] = token
    st.rerun()


def _by_passphrase(desk: InstructorAuth) -> None:
    with st.form("enter", border=False):
        typed = st.text_input("Passphrase", type="password", max_chars=MOST_CHARACTERS, autocomplete="current-password")
        sent = st.form_submit_button("Enter the desk", type="primary")
    st.caption(
        "The passphrase is asked for again after 12 hours, when you leave, and when this tab is closed or reloaded. "
        "Forgotten? Who has the server's shell sets another with: coldmorning passphrase. "
        "If other people's wrong tries make you wait, print a one-time code there and type it here instead: "
        "coldmorning desk-code"
    )
    if sent:
        try:
            _begin(desk.enter(typed))
        except DeskError as error:
            st.error(plain(str(error)))


def _first_passphrase(desk: InstructorAuth) -> None:
    st.markdown(
        "The desk has no passphrase yet. The server printed a set-up code in its terminal when it started: type it "
        "here, and choose the passphrase with which you will enter from now on."
    )
    with st.form("set up", border=False):
        code = st.text_input("Set-up code", max_chars=40, autocomplete="off")
        typed = st.text_input(
            f"New passphrase (at least {FEWEST_CHARACTERS} characters, such as four words)",
            type="password",
            max_chars=MOST_CHARACTERS,
            autocomplete="new-password",
        )
        repeated = st.text_input(
            "The same passphrase again", type="password", max_chars=MOST_CHARACTERS, autocomplete="new-password"
        )
        sent = st.form_submit_button("Set the passphrase and enter", type="primary")
    if sent and typed != repeated:
        st.error("The two passphrases differ. Type the same one twice.")
    elif sent:
        try:
            _begin(desk.set_first(typed, code))
        except DeskError as error:
            st.error(plain(str(error)))


def _by_login(desk: InstructorAuth) -> None:
    if not st.user.get("is_logged_in"):
        if st.button("Enter with your school login", type="primary"):
            st.login()
        st.caption("The login leads back to the start page; open 'Class desk' in the menu then.")
        return
    user = st.user.to_dict()
    reason = login.why_not(user, login.allowed_emails(), datetime.now(UTC))
    if not reason and desk.has_left(login.key(user)):
        reason = "You have left the desk with this login. Log out, and log in again."
    if not reason:
        _begin(desk.begin_for_owner(login.since(user)))
    st.error(plain(reason))
    if st.button("Log out", type="primary"):
        st.logout()
