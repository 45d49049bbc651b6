"""Guessing at names and at the passphrase over the wire, by clients without a browser, from several addresses.

Each is a connection of its own that shows no cookie, as an attacker's program would; X-Forwarded-For stands for the
front proxy on this machine, whose name the server was started with.
"""

from contextlib import closing

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect

from tutor.classroom.claims import NO_MATCH
from tutor.classroom.desk import Desk
from tutor.classroom.register import Register
from tutor.classroom.tries import NAMES
from tutor.store.database import Store

pytestmark = pytest.mark.browser

SCHOOL, HOME, THIEF = "198.51.100.7", "192.0.2.4", "203.0.113.9"  # addresses for documentation (RFC 5737)
NAME, CODE, PASSPHRASE = (
    "Your name or number, as on the class list",
    "Your personal code",
    "Passphrase, or a one-time code",
)


class Client:
    """A page's session from an address; `said` is what the page told in its last run."""

    def __init__(self, server, address, page, query=""):
        self._page, self._query, self._widgets = page, query, {}
        self._socket = connect(
            server.address.replace("http", "ws") + "/_stcore/stream",
            subprotocols=["streamlit"],
            additional_headers={"X-Forwarded-For": address},
            max_size=None,
            open_timeout=60,
        )
        self.close = self._socket.close
        self._run(BackMsg())

    def fill(self, typed, button):
        """Type texts into boxes by their labels and press a button; gives what is said then."""
        message = BackMsg()
        widgets = message.rerun_script.widget_states.widgets
        for label, text in typed.items():
            widgets.add(id=self._widgets[label], string_value=text)
        widgets.add(id=self._widgets[button], trigger_value=True)
        self._run(message)
        return self.said.replace("\\", "")  # what keeps Markdown from reading it

    def _run(self, message):
        message.rerun_script.page_name, message.rerun_script.query_string = self._page, self._query
        self._socket.send(message.SerializeToString())
        self.said, ended = "", False
        while not ended:
            got = ForwardMsg.FromString(self._socket.recv(timeout=60))
            ended = got.WhichOneof("type") == "script_finished" and got.script_finished != 2  # not for a rerun at once
            element = got.delta.new_element
            for part in (element.button, element.text_input):
                self._widgets[part.label] = part.id
            self.said += element.alert.body + element.markdown.body + element.heading.body + "\n"


def names(server, of, address, name, code=""):
    """What somebody at an address is told who types a name and a code."""
    with closing(Client(server, address, "class-work", f"set={of.code}")) as client:
        return client.fill({NAME: name, CODE: code}, "That is me")


def desk(server, address, passphrase):
    """What somebody at an address is told who types a passphrase."""
    with closing(Client(server, address, "class-desk")) as client:
        return client.fill({PASSPHRASE: passphrase}, "Enter the desk")


@pytest.fixture
def codes(own_server, own_school):
    with closing(Store.open(own_server.store)) as store:
        return list(Register(store).personal_codes().values())


def claimed(server):
    with closing(Store.open(server.store)) as store:
        return len(Register(store).claimed())


def test_who_has_the_sets_code_takes_no_name_and_soon_waits_and_the_class_comes_in(own_server, own_school, codes):
    of, members = own_school.of, own_school.members
    told = [names(own_server, of, THIEF, members[at % 3].name) for at in range(NAMES.free_of_address + 4)]
    assert all(NO_MATCH in one for one in told[: NAMES.free_of_address + 1])
    assert any("Too many tries" in one for one in told[NAMES.free_of_address :])
    assert claimed(own_server) == 0
    for member, code in zip(members, codes, strict=True):
        assert "Problem 1 of 4" in names(own_server, of, SCHOOL, member.name, code)
    assert claimed(own_server) == 3


def test_a_strangers_wrong_passphrases_keep_no_instructor_out(own_server, own_school):
    assert "This is not the passphrase." in desk(own_server, THIEF, "not this")
    own_school.wrong_passphrases(own_server.store, 5, THIEF)
    assert "wrong try just now" in desk(own_server, THIEF, "nor this")
    assert "Next: " in desk(own_server, SCHOOL, own_school.passphrase)
    assert "wrong try just now" in desk(own_server, THIEF, own_school.passphrase)
    with closing(Store.open(own_server.store)) as store:
        code = Desk(store).new_entry_code()
    assert "Next: " in desk(own_server, THIEF, code)
    assert "Next: " not in desk(own_server, HOME, code)
