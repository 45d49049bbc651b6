"""Which class and which of its sets the desk is turned to, and what comes next with them."""

from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlsplit

import streamlit as st

from tutor.app.config import Settings, settings
from tutor.app.desk.instructor import Chosen, InstructorSession, pick
from tutor.classroom.addresses import is_of_this_computer_alone
from tutor.classroom.models import StoredSet
from tutor.classroom.register import USUAL_CLASS
from tutor.classroom.sheets.slips import link as link_from

_GO = "desk go"
NO_ADDRESS = (
    "Learners' devices can't open this tutor, so sheets and slips have no address. To change that, stop the tutor. "
    "Start it with this computer's network address, as in `coldmorning --listen 192.0.2.20`. "
    "If learners open another address, give that one too: `--address https://class.example`."
)
STATES = {"not yet": "not open yet", "open": "open", "closed": "closed"}


def turn_to(tab: str, class_name: str | None = None, set_id: int | None = None, *, another: bool | None = None) -> None:
    """Show a tab, and another class and set if they are named; `another`: with the form for a further set?"""
    wanted: dict[str, Any] = {"tab": tab, "desk class": class_name, "desk set": set_id, "desk another set": another}
    st.session_state[_GO] = {name: value for name, value in wanted.items() if value is not None}
    st.rerun()


def choose(instructor: InstructorSession) -> Chosen:
    """Let the instructor choose; a class or a set without others is not asked about."""
    st.session_state.update(st.session_state.pop(_GO, {}))
    classes = instructor.register.classes()[::-1] or [USUAL_CLASS]
    left, right = st.columns(2)
    class_name = classes[0]
    if len(classes) > 1:
        class_name = pick("Class", {name: name for name in classes}, "desk class", left)
    found = {one.id: one for one in reversed(instructor.register.sets(class_name))}
    if not found:
        return Chosen(class_name, None)
    now = datetime.now(UTC)
    names = {id_: f"{one.declaration.title} ({STATES[one.state(now)]})" for id_, one in found.items()}
    set_id = pick("Practice set", names, "desk set", right if len(classes) > 1 else left)
    return Chosen(class_name, found[set_id])


def next_step(instructor: InstructorSession, chosen: Chosen) -> None:
    """Say what comes next, as long as the class has not begun."""
    members = instructor.register.members(chosen.class_name)
    if chosen.of is None:
        told = (
            "Next: make a practice set below" if st.session_state.get("tab", "Sets") == "Sets" else "Next: make a set"
        )
        st.info(f"{told}. Then put your learners on the roster and hand out the link.", icon="➡")
    elif not members:
        st.info("Next: put your learners on the roster, in the tab 'Roster'. Then hand out the link.", icon="➡")
    elif chosen.of.state(datetime.now(UTC)) != "closed" and not _has_begun(instructor, chosen.of):
        if address := link(chosen.of):
            told = f"hand out the link, or write the code on the board: **{chosen.of.code}** at `{address}`"
        else:
            told = f"open the set on this computer with the code **{chosen.of.code}**"
        slips = " Each learner also needs a slip from the tab 'Roster'." if wants_slips(chosen.of) else ""
        st.info(f"Next: {told}. Or print the sheets.{slips}", icon="➡")


def wants_slips(of: StoredSet) -> bool:
    """Whether learners need their personal code to come in."""
    return of.declaration.claim_with == "personal code"


def _has_begun(instructor: InstructorSession, of: StoredSet) -> bool:
    return bool(instructor.register.claimed(of.class_name)) or any(
        one.begun for one in instructor.results(of).who_is_where()
    )


def link(of: StoredSet) -> str:
    """The address that a learner opens on a device of their own; '' if there is none."""
    origin = origin_of_links()
    return link_from(of, origin) if origin else ""


def origin_of_links() -> str:
    """The origin of the links for learners; '' where there is none that leads anywhere."""
    return origin_for_learners(settings(), _here())


def link_here(of: StoredSet) -> str:
    """The address that opens on this computer."""
    return link_from(of, _here())


def origin_for_learners(started: Settings, here: str) -> str:
    """Where learners' devices reach the tutor: as it was named, else as the desk was opened, else as it was started."""
    return started.named or ("" if is_of_this_computer_alone(here) else here) or started.served


def _here() -> str:
    """The origin under which the desk was opened; '' if the browser does not say."""
    here = urlsplit(st.context.url or "")
    return f"{here.scheme}://{here.netloc}" if here.netloc else ""
