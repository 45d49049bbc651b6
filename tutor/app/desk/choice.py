"""Which class and which of its sets the desk is turned to, and what comes next with them."""

from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlsplit

import streamlit as st

from tutor.app.config import Settings, settings
from tutor.app.desk.instructor import Chosen, InstructorSession, pick
from tutor.classroom.addresses import is_of_this_computer_alone
from tutor.classroom.models import StoredSet
from tutor.classroom.roster.register import USUAL_CLASS
from tutor.classroom.sheets.name_cards import link as link_from

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
    sets_by_id = {stored.id: stored for stored in reversed(instructor.register.sets(class_name))}
    if not sets_by_id:
        return Chosen(class_name, None)
    moment = datetime.now(UTC)
    names = {id_: f"{stored.declaration.title} ({STATES[stored.state(moment)]})" for id_, stored in sets_by_id.items()}
    set_id = pick("Practice set", names, "desk set", right if len(classes) > 1 else left)
    return Chosen(class_name, sets_by_id[set_id])


def next_step(instructor: InstructorSession, chosen: Chosen) -> None:
    """Say what comes next, as long as the class has not begun."""
    members = instructor.register.members(chosen.class_name)
    if chosen.practice_set is None:
        words = (
            "Next: make a practice set below" if st.session_state.get("tab", "Sets") == "Sets" else "Next: make a set"
        )
        st.info(f"{words}. Then put your learners on the roster and hand out the link.", icon="➡")
    elif not members:
        st.info("Next: put your learners on the roster, in the tab 'Roster'. Then hand out the link.", icon="➡")
    elif chosen.practice_set.state(datetime.now(UTC)) != "closed" and not _has_begun(instructor, chosen.practice_set):
        if address := link(chosen.practice_set):
            words = f"hand out the link, or write the code on the board: **{chosen.practice_set.code}** at `{address}`"
        else:
            words = f"open the set on this computer with the code **{chosen.practice_set.code}**"
        slips = " Each learner also needs a slip from the tab 'Roster'." if wants_slips(chosen.practice_set) else ""
        st.info(f"Next: {words}. Or print the sheets.{slips}", icon="➡")


def wants_slips(practice_set: StoredSet) -> bool:
    """Whether learners need their personal code to come in."""
    return practice_set.declaration.claim_with == "personal code"


def _has_begun(instructor: InstructorSession, practice_set: StoredSet) -> bool:
    return bool(instructor.register.claimed(practice_set.class_name)) or any(
        learner.begun for learner in instructor.results(practice_set).who_is_where()
    )


def link(practice_set: StoredSet) -> str:
    """The address that a learner opens on a device of their own; '' if there is none."""
    origin = origin_of_links()
    return link_from(practice_set, origin) if origin else ""


def origin_of_links() -> str:
    """The origin of the links for learners; '' where there is none that leads anywhere."""
    return origin_for_learners(settings(), _desk_origin())


def link_here(practice_set: StoredSet) -> str:
    """The address that opens on this computer."""
    return link_from(practice_set, _desk_origin())


def origin_for_learners(started: Settings, desk_origin: str) -> str:
    """Where learners' devices reach the tutor: as it was named, else as the desk was opened, else as it was started."""
    return started.named or ("" if is_of_this_computer_alone(desk_origin) else desk_origin) or started.served


def _desk_origin() -> str:
    """The origin under which the desk was opened; '' if the browser does not say."""
    url = urlsplit(st.context.url or "")
    return f"{url.scheme}://{url.netloc}" if url.netloc else ""
