"""Nothing of a set's key is in any message to a learner's browser before it may be shown, for every kind of problem.

The messages are searched as they come: the words of the page are in them as UTF-8, which the story and, once it may be
shown, the answer prove.
"""

import json
import re
from contextlib import closing, suppress
from dataclasses import dataclass, field
from itertools import count

import pytest
from playwright.sync_api import Error, expect

from tutor.base.units import conversion
from tutor.classroom.models import AssignedProblem, Item, Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.snapshots import problem_of
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem
from tutor.store.database import Store

pytestmark = pytest.mark.browser

KINDS = {
    "number": "string-voltage-at-record-low",
    "count": "most-modules-in-series",
    "size": "conductor-for-current",
    "answer": "does-the-string-survive",
    "choice": "source-at-a-moment",
    "order": "switching-on",
}
_numbers = count(1)


@dataclass
class Messages:
    """All that a browser is sent: over the websocket, and as pictures and text beside it."""

    page: object
    heard: list[bytes] = field(default_factory=list)

    def __post_init__(self):
        self.page.on("websocket", lambda socket: socket.on("framereceived", self._hear))
        self.page.on("response", self._read)

    def _hear(self, payload):
        self.heard.append(as_shown(payload if isinstance(payload, bytes) else payload.encode()))

    def _read(self, response):
        if "/media/" in response.url or "/coldmorning/" in response.url:
            with suppress(Error):  # a page that was left meanwhile gives none
                self.heard.append(as_shown(response.body()))

    def say(self, text: str) -> bool:
        """Whether a text stands in a message by itself, not as a part of a longer number or word."""
        alone = re.compile(rf"(?<![\w.]){re.escape(text)}(?!\w|\.\d)")
        return any(alone.search(message) for message in self.heard)

    def hold(self, text: str) -> bool:
        """Whether a text is anywhere in a message."""
        return any(text in message for message in self.heard)


def as_shown(message: bytes) -> str:
    """A message's words without what keeps Markdown from reading them."""
    return message.decode(errors="replace").replace("\\", "").replace("\u2060", "").replace("\xa0", " ")


@pytest.fixture
def opened(server, engine):
    """opened(kind, **changes): a set of one exercise for a class of two, with the problems handed out."""

    def opened(kind, **changes):
        name = f"key class {next(_numbers)}"
        fields = {"id": "s", "title": "A set", "items": [Item(exercise=KINDS[kind])], "attempts": 2} | changes
        fields |= {"claim_with": "name alone"}
        with closing(Store.open(server.store)) as store:
            register = Register(store)
            of = register.open_set(PracticeSet(**fields), name)
            members = register.enter([Member(id=0, name="Ana"), Member(id=0, name="Bo")], name).new
            handed = {one.member.name: one for one in hand_out(store, engine, of)}
        assert [one.name for one in members] == ["Ana", "Bo"]
        return of, handed

    return opened


def key_texts(problem: AnyProblem, handed: AssignedProblem) -> list[str]:
    """What would give the answer away: its words, all its digits, those of the steps, a letter sequence."""
    if isinstance(problem, OrderProblem):
        letters = handed.answer.split()
        return [" ".join(letters), "".join(letters), ", ".join(letters)]
    texts: list[str] = []
    for name, value in handed.expected.items():
        if problem.question.library.quantities[name].kind == "number":
            shown = conversion(problem.unit_of(name)).to_shown(value)
            texts += [f"{amount:.{figures}g}" for amount in (shown, value) for figures in (5, 6, 10)]
    if handed.snapshot.kind(handed.ask) in ("number", "count", "size"):
        texts.append(handed.answer)
    told = " ".join([*problem.story, *(amount.text for amount in handed.givens.values()), problem.task])
    # What the givens say or what is a short number anyway would be found by chance.
    return [as_shown(text.encode()) for text in texts if text not in told and len(re.sub(r"\W", "", text)) > 3]


def secrets(handed: AssignedProblem, of) -> list[str]:
    """What a program could make the answer from."""
    return [str(handed.number), handed.version, of.secret, of.class_secret]


def wrong_for(problem: AnyProblem, handed: AssignedProblem) -> list[str]:
    """Two answers, of which none is right (for a yes or no its number is wrong anyway)."""
    match handed.snapshot.kind(handed.ask):
        case "number":
            return ["1.234", "1.235"]
        case "count":
            return ["77", "78"]
        case "size":
            return [text for text in ("14 AWG", "4/0 AWG", "18 AWG") if text != handed.answer][:2]
        case "answer":
            return ["yes", "no"]
        case "choice":
            return [text for text in problem.question.library.quantities[handed.ask].choices if text != handed.answer][
                :2
            ]
        case _:
            letters = handed.answer.split()
            return [" ".join(reversed(letters)), " ".join(letters[1:])]


def come_in(someone, server, of, name):
    someone.page.goto(f"{server.address}/class-work?set={of.code}")
    box = someone.page.get_by_role("textbox", name="Your name or number")
    box.fill(name)
    box.press("Enter")
    someone.page.get_by_text("Problem 1 of 1").wait_for()


