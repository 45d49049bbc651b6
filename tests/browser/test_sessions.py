"""Whose a session is: a client that knows its id, as a proxy's log tells it, gets nothing of it without its cookie.

The attacker speaks the browser's own protocol by hand: the third entry of Sec-WebSocket-Protocol names the session.
"""

import http.client
import json
import re
import time
from contextlib import ExitStack, closing, contextmanager
from urllib.parse import urlsplit

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from websockets.sync.client import connect

from tutor.app.server.middleware import BROWSER, COOKIE
from tutor.learner.record import Attempt, Record, hash_of, new_token
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
    school = make_school("sessions", claim_with="name alone")
    school.answers(right=1, wrong=0)
    return school


def comes_back(server, cookie, session, page, query, words) -> bool:
    """As a laptop that slept: to its own session. A server that has not noticed yet that it went begins another one."""
    with client(server, cookie, session) as again:
        return again.run(page, query).says(*words) == words and again.session == session


def at_the_desk(server, school, cookie):
    """An instructor's connection, inside."""
    instructor = Client(server, cookie).run("class-desk")
    instructor.type("Passphrase", school.passphrase).press("Enter the desk", "class-desk")
    instructor.states.clear()
    instructor.run("class-desk")
    assert instructor.says(*DESK, school.class_name) == [*DESK, school.class_name]
    return instructor


@pytest.mark.one_in(2)
@pytest.mark.parametrize("connected", [True, False])
@pytest.mark.parametrize("who", ["nobody", "another learner"])
def test_a_session_id_opens_no_desk(server, school, wait_until, who, connected):
    """Neither while the instructor is connected nor in the minutes after; and the instructor does not notice."""
    instructor = at_the_desk(server, school, cookie := issued(server))
    if not connected:
        sockets = server.descriptors()
        instructor.close()
        assert wait_until(lambda: server.descriptors() < sockets)
    with client(server, issued(server) if who == "another learner" else "", instructor.session) as thief:
        thief.run("class-desk")
        assert thief.says(*DESK, school.class_name) == []
        assert thief.says("Passphrase") == ["Passphrase"]
        assert thief.session != instructor.session
    if connected:
        assert instructor.run("class-desk").says(*DESK) == [*DESK]
        instructor.close()
    assert wait_until(
        lambda: comes_back(server, cookie, instructor.session, "class-desk", "", [*DESK, school.class_name])
    )


def test_a_forged_name_of_the_browser_opens_nothing(server, school):
    """The header by which the server itself names the browser counts from nobody else."""
    instructor = at_the_desk(server, school, cookie := issued(server))
    with client(server, "", instructor.session, **{BROWSER: hash_of(cookie)}) as thief:
        assert thief.run("class-desk").says(*DESK, school.class_name) == []
    instructor.close()


def test_a_session_id_opens_no_learners_page(server, school, wait_until):
    """What Ana sees of her set goes to nobody else, whether a cookie comes along or not."""
    query = f"set={school.of.code}&place=1"
    mine = next(one.handed.code for one in school.outcomes() if one.handed.member == school.members[0])
    ana = Client(server, school.tokens[0]).run("class-work", query)
    assert ana.says(mine) == [mine]
    for cookie in ("", issued(server), "a" * 43):
        with client(server, cookie, ana.session) as thief:
            assert thief.run("class-work", query).says(mine, school.members[0].name) == []
    ana.close()
    assert wait_until(lambda: comes_back(server, school.tokens[0], ana.session, "class-work", query, [mine]))


def test_a_browser_without_cookies_keeps_its_session_while_connected_and_loses_it_to_nobody(server, school):
    with client(server) as someone:
        someone.run("class-work", f"set={school.of.code}")
        someone.type("Your name or number, as on the class list", school.members[2].name)
        someone.press("That is me", "class-work", f"set={school.of.code}")
        someone.states.clear()
        name, query = school.members[2].name, f"set={school.of.code}&place=1"
        assert someone.led == []  # a token that is in no cookie needs no renewal
        assert someone.run("class-work", query).says(name) == [name]
        with client(server, "", someone.session) as thief:
            assert thief.run("class-work", query).says(name) == []
            assert thief.session != someone.session
        assert someone.run("class-work", query).says(name) == [name]
    with client(server, "", someone.session) as thief:
        assert thief.run("class-work", query).says(name) == []


