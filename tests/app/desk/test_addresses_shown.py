"""What the desk says, and puts on slips, where learners' devices cannot open the tutor and where they can."""

from contextlib import closing

import pytest
from streamlit.testing.v1 import AppTest

from tutor.app import config, session
from tutor.classroom.desk import InstructorAuth
from tutor.classroom.models import Member, PracticeSet
from tutor.classroom.roster.register import Register
from tutor.store.database import Store

PASSPHRASE = "four words before dawn"


def tab(name, token):
    """A page with one tab of the desk; Streamlit runs its text apart from this file."""
    import importlib

    from tutor.app.desk.instructor import Chosen, InstructorSession

    instructor = InstructorSession(token)
    importlib.import_module(f"tutor.app.desk.{name}").show(instructor, Chosen("class", instructor.register.sets()[0]))


@pytest.fixture
def shown(tmp_path, monkeypatch):
    """shown(tab, **settings): that tab of a desk whose server was started in that way."""
    address = str(tmp_path / "store.sqlite3")
    with closing(Store.open(address)) as store:
        InstructorAuth(store).set_passphrase(PASSPHRASE)
        token = InstructorAuth(store).enter(PASSPHRASE)
        register = Register(store)
        register.enter([Member(id=0, name="Ana")])
        register.open_set(PracticeSet(id="a-set", title="A set", items=[{"exercise": "most-modules-in-series"}]))

    def shown(name, **settings):
        monkeypatch.setattr(config, "_settings", config.Settings(store=address, **settings))
        session.store.cache_clear()
        app = AppTest.from_function(tab, default_timeout=60, kwargs={"name": name, "token": token}).run()
        assert not app.exception
        return app

    yield shown
    session.store().close()
    session.store.cache_clear()


def captions(app):
    return " ".join(one.value for one in app.caption)


@pytest.mark.parametrize("name", ["sets", "sheets", "roster"])
def test_that_no_device_of_a_learner_can_open_it_is_said_on_the_desk(shown, name):
    told = captions(shown(name))
    assert "Learners' devices can't open this tutor, so sheets and slips have no address." in told
    assert "`coldmorning --listen 192.0.2.20`" in told
    for settings in ({"served": "http://192.0.2.20:8765"}, {"named": "https://school.example"}):
        assert "no address" not in captions(shown(name, **settings))


def test_the_link_of_a_set_is_the_address_that_learners_open_to_the_letter(shown):
    for settings, origin in (
        ({"served": "http://192.0.2.20:8765"}, "http://192.0.2.20:8765"),
        ({"named": "https://school.example", "served": "http://192.0.2.20:8765"}, "https://school.example"),
    ):
        code, link = (one.value for one in shown("sets", **settings).code)
        assert link == f"{origin}/class-work?set={code}"
