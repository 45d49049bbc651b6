"""The desk says how names are claimed, changes it, and releases all names after a question."""

import pytest
from streamlit.testing.v1 import AppTest

from tutor.app import session
from tutor.classroom.desk import InstructorAuth
from tutor.classroom.models import Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.learner.record import new_token


def tab(name, token):
    """A page with one tab of the desk; Streamlit runs its text apart from this file."""
    import importlib

    from tutor.app.desk.instructor import Chosen, InstructorSession

    instructor = InstructorSession(token)
    importlib.import_module(f"tutor.app.desk.{name}").show(instructor, Chosen("class", instructor.register.sets()[0]))


@pytest.fixture
def register(pages_store):
    """A class of three with a set, in which Ana and Bo have taken their names."""
    register = Register(session.store())
    members = register.enter([Member(id=0, name=name) for name in ("Ana", "Bo", "Čeda")]).new
    of = register.open_set(PracticeSet(id="a-set", title="A set", items=[{"exercise": "most-modules-in-series"}]))
    for one in members[:2]:
        Claims(session.store(), of).claim(new_token(), one.name, register.personal_codes()[one.id])
    return register


@pytest.fixture
def show(register):
    """show(tab): that tab of the desk, from within."""
    desk = InstructorAuth(session.store())
    desk.set_passphrase("four words before dawn")
    token = desk.enter("four words before dawn")
    return lambda name: AppTest.from_function(tab, default_timeout=60, kwargs={"name": name, "token": token}).run()


def press(app, label):
    next(one for one in app.button if one.label == label).click()
    app.run()
    assert not app.exception


def test_all_names_are_released_only_after_it_was_said_how_many(register, show):
    app, before = show("roster"), register.personal_codes()
    press(app, "Release all names")
    (told,) = (one.value.replace("\\", "") for one in app.warning)
    assert "2 names are in use." in told
    assert "codes of all 3 learners change" in told
    press(app, "Keep names")
    assert (len(register.claimed()), register.personal_codes()) == (2, before)
    press(app, "Release all names")
    press(app, "Release all now")
    assert [one.value.replace("\\", "") for one in app.success] == [
        "2 names were released. All personal codes changed. Print the slips again."
    ]
    assert register.claimed() == {}
    assert not set(register.personal_codes().values()) & set(before.values())


def test_how_names_are_claimed_is_shown_and_changed(register, show):
    app = show("sets")
    box = next(one for one in app.selectbox if one.label == "Learners claim their name with")
    assert box.value == "personal code"
    assert any("anyone who has the set's code can claim a free name" in one.value for one in app.caption)
    box.select("name alone").run()
    assert not app.exception
    assert register.sets()[0].declaration.claim_with == "name alone"