def multipart(text: bytes) -> tuple[bytes, str]:
    body = b'--edge\r\ncontent-disposition: form-data; name="f"; filename="f.txt"\r\n\r\n' + text + b"\r\n--edge--\r\n"
    return body, "multipart/form-data; boundary=edge"


def test_a_file_is_put_and_taken_away_by_the_sessions_own_browser_alone(server, wait_until):
    body, kind = multipart(b"V = 46")
    xsrf = next(
        value.split(";")[0].split("=", 1)[1]
        for name, value in ask(server, "GET", "/_stcore/health").getheaders()
        if name.lower() == "set-cookie" and value.startswith("_streamlit_xsrf")
    )
    with client(server, own := issued(server)) as someone:
        someone.run("working")
        path = f"/_stcore/upload_file/{someone.session}/0a0a"

        def send(method: str, cookie: str) -> int:
            told = {"Cookie": f"_streamlit_xsrf={xsrf}", "X-Xsrftoken": xsrf, "Content-Type": kind}
            return ask(server, method, path, cookie, body if method == "PUT" else None, **told).status

        for cookie in ("", issued(server), "a" * 43):
            assert {send("PUT", cookie), send("DELETE", cookie)} == {404}
        assert send("DELETE", own) == 204
    assert wait_until(lambda: {send("PUT", own), send("DELETE", own)} == {404})  # nobody shows that page any more


def test_a_download_of_ones_record_is_the_own_browsers_alone(server):
    practised(server, own := issued(server), "9")
    with client(server, own) as someone:
        someone.run("progress")
        (address,) = set(re.findall(rb"/coldmorning/download/[\w-]+", someone.received))
        told = [ask(server, "GET", address.decode(), cookie).status for cookie in ("", issued(server), "a" * 43, own)]
    assert told == [403, 403, 403, 200]


def cookie_of(answer) -> str | None:
    """The learner's cookie that an answer sets."""
    given = [value for name, value in answer.getheaders() if name.lower() == "set-cookie" and value.startswith(COOKIE)]
    return given[0].split(";")[0].split("=", 1)[1] if given else None


def entries(server, cookie: str) -> list[str | None]:
    with closing(Store.open(server.store)) as store:
        return [one.entry for one in Record(store, cookie).attempts()]


def practised(server, cookie: str, entry: str) -> None:
    told = {"exercise": "most-modules-in-series", "version": "1", "number": 1, "ask": "modules_in_series"}
    with closing(Store.open(server.store)) as store:
        Record(store, cookie).add(Attempt(**told, rulebook="us", entry=entry, verdict="right"))


def taken(server, school, cookie: str, name: str) -> str:
    """Take a name; gives the address to which the browser is led for its new token."""
    query = f"set={school.of.code}"
    with client(server, cookie) as someone:
        someone.run("class-work", query)
        someone.type("Your name or number, as on the class list", name).press("That is me", "class-work", query)
        (address,) = someone.led
        return address


def opens(server, school, cookie: str, name: str) -> bool:
    """Whether a cookie opens somebody's work."""
    with client(server, cookie) as someone:
        return bool(someone.run("class-work", f"set={school.of.code}").says(name))


