"""The roster: read from a spreadsheet, added to by hand, names released, learners erased, personal codes printed."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain
from tutor.app.desk.choice import NO_ADDRESS, origin_of_links
from tutor.app.desk.instructor import Chosen, InstructorSession, confirmed, pick
from tutor.app.server.uploads import DESK, upload
from tutor.base.text import counted
from tutor.classroom.models import Member
from tutor.classroom.roster.names import called
from tutor.classroom.roster.register import LONGEST_NAME, Entered
from tutor.classroom.roster.tables import Roster, read_roster
from tutor.classroom.spreadsheet import Fault
from tutor.operations import exports, people

_TOLD = "desk roster told"
_UPLOAD = "desk roster upload"
SHOWN_FAULTS = 50


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """Who is on the roster, and below it the ways to change it."""
    st.header("Roster", anchor=False)
    if words := st.session_state.pop(_TOLD, ""):
        st.success(plain(words), icon="✔")
    members = instructor.register.members(chosen.class_name)
    if members:
        _listed(instructor, chosen, members)
    else:
        st.markdown(
            "Nobody is on the roster yet. A learner can open the set only under a name or a number that stands here."
        )
    _from_file(instructor, chosen)
    _by_hand(instructor, chosen)
    if members:
        _one_learner(instructor, members)
        _everybody(instructor, chosen, len(members))


def _listed(instructor: InstructorSession, chosen: Chosen, members: list[Member]) -> None:
    claimed = instructor.register.claimed(chosen.class_name)
    zone = chosen.practice_set.declaration.zone if chosen.practice_set else "UTC"
    st.markdown(f"On the roster: {len(members)}. Of them {len(claimed)} have taken their name on a device.")
    codes = instructor.register.personal_codes(chosen.class_name)
    show_table([_row(member, codes[member.id], claimed.get(member.id), zone) for member in members])
    st.caption(
        "A learner types the personal code to claim the name, and again on a second device. If a set lets learners "
        "claim with the name alone, they need the code on a second device only."
    )
    practice_set, origin = chosen.practice_set, origin_of_links()
    if practice_set is None:
        return
    if not origin:
        st.caption(NO_ADDRESS)
    instructor.download(
        "Download the codes as slips to print",
        lambda: people.name_cards(instructor.store, practice_set, origin),
        f"{practice_set.declaration.id}-codes.html",
        "text/html",
    )


def _row(member: Member, code: str, claimed_at: datetime | None, zone: str) -> dict[str, str]:
    claim_time = f"{claimed_at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}" if claimed_at else "not yet"
    return {
        "Number": plain(member.number),
        "Name": plain(member.name),
        "Personal code": f"`{code}`",
        f"Name taken ({zone})": claim_time,
    }


def _from_file(instructor: InstructorSession, chosen: Chosen) -> None:
    st.subheader("From a spreadsheet", anchor=False)
    st.markdown(
        "Save the list as CSV. Its first row names the columns: **name** (or **first name** and **last name**), "
        "**number**, or both. You can correct a list and send it again as a whole: a learner who is on the roster "
        "already stays there, and a new name for the same number renames the learner."
    )
    number = st.session_state.setdefault(_UPLOAD, 0)
    key = f"desk roster file {chosen.class_name} {number}"
    file = upload("The roster as CSV", ["csv", "txt"], key, DESK)
    if file is None:
        return
    listed = read_roster(file[1])
    st.markdown(f"The file names **{counted(len(listed.members), 'learner')}**.")
    show_faults(_first_told(listed))
    if not listed.members:
        return
    st.markdown(f"**Preview changes.** {preview_told(instructor.register.preview(listed.members, chosen.class_name))}")
    if st.button(f"Put {counted(len(listed.members), 'learner')} on the roster", type="primary"):
        st.session_state[_TOLD] = entered_told(instructor.register.enter(listed.members, chosen.class_name))
        st.session_state[_UPLOAD] = number + 1
        st.rerun()


def _first_told(listed: Roster) -> list[Fault]:
    return sorted([*listed.faults, *listed.duplicates], key=lambda fault: fault.line)


def show_faults(faults: Sequence[Fault]) -> None:
    """The lines of a file that were left out, each with its reason."""
    if not faults:
        return
    listed = "\n".join(f"- {plain(str(fault))}" for fault in faults[:SHOWN_FAULTS])
    overflow = f"\n- and {len(faults) - SHOWN_FAULTS} more" if len(faults) > SHOWN_FAULTS else ""
    lines = counted(len(faults), "line has", "lines have")
    st.warning(f"**{lines} to be looked at.**\n\n{listed}{overflow}", icon="⚠")


def preview_told(entered: Entered) -> str:
    """What a roster would change, as sentences."""
    words = f"{counted(len(entered.new), 'new learner')}; {len(entered.present)} on the roster already."
    if entered.renamed:
        names = "; ".join(plain(called(member)) for member in entered.renamed[:SHOWN_FAULTS])
        overflow = "" if len(entered.renamed) <= SHOWN_FAULTS else f"; and {len(entered.renamed) - SHOWN_FAULTS} more"
        words += f" Renamed by the number: {names}{overflow}."
    return words


def entered_told(entered: Entered) -> str:
    """What became of a roster, as a sentence."""
    words = [counted(len(entered.new), "learner was added", "learners were added")]
    if entered.present:
        words.append(counted(len(entered.present), "was there already", "were there already"))
    if entered.renamed:
        words.append(f"{len(entered.renamed)} renamed by their number")
    return f"{', '.join(words)}."


def _releasing_told(member: Member) -> str:
    return (
        f"{called(member)} must type the set's code and the name again on each device. The personal code changes, so a "
        "slip that you have printed for this learner is no longer valid. Print the slips again."
    )


def _by_hand(instructor: InstructorSession, chosen: Chosen) -> None:
    st.subheader("One by hand", anchor=False)
    with st.form("add a learner", border=False, clear_on_submit=True):
        left, right = st.columns(2)
        name = left.text_input("Name", max_chars=LONGEST_NAME)
        number = right.text_input("Number (may be empty)", max_chars=LONGEST_NAME)
        sent = st.form_submit_button("Add this learner")
    if sent and not (name.strip() or number.strip()):
        st.warning("Type a name, a number, or both.")
    elif sent:
        member = Member(id=0, name=" ".join(name.split()), number=number.strip())
        st.session_state[_TOLD] = entered_told(instructor.register.enter([member], chosen.class_name))
        st.rerun()


def _one_learner(instructor: InstructorSession, members: list[Member]) -> None:
    st.subheader("One learner", anchor=False)
    by_id = {member.id: member for member in members}
    member = by_id[pick("Learner", {id_: called(candidate) for id_, candidate in by_id.items()}, "desk one")]
    instructor.download(
        "Download all that is kept about this learner",
        lambda: exports.person(instructor.store, member),
        f"learner-{member.id}.json",
        "application/json",
    )
    st.markdown("If somebody took the wrong name, release it. Then the right learner can take it. No work is lost.")
    if confirmed(
        "Release name", lambda: _releasing_told(member), "Release now", "Keep name", f"desk release {member.id}"
    ):
        people.release(instructor.store, member)
        st.session_state[_TOLD] = f"{called(member)} can be taken again on any device."
        st.rerun()
    with st.form("erase a learner", border=False, clear_on_submit=True):
        wanted = member.name or member.number
        typed = st.text_input(
            f"To erase all that is kept about this learner, type: {plain(wanted)}", max_chars=LONGEST_NAME
        )
        sent = st.form_submit_button("Erase for good")
    if sent and " ".join(typed.split()) == wanted:
        people.erase(instructor.store, member)
        st.session_state[_TOLD] = f"{called(member)} and all their answers were erased."
        st.rerun()
    elif sent:
        st.warning("Nothing was erased: what you typed is not the learner's name.")


def _everybody(instructor: InstructorSession, chosen: Chosen, members: int) -> None:
    st.subheader("All names", anchor=False)
    st.markdown("If somebody took names that are not theirs, release all names of the class. No work is lost.")
    key = f"desk release all {chosen.class_name}"

    def consequence() -> str:
        claimed = len(instructor.register.claimed(chosen.class_name))
        return (
            f"{counted(claimed, 'name is', 'names are')} in use. Every learner must claim the name again. The personal "
            f"codes of all {counted(members, 'learner')} change, so slips and sheets that you have printed are no "
            "longer valid. Print them again."
        )

    if confirmed("Release all names", consequence, "Release all now", "Keep names", key):
        released = instructor.register.release_all(chosen.class_name)
        st.session_state[_TOLD] = (
            f"{counted(released, 'name was', 'names were')} released. All personal codes changed. "
            "Print the slips again."
        )
        st.rerun()
