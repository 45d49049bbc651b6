"""Whose a session is: a client that knows its id, as a proxy's log tells it, gets nothing of it without its cookie.

The attacker speaks the browser's own protocol by hand: the third entry of Sec-WebSocket-Protocol names the session.
"""

import http.client
import time
from contextlib import ExitStack, closing, contextmanager
from urllib.parse import urlsplit

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from websockets.sync.client import connect

from tutor.app.middleware import COOKIE
from tutor.learner.tokens import Tokens
from tutor.store.database import Store

pytestmark = pytest.mark.browser

PATIENCE = 60.0  # seconds


class Client:
    """A browser's connection without a browser: it runs pages, presses and types, and keeps all that it is sent."""

    def __init__(self, server, cookie: str = "", session: str = "", **headers: str) -> None:
        sent = {"Cookie": f"{COOKIE}={cookie}", **headers} if cookie else headers
        protocols = ["streamlit", "none", session] if session else ["streamlit"]
        address = server.address.replace("http", "ws") + "/_stcore/stream"
        self._open = ExitStack()
        dialled = connect(address, subprotocols=protocols, additional_headers=sent, max_size=None)
        self.socket = self._open.enter_context(dialled)
        self.close = self._open.close
        self.session, self.received, self.widgets, self.led = "", b"", {}, []
        self.states: dict[str, WidgetState] = {}

    def run(self, page: str = "", query: str = "", fragment: str = "") -> "Client":
        """Ask for a page, and wait until its run is over."""
        asked = BackMsg()
        asked.rerun_script.query_string = query
        asked.rerun_script.page_name = page
        asked.rerun_script.fragment_id = fragment
        asked.rerun_script.widget_states.widgets.extend(self.states.values())
        self.received = b""
        self.socket.send(asked.SerializeToString())
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline:
            payload = self.socket.recv(timeout=PATIENCE)
            self.received += payload
            if self.keep(ForwardMsg.FromString(payload)) == "script_finished":
                return self
        raise AssertionError("The page's run does not end.")

    def keep(self, message: ForwardMsg) -> str:
        kind = str(message.WhichOneof("type"))
        if kind == "new_session":
            self.session = message.new_session.initialize.session_id
        elif kind == "auth_redirect":
            self.led.append(message.auth_redirect.url)
        elif kind == "delta":
            element = message.delta.new_element
            for part in (element.button, element.text_input):
                if part.id:
                    self.widgets[part.label] = part.id
        return kind

    def type(self, label: str, text: str) -> "Client":
        self.states[label] = WidgetState(id=self.widgets[label], string_value=text)
        return self

    def press(self, label: str, page: str = "", query: str = "") -> "Client":
        self.states[label] = WidgetState(id=self.widgets[label], trigger_value=True)
        self.run(page, query)
        del self.states[label]
        return self

    def says(self, *words: str) -> list[str]:
        """Which of some words were sent in the last run."""
        return [word for word in words if word.encode() in self.received]


@contextmanager
def client(*args, **how):
    made = Client(*args, **how)
    with closing(made):
        yield made


def issued(server) -> str:
    """A cookie as the server gives it to a browser that opens a page."""
    with closing(Store.open(server.store)) as store:
        return Tokens(store).issue()


def ask(server, method: str, path: str, cookie: str = "", body: bytes | None = None, **headers: str):
    connection = http.client.HTTPConnection(urlsplit(server.address).netloc, timeout=30)
    if cookie:
        headers["Cookie"] = "; ".join(filter(None, [f"{COOKIE}={cookie}", headers.get("Cookie")]))
    connection.request(method, path, body, headers)
    answer = connection.getresponse()
    answer.read()
    return answer


DESK = ("Leave the desk",)


@pytest.fixture(scope="module")
def school(make_school):
    school = make_school("sessions")
    school.answers(right=1, wrong=0)
    return school


def at_the_desk(server, school, cookie):
    """An instructor's connection, inside."""
    instructor = Client(server, cookie).run("class-desk")
    instructor.type("Passphrase", school.passphrase).press("Enter the desk", "class-desk")
    instructor.states.clear()
    instructor.run("class-desk")
    assert instructor.says(*DESK, school.class_name) == [*DESK, school.class_name]
    return instructor


@pytest.mark.parametrize("connected", [True, False])
@pytest.mark.parametrize("who", ["nobody", "another learner"])
def test_a_session_id_opens_no_desk(server, school, who, connected):
    """Neither while the instructor is connected nor in the minutes after; and the instructor does not notice."""
    instructor = at_the_desk(server, school, cookie := issued(server))
    if not connected:
        instructor.close()
        time.sleep(0.5)
    with client(server, issued(server) if who == "another learner" else "", instructor.session) as thief:
        thief.run("class-desk")
        assert thief.says(*DESK, school.class_name) == []
        assert thief.says("Passphrase") == ["Passphrase"]
        assert thief.session != instructor.session
    if connected:
        assert instructor.run("class-desk").says(*DESK) == [*DESK]
        instructor.close()
    with client(server, cookie, instructor.session) as again:  # as a laptop that slept
        assert again.run("class-desk").says(*DESK, school.class_name) == [*DESK, school.class_name]
        assert again.session == instructor.session


def test_a_forged_name_of_the_browser_opens_nothing(server, school):
    """The header by which the server itself names the browser counts from nobody else."""
    from tutor.app.middleware import BROWSER
    from tutor.learner.record import hash_of

    instructor = at_the_desk(server, school, cookie := issued(server))
    with client(server, "", instructor.session, **{BROWSER: hash_of(cookie)}) as thief:
        assert thief.run("class-desk").says(*DESK, school.class_name) == []
    instructor.close()