def test_a_token_noted_before_or_during_a_claim_opens_nothing_afterwards(server, make_school):
    school = make_school("noted", names=["Eda Noted", "Fox Next"], claim_with="name alone")
    practised(server, noted_before := issued(server), "practised before")

    address = taken(server, school, noted_before, "Eda Noted")
    assert not opens(server, school, noted_before, "Eda Noted")  # from that moment, fetched or not
    for stranger in ("", issued(server), "a" * 43):
        assert cookie_of(ask(server, "GET", address, stranger)) is None
    answer = ask(server, "GET", address, noted_before)
    assert (answer.status, answer.getheader("cache-control")) == (303, "no-store")
    assert answer.getheader("location") == f"/class-work?set={school.of.code}&first=yes"
    during = cookie_of(answer)
    assert during.split(".")[1] not in address  # a log tells the handle, and not the signature
    assert cookie_of(ask(server, "GET", address, noted_before)) is None  # once
    assert opens(server, school, during, "Eda Noted")
    assert (entries(server, during), entries(server, noted_before)) == (["practised before"], [])

    with client(server, during) as eda:
        eda.run("class-work", f"set={school.of.code}&place=1")
        eda.press("Leave this name on this device", "class-work", f"set={school.of.code}&place=1")
        (address,) = eda.led
    after = cookie_of(ask(server, "GET", address, during))
    for token in (noted_before, during, after):
        assert not opens(server, school, token, "Eda Noted")

    nexts = cookie_of(ask(server, "GET", taken(server, school, after, "Fox Next"), after))
    assert opens(server, school, nexts, "Fox Next")
    for token in (noted_before, during, after):
        assert not opens(server, school, token, "Fox Next")
        assert draft(server, school, token) == 409
    assert draft(server, school, nexts) == 204


def draft(server, school, cookie: str) -> int:
    field = school.outcomes()[0].handed.ask
    body = json.dumps({"code": school.of.code, "place": 1, "field": field, "text": "46"}).encode()
    return ask(server, "POST", "/coldmorning/draft", cookie, body, **{"Content-Type": "application/json"}).status


def test_a_token_that_the_server_did_not_issue_opens_nothing_and_is_replaced(server, tmp_path, school):
    """Planted in a browser before somebody works there; also one that another store signed."""
    with closing(Store.open(str(tmp_path / "another.sqlite3"))) as another:
        planted = [Tokens(another).issue(), new_token(), f"{school.tokens[0]}x", school.tokens[0].split(".")[0] + "."]
    for cookie in planted:
        assert draft(server, school, cookie) == 403
        assert not opens(server, school, cookie, school.members[0].name)
        given = cookie_of(ask(server, "GET", "/", cookie, Accept="text/html"))
        assert given not in (None, cookie)
        assert cookie_of(ask(server, "GET", "/", given, Accept="text/html")) is None


@pytest.mark.parametrize(
    "way", ["", "?set=//evil.example", "?set=K7Q-4MP&handle=x", "?handle=%00&set=%0d%0aSet-Cookie:x"]
)
def test_the_address_of_new_tokens_leads_nowhere_else_and_gives_nothing_by_itself(server, way):
    answer = ask(server, "GET", f"/coldmorning/renewed{way}", issued(server))
    assert answer.status == 303
    assert re.fullmatch(r"/class-work\?[\w=%.-]*", answer.getheader("location"))
    assert cookie_of(answer) is None


def test_in_a_browser_who_takes_and_leaves_a_name_leaves_no_token_that_opens_it(server, make_school, learner):
    school = make_school("shared", names=["Gus Shared"], claim_with="name alone")
    someone = learner(f"{server.address}/class-work?set={school.of.code}")
    noted = someone.token()
    someone.page.get_by_label("Your name or number").fill("Gus Shared")
    someone.press("That is me")
    assert someone.hears("Write down your personal code")
    during = someone.token()
    other_tab = someone.page.context.new_page()
    other_tab.goto(f"{server.address}/class-work?set={school.of.code}")
    other_tab.get_by_text("You are Gus Shared").click()
    someone.page.get_by_text("You are Gus Shared").click()
    someone.press("Leave this name on this device")
    assert someone.hears("Type your name or number.")
    assert len({noted, during, someone.token()}) == 3
    for token in (noted, during, someone.token()):
        assert not opens(server, school, token, "You are Gus Shared")
    other_tab.get_by_role("button", name="Show my personal code").click()
    other_tab.get_by_text("Load this page again to go on").wait_for()
    assert other_tab.get_by_text("Gus Shared").count() == 0
    other_tab.reload()
    other_tab.get_by_text("Type your name or number.").wait_for()
