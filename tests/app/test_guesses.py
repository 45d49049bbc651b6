"""Guessing at names and at the passphrase over the wire, from several addresses.

Each try is a connection of its own that shows no cookie, as an attacker's program would make it; X-Forwarded-For stands
for the front proxy on this machine, whose name the server was started with.
"""

from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta

import pytest

from tutor.classroom.desk import DeskError, InstructorAuth
from tutor.classroom.models import Member, PracticeSet
from tutor.classroom.roster.claims import NO_MATCH
from tutor.classroom.roster.register import Register
from tutor.classroom.roster.tries import NAMES
from tutor.store.database import Store

SCHOOL, HOME, THIEF = "198.51.100.7", "192.0.2.4", "203.0.113.9"  # addresses for documentation (RFC 5737)
PASSPHRASE = "four words before dawn"


@pytest.fixture
def store(attacked):
    with closing(Store.open(attacked.store)) as store:
        yield store


@pytest.fixture
def told(tab):
    """told(address, page, query, button, boxes): what a page says to somebody who fills its boxes, by their labels."""

    def told(address, page, query, button, boxes):
        one = tab(page, query, token=None, forwarded=address)
        ids = {part.label: part.id for kind in ("text_input", "button") for part in one.elements(kind)}
        one.received.clear()
        one.run({**{ids[label]: text for label, text in boxes.items()}, ids[button]: True})
        said = [part.body for kind in ("alert", "markdown", "heading") for part in one.elements(kind)]
        said += [part.label for part in one.elements("button")]
        one.close()
        return "\n".join(said).replace("\\", "")  # what keeps Markdown from reading it

    return told


@pytest.mark.long
def test_who_has_the_sets_code_takes_no_name_and_soon_waits_and_the_class_comes_in(store, told):
    register = Register(store)
    members = register.enter([Member(id=0, name=name) for name in ("Ana", "Bo", "Čeda")]).new
    of = register.open_set(PracticeSet(id="a-set", title="A set", items=[{"exercise": "most-modules-in-series"}]))
    codes = register.personal_codes()

    def claim(address, name, code=""):
        boxes = {"Your name or number, as on the class list": name, "Your personal code": code}
        return told(address, "class-work", f"set={of.code}", "That is me", boxes)

    tries = [claim(THIEF, members[at % 3].name) for at in range(NAMES.free_of_address + 4)]
    assert all(NO_MATCH in one for one in tries[: NAMES.free_of_address + 1])
    assert any("Too many tries" in one for one in tries[NAMES.free_of_address :])
    assert register.claimed() == {}
    for one in members:
        assert "Problem 1 of 1" in claim(SCHOOL, one.name, codes[one.id])
    assert len(register.claimed()) == 3


def test_a_strangers_wrong_passphrases_keep_no_instructor_out(store, told):
    def enter(address, typed):
        return told(address, "class-desk", "", "Enter the desk", {"Passphrase": typed})

    assert "This is not the passphrase." in enter(THIEF, "not this")
    later = datetime.now(UTC) + timedelta(seconds=1)
    for tries in range(5):  # each as soon as the one before lets it be looked at
        with suppress(DeskError):
            InstructorAuth(store, address=THIEF).enter("nor this", later)
        later += timedelta(seconds=2 ** (tries + 1))
    assert "wrong try just now" in enter(THIEF, "nor that")
    assert "Leave the desk" in enter(SCHOOL, PASSPHRASE)
    assert "wrong try just now" in enter(THIEF, PASSPHRASE)
    code = InstructorAuth(store).new_entry_code()
    assert "Leave the desk" in enter(THIEF, code)
    assert "Leave the desk" not in enter(HOME, code)