def send(someone, text):
    """Type an answer, press Enter, and wait until it is said to be kept."""
    box = someone.class_box()
    box.fill(text)
    with someone.a_change():
        box.press("Enter")
    someone.page.get_by_text("Saved on").first.wait_for()


@pytest.mark.one_in(3)
@pytest.mark.parametrize(
    ("kind", "marked"), [*((kind, "at once") for kind in KINDS), ("number", "when closed"), ("answer", "when closed")]
)
def test_no_message_tells_the_key_before_it_may_be_shown(kind, marked, server, opened, learner, engine):
    of, handed = opened(kind, marked=marked)
    mine = handed["Ana"]
    problem = problem_of(engine, mine)
    assert mine.snapshot.kind(mine.ask) == kind
    someone = learner(server.address)
    messages = Messages(someone.page)
    come_in(someone, server, of, "Ana")
    for at in range(1, 4):
        hint = someone.button(f"Show hint {at} of")
        if hint.count():
            hint.click()
            someone.page.get_by_text(f"Hint {at}.").wait_for()
    steps = someone.page.get_by_text("Steps on the way")
    if steps.count():
        steps.click()
        someone.page.get_by_role("textbox", name="Step 1:").fill("1.5")
    if mine.evidence:
        someone.page.locator(f"[class*='-{mine.evidence}'] input").fill("1.5")
    first, second = wrong_for(problem, mine)
    send(someone, first)
    someone.page.reload()
    someone.page.get_by_text("Saved on").wait_for()
    if marked == "at once":
        send(someone, second)
    assert messages.hold(as_shown(problem.story[0][:40].encode())), "the messages are read at all"
    assert [text for text in [*key_texts(problem, mine), *secrets(mine, of)] if messages.say(text)] == []
    assert not messages.hold(str(mine.number))

    with closing(Store.open(server.store)) as store:
        Register(store).close(of.id)
    messages.heard.clear()
    someone.page.reload()
    someone.press("Show the worked solution")
    someone.page.get_by_role("heading", name="Worked solution").wait_for()
    if kind != "order":
        assert messages.hold(as_shown(mine.answer.encode())), "once it may be shown it is found"
    assert not [text for text in secrets(mine, of) if messages.say(text)]


@pytest.mark.long
def test_a_learner_who_has_taken_no_name_or_another_gets_nothing_of_somebodys_work(server, opened, learner, engine):
    of, handed = opened("number")
    ana = learner(server.address)
    come_in(ana, server, of, "Ana")
    send(ana, "1.234")
    nobody, bo = learner(server.address), learner(server.address)
    heard = Messages(nobody.page)
    for query in ("", "&place=1", "&place=1&member=1", "&place=2", "&learner=Ana"):
        nobody.page.goto(f"{server.address}/class-work?set={of.code}{query}")
        nobody.page.get_by_role("textbox", name="Your name or number").wait_for()
    heard_by_bo = Messages(bo.page)
    come_in(bo, server, of, "Bo")
    for query in ("&place=1", "&place=1&member=1", "&place=1&learner=Ana", "&place=2"):
        bo.page.goto(f"{server.address}/class-work?set={of.code}{query}")
        bo.page.get_by_text("You are Bo").wait_for()
    with closing(Store.open(server.store)) as store:
        code = Claims(store, of).personal_code(handed["Ana"].member)
    mine, story = handed["Ana"].code, " ".join(problem_of(engine, handed["Ana"]).story)
    assert story != " ".join(problem_of(engine, handed["Bo"]).story)
    for messages in (heard, heard_by_bo):
        assert not [text for text in (mine, code, "1.234", "You are Ana") if messages.hold(text)]
    assert not heard.hold("Problem code")
    assert heard_by_bo.hold(handed["Bo"].code)


@pytest.mark.long
def test_a_draft_is_taken_from_a_member_alone(server, opened, learner):
    of, handed = opened("number")
    field_name = handed["Ana"].ask
    draft = {"code": of.code, "place": 1, "field": field_name, "text": "12"}
    ana, bo, nobody = learner(server.address), learner(server.address), learner(server.address)
    come_in(ana, server, of, "Ana")
    come_in(bo, server, of, "Bo")

    def post(someone, data, **how):
        return someone.page.request.post(server.address + "/coldmorning/draft", data=data, **how).status

    assert post(nobody, draft) == 409
    assert post(ana, draft | {"place": 2}) == 409
    assert post(ana, draft | {"field": "answer"}) == 409
    assert post(ana, draft | {"code": "ZZZ-ZZZ"}) == 409
    assert post(ana, draft | {"text": "9" * 3000}) == 400
    assert post(ana, {"code": of.code}) == 400
    assert post(ana, b"9" * 20_000, headers={"content-type": "application/json"}) == 413
    assert post(ana, json.dumps(draft).encode(), headers={"content-type": "text/plain"}) == 403
    assert post(ana, draft) == 204
    nobody.page.context.clear_cookies()
    assert post(nobody, draft) == 403
    bo.page.reload()
    bo.page.get_by_text("Problem 1 of 1").wait_for()
    expect(bo.class_box()).to_have_value("")
    ana.page.reload()
    ana.page.get_by_text("Problem 1 of 1").wait_for()
    expect(ana.class_box()).to_have_value("12")
