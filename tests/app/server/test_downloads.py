"""The desk's and the learner's downloads: all of them come, to their own browser only, while a class answers."""

import asyncio
import json
import re
import threading
import time
from contextlib import closing
from types import SimpleNamespace

import pytest
from starlette.requests import Request

from tutor.app.server import downloads
from tutor.app.server.middleware import COOKIE
from tutor.base.errors import FaultyRequestError
from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.learner.record import new_token
from tutor.store.database import Store, StoreError

LEARNERS = 8
DOWNLOADS = 40


@pytest.fixture(scope="module")
def of(attacked, engine):
    """A set of a class of two, which is handed out."""
    items = [Item(exercise="most-modules-in-series")]
    declared = PracticeSet(id="series", title="Series strings", items=items, claim_with="name alone")
    with closing(Store.open(attacked.store)) as store:
        Register(store).enter([Member(id=0, name="Ana"), Member(id=0, name="Bo")])
        of = Register(store).open_set(declared)
        Claims(store, of).claim(new_token(), "Ana")
        hand_out(store, engine, of)
    return of


def offered(page) -> dict[str, str]:
    """The addresses of the page's downloads by their labels."""
    links = [
        re.fullmatch(r'<a class="download.*" href="(.+)" download>(.+)</a>', one.body) for one in page.elements("html")
    ]
    return {link[2]: link[1] for link in links if link}


class Answering:
    """Learners who each have their page run again and again, as answers do."""

    def __init__(self, tab):
        self._stopped = threading.Event()
        self.runs = [0] * LEARNERS
        pages = [tab("practice", "exercise=most-modules-in-series") for _ in range(LEARNERS)]
        self._threads = [threading.Thread(target=self._answer, args=one) for one in enumerate(pages)]

    def _answer(self, at, page):
        while not self._stopped.is_set():
            page.run()
            self.runs[at] += 1

    def __enter__(self):
        for one in self._threads:
            one.start()
        return self

    def __exit__(self, *_):
        self._stopped.set()
        for one in self._threads:
            one.join(timeout=30)


@pytest.mark.long
def test_forty_downloads_while_eight_learners_answer_all_come(of, tab, instructor, raw, attacked):
    desk = instructor("Exports")
    address = offered(desk)["Download the gradebook"]
    stranger, anonymous = raw.Web(attacked.port, new_token()), raw.Web(attacked.port, None)
    with Answering(tab) as answering:
        got = []
        for _ in range(DOWNLOADS):
            got.append(desk.ask(address))
            time.sleep(0.05)  # so long that the learners' answers come between
            assert (stranger.ask(address).status, anonymous.ask(address).status) == (403, 403)
    assert min(answering.runs) >= 2
    assert [reply.status for reply in got] == [200] * DOWNLOADS
    assert {reply.body for reply in got} == {got[0].body}
    assert b"Ana" in got[0].body
    assert got[0].headers["cache-control"] == "no-store"
    assert got[0].headers["content-disposition"].startswith("attachment; filename*=UTF-8''series")


def test_an_address_stays_while_the_page_is_open_and_goes_with_it(of, instructor, wait_until):
    desk = instructor("Exports")
    before = offered(desk)
    desk.run()
    assert offered(desk) == before
    desk.close()
    assert wait_until(lambda: {desk.ask(address).status for address in before.values()} == {404})


def test_two_pages_have_addresses_of_their_own(tab):
    one, other = tab("progress"), tab("progress")
    (ones,), (others,) = offered(one).values(), offered(other).values()
    assert ones != others
    assert (other.ask(ones).status, one.ask(ones).status) == (403, 200)


def test_a_desk_that_has_ended_gives_nothing(of, instructor, attacked):
    desk = instructor("Exports")
    address = offered(desk)["Download the gradebook"]
    (leave,) = [one for one in desk.elements("button") if one.label == "Leave the desk"]
    desk.run({leave.id: True})
    assert desk.ask(address).status in (403, 404)


def test_a_learner_has_their_own_record(tab):
    page = tab("progress")
    reply = page.ask(offered(page)["Download all of it as JSON"])
    assert reply.status == 200
    assert reply.headers["cache-control"] == "no-store"
    assert json.loads(reply.body)["attempts"] == []


def test_a_browser_without_cookies_is_told(tab):
    page = tab("progress", token=None)
    reply = page.ask(offered(page)["Download all of it as JSON"])
    assert reply.status == 403
    assert b"Allow cookies" in reply.body


@pytest.mark.parametrize("key", ["", "x", "../../etc/passwd", "%2e%2e%2f", "A" * 43, "A" * 10_000])
def test_a_guessed_address_is_no_file(attacked, raw, key):
    reply = raw.Web(attacked.port, new_token()).ask(f"{downloads.ADDRESS}/{key}")
    assert "content-disposition" not in reply.headers
    assert b"Ana" not in reply.body


@pytest.fixture
def reply_of(monkeypatch):
    """What is sent for a file of the browser that asks, by how it is made and its name."""
    learner = new_token()
    monkeypatch.setattr(downloads, "token", lambda cookies, _tokens: cookies[COOKIE])
    monkeypatch.setattr(downloads, "tokens", lambda: None)
    monkeypatch.setattr(downloads, "get_instance", lambda: SimpleNamespace(is_active_session=lambda _: True))

    def replied(make, file_name="name.csv"):
        made = downloads.Download("key", "session", learner, make, file_name, "text/csv")
        monkeypatch.setitem(downloads._offered, "key", made)
        headers = [(b"cookie", f"{COOKIE}={learner}".encode())]
        return asyncio.run(downloads.send(Request({"type": "http", "path_params": {"key": "key"}, "headers": headers})))

    return replied


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (StoreError("sqlite:////home/somebody/tutor.sqlite is gone"), 503, "The database does not answer just now."),
        (FaultyRequestError("Your time has ended."), 403, "Your time has ended."),
    ],
)
def test_a_file_that_cannot_be_made_is_a_sentence(reply_of, error, status, says):
    def fails():
        raise error

    reply = reply_of(fails)
    assert (reply.status_code, reply.body.decode()[: len(says)]) == (status, says)
    assert b"/home" not in reply.body
    assert reply.headers["cache-control"] == "no-store"


def test_a_name_of_any_signs_is_one_name(reply_of):
    reply = reply_of(lambda: "text", 'a"\r\nb; /č.csv')
    # the extended form of RFC 6266, section 4.1: percent-encoded UTF-8, č being C4 8D
    assert reply.headers["content-disposition"] == "attachment; filename*=UTF-8''a%22%0D%0Ab%3B%20%2F%C4%8D.csv"
    assert (reply.body, reply.headers["content-type"]) == (b"text", "text/csv; charset=utf-8")
