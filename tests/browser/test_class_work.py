"""A learner's class work in a browser: coming in, answering, coming back, and what may not be seen or done."""

import importlib.util
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tutor.base.units import conversion
from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.reports.results import Results
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.snapshots import problem_of
from tutor.store.database import Store

pytestmark = pytest.mark.browser

CONNECTED = "[data-testid=stApp][data-test-connection-state=CONNECTED]"
LOST = "[data-testid=stApp]:not([data-test-connection-state=CONNECTED])"
EXERCISES = ["string-voltage-at-record-low", "most-modules-in-series", "does-the-string-survive", "switching-on"]
VOLTAGE, COUNT, SURVIVES, ORDER = 1, 2, 3, 4  # the places of these
_numbers = count(1)

_spec = importlib.util.spec_from_file_location("browser_proxy", Path(__file__).with_name("proxy.py"))
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)


class Class:
    """A class of its own with a set, in the store of a running server."""

    def __init__(self, server, engine, **changes):
        self.server, self.engine = server, engine
        self.name = f"class {next(_numbers)}"
        items = [Item(exercise=id_) for id_ in changes.pop("exercises", EXERCISES)]
        fields = {"id": "cold-strings", "title": "Strings on a cold morning", "items": items, "attempts": 2}
        with closing(Store.open(server.store)) as store:
            register = Register(store)
            fields["claim_with"] = "name alone"
            self.of = register.open_set(PracticeSet(**{**fields, **changes}), self.name)
            roster = [Member(id=0, name=name, number=number) for name, number in (("Ana", "7"), ("Bo", "8"))]
            self.ana, self.bo = register.enter(roster, self.name).new
            self.handed = {
                member.name: [one for one in hand_out(store, engine, self.of) if one.member == member]
                for member in (self.ana, self.bo)
            }

    def address(self, place=None) -> str:
        return f"/class-work?set={self.of.code}" + (f"&place={place}" if place else "")

    def personal_code(self, member) -> str:
        with closing(Store.open(self.server.store)) as store:
            return Claims(store, self.of).personal_code(member)

    def answers(self, name, place):
        """What the store holds of a member's answers to a problem, read from the disk."""
        with closing(Store.open(self.server.store)) as store:
            found = Results(store, self.of).outcomes()
        return next(one.answers for one in found if one.handed.member.name == name and one.handed.place == place)

    def close(self):
        with closing(Store.open(self.server.store)) as store:
            Register(store).close(self.of.id)

    def right(self, name, place) -> str:
        handed = self.handed[name][place - 1]
        if handed.snapshot.kind(handed.ask) == "number":
            shown = conversion(handed.snapshot.unit).to_shown(handed.expected[handed.ask])
            return f"{shown:.6g}"
        return handed.answer


@pytest.fixture
def make_class(server, engine):
    return lambda **changes: Class(server, engine, **changes)


@pytest.fixture
def come_in(learner):
    """Put a learner who has taken a name of the class before a problem."""

    def come_in(school, name="Ana", place=VOLTAGE, address=None, **look):
        someone = learner((address or school.server.address) + school.address(place), **look)
        say_who(someone, name)
        someone.page.get_by_text(f"Problem {place} of").wait_for()
        someone.press("I have written it down")
        return someone

    return come_in


def say_who(someone, name, personal=None):
    box = someone.page.get_by_role("textbox", name="Your name or number")
    box.fill(name)
    if personal is not None:
        someone.page.get_by_role("textbox", name="Your personal code").fill(personal)
    with someone.a_change():
        box.press("Enter")


def send(someone, place, text) -> str:
    """Type an answer, press Enter; gives what is said to it."""
    box = someone.class_box(place)
    box.fill(text)
    with someone.a_change():
        box.press("Enter")
    someone.page.get_by_text("Saved on").first.wait_for()
    return someone.text.split("Your answer: ", 1)[1]


def test_from_the_code_to_a_right_answer_with_the_keyboard_alone(server, make_class, learner):
    school = make_class(claim_with="personal code")
    someone = learner(server.address + "/class-work")
    page = someone.page
    code = page.get_by_role("textbox", name="Code of the set")
    code.fill(school.of.code.lower().replace("-", " "))
    code.press("Enter")
    name = page.get_by_role("textbox", name="Your name or number")
    name.fill("  aNA ")
    with someone.a_change():
        name.press("Enter")
    assert "do not match the class list" in someone.text
    page.keyboard.press("Tab")
    page.keyboard.type(school.personal_code(school.ana).lower())
    page.keyboard.press("Enter")
    page.get_by_text("Problem 1 of 4").wait_for()
    assert "Write down your personal code" not in someone.text
    someone.class_box(VOLTAGE).focus()
    page.keyboard.type("1.234")
    with someone.a_change():
        page.keyboard.press("Enter")
    page.get_by_text("· 1 attempt left").wait_for()
    assert "Not right yet." in someone.text
    page.keyboard.press("Control+a")  # the box has kept the focus
    page.keyboard.type(school.right("Ana", VOLTAGE))
    with someone.a_change():
        page.keyboard.press("Enter")
    page.get_by_text("You have solved this problem.").wait_for()
    assert "1 of 4 done" in someone.text
    assert [answer.verdict for answer in school.answers("Ana", VOLTAGE)] == ["wrong", "right"]
    page.get_by_role("button", name="On to problem 2").focus()
    page.keyboard.press("Enter")
    page.get_by_text("Problem 2 of 4").wait_for()
    expect(page.get_by_role("heading", name="Problem 2 of 4")).to_be_focused()
    expect(page.get_by_role("heading", name="Problem 2 of 4")).to_be_in_viewport()
    assert page.url.endswith(f"set={school.of.code}&place=2")


@pytest.mark.parametrize("code", ["ZZZ-ZZZ", "<img src=x>", "9" * 10_000])
def test_a_code_that_names_nothing_gets_a_sentence(server, learner, code):
    someone = learner(f"{server.address}/class-work?set={code}")
    someone.page.get_by_role("alert").wait_for()
    assert "No practice set has this code." in someone.text
    expect(someone.page.get_by_role("textbox", name="Code of the set")).to_be_visible()


@pytest.mark.long
def test_a_place_that_is_none_gets_a_sentence(make_class, come_in):
    school = make_class()
    someone = come_in(school)
    for place in ("0", "99", "-1", "1e3", "²", "<b>", "9" * 5000):
        someone.go(f"{school.server.address}{school.address()}&place={place}")
        someone.page.get_by_text("The address names no problem of this set. It has problems 1 to 4.").wait_for()
    someone.press("Open the set where you were")
    someone.page.get_by_text("Problem 1 of 4").wait_for()


def test_a_name_that_is_not_on_the_list_gets_a_sentence(make_class, server, learner):
    someone = learner(server.address + make_class().address())
    say_who(someone, "Nobody ![](http://127.0.0.1:9/x.png)")
    assert "This name alone does not let you in." in someone.text


@pytest.mark.long
def test_a_second_device_needs_the_personal_code(server, make_class, come_in, learner):
    school = make_class()
    first = come_in(school)
    send(first, VOLTAGE, "1.234")
    other = learner(server.address + school.address())
    for wrong in (None, "2222-2222"):
        say_who(other, "Ana", wrong)
        assert "This name alone does not let you in." in other.text
    assert "Problem 1" not in other.text
    say_who(other, "Ana", school.personal_code(school.ana).lower())
    other.page.get_by_text("Problem 1 of 4").wait_for()
    expect(other.class_box(VOLTAGE)).to_have_value("1.234")
    assert "Write down" not in other.text


def test_leaving_gives_the_device_to_another_and_the_code_brings_back(make_class, come_in):
    school = make_class()
    someone = come_in(school)
    send(someone, VOLTAGE, "1.234")
    someone.page.get_by_text("You are Ana").click()
    someone.press("Show my personal code")
    assert f"Your personal code is {school.personal_code(school.ana)}." in someone.text
    someone.press("Leave this name on this device")
    say_who(someone, "8")
    someone.page.get_by_text("Problem 1 of 4").wait_for()
    expect(someone.class_box(VOLTAGE)).to_have_value("")
    assert "You are Bo" in someone.text
    assert school.answers("Bo", VOLTAGE) == []


def test_coming_back_leads_to_the_last_place_with_all_that_was_said(server, make_class, come_in):
    school = make_class()
    someone = come_in(school, place=COUNT)
    send(someone, COUNT, "77")
    someone.press("Show hint 1 of 3")
    someone.page.reload()
    someone.page.get_by_text("Hint 1.").wait_for()
    expect(someone.class_box(COUNT)).to_have_value("77")
    assert "Not right yet." in someone.text
    someone.go(server.address + school.address())
    someone.page.get_by_text("Problem 2 of 4").wait_for()
    someone.go(server.address)
    someone.press("Your class work: Strings on a cold morning, 0 of 4 done")
    someone.page.get_by_text("Problem 2 of 4").wait_for()
    someone.go(server.address + "/class-work")
    someone.press("Strings on a cold morning")
    someone.page.get_by_text("Problem 2 of 4").wait_for()


def test_when_the_attempts_are_used_up_the_box_goes_and_the_list_says_so(make_class, come_in):
    school = make_class()
    someone = come_in(school, place=COUNT)
    send(someone, COUNT, "77")
    someone.page.get_by_text("· 1 attempt left").wait_for()
    send(someone, COUNT, "78")
    someone.page.get_by_text("You have used all attempts at this problem.").wait_for()
    expect(someone.class_box(COUNT)).to_have_count(0)
    assert "Your earlier answers: 1" in someone.text
    someone.page.get_by_text("All problems: 1 of 4 done").click()
    told = "✖ 2. The most modules in one string – not right, no attempts left (this one)"
    expect(someone.page.get_by_role("link", name=told)).to_be_visible()
    expect(someone.page.get_by_role("link", name="○ 3. Does the string")).to_be_visible()
    assert "Show the worked solution" not in someone.text


def test_the_same_answer_sent_twice_counts_once(make_class, come_in):
    school = make_class()
    someone = come_in(school, place=COUNT)
    someone.class_box(COUNT).fill("77")
    someone.button("Check the answer").dblclick()
    someone.page.get_by_text("· 1 attempt left").wait_for()
    someone.button("Check the answer").click()
    someone.page.get_by_text("You had sent this answer already. It counts once.").wait_for()
    someone.page.reload()
    someone.page.get_by_text("· 1 attempt left").wait_for()
    someone.class_box(COUNT).press("Enter")
    someone.page.get_by_text("You had sent this answer already. It counts once.").wait_for()
    assert [answer.entry for answer in school.answers("Ana", COUNT)] == ["77"]


def test_what_cannot_be_read_takes_no_attempt(make_class, come_in):
    someone = come_in(make_class())
    said = send(someone, VOLTAGE, "1,234 ![](http://127.0.0.1:9/x.png)")
    assert "Not counted." in said
    assert "· 2 attempts left" in someone.text
    assert not [url for url in someone.page.requested if "127.0.0.1:9/" in url]


def test_a_yes_or_no_comes_with_its_number_and_an_order_with_letters(make_class, come_in):
    school = make_class()
    someone = come_in(school, place=SURVIVES)
    assert "Not counted." in send(someone, SURVIVES, "yes")
    handed = school.handed["Ana"][SURVIVES - 1]
    evidence = handed.evidence
    shown = conversion(problem_of(school.engine, handed).unit_of(evidence)).to_shown(handed.expected[evidence])
    someone.page.locator(f".st-key-draft-{school.of.code}-{SURVIVES}-{evidence} input").fill(f"{shown:.6g}")
    assert "Right" in send(someone, SURVIVES, handed.answer)
    someone.press("On to problem 4")
    box = someone.page.get_by_role("textbox", name="The whole order (letters)")
    box.wait_for()
    assert "Not right" in send(someone, ORDER, " ".join(reversed(school.right("Ana", ORDER).split())))
    assert "You have solved this problem." in send(someone, ORDER, school.right("Ana", ORDER)) + someone.text


def test_steps_are_told_right_or_wrong(make_class, come_in):
    school = make_class()
    someone = come_in(school, place=COUNT)
    someone.page.get_by_text("Steps on the way").click()
    someone.page.get_by_role("textbox", name="Step 1:").fill("1.5")
    send(someone, COUNT, "77")
    assert "✖ not right" in someone.text


def test_marked_when_closed_tells_nothing_before_and_all_after(server, make_class, come_in):
    school = make_class(marked="when closed")
    someone = come_in(school)
    page = someone.page
    said = {}
    for place, text in ((VOLTAGE, school.right("Ana", VOLTAGE)), (COUNT, "77")):
        someone.go(server.address + school.address(place))
        page.get_by_text(f"Problem {place} of").wait_for()
        someone.class_box(place).fill(text)
        someone.press("Save the answer")
        page.get_by_text("How it was marked is shown when the set closes.").wait_for()
        said[place] = [text for text in page.locator(".stAlertContainer").all_inner_texts() if "Saved" in text]
        page.get_by_text("· 1 attempt left").wait_for()
    assert said[VOLTAGE] == said[COUNT]
    school.close()
    someone.go(server.address + school.address(VOLTAGE))
    page.get_by_text("This set closed on").wait_for()
    assert "✔ Right" in someone.text
    someone.press("Show the worked solution")
    page.get_by_role("heading", name="Worked solution").wait_for()
    assert school.handed["Ana"][VOLTAGE - 1].answer.replace("\xa0", " ") in someone.text


def test_an_answer_that_comes_after_the_closing_is_kept_and_not_counted(make_class, come_in):
    school = make_class()
    someone = come_in(school, place=COUNT)
    school.close()
    said = send(someone, COUNT, "77")
    assert "Not counted." in said
    assert "kept, but not counted" in said
    assert [answer.counted for answer in school.answers("Ana", COUNT)] == [False]
    expect(someone.class_box(COUNT)).to_have_count(0)


def test_before_the_opening_it_says_when(server, make_class, learner):
    school = make_class(opens=datetime.now(UTC) + timedelta(days=3), zone="Europe/Lisbon")
    someone = learner(server.address + school.address(1))
    say_who(someone, "Ana")
    someone.page.get_by_text("This set opens on").wait_for()
    assert "Problem 1" not in someone.text


def test_what_was_typed_and_not_sent_is_there_again(server, make_class, come_in, learner):
    school = make_class()
    someone = come_in(school)
    page = someone.page
    with page.expect_response("**/coldmorning/draft") as kept:
        someone.class_box(VOLTAGE).press_sequentially("46")
    assert kept.value.status == 204
    with page.expect_response("**/coldmorning/draft"):
        someone.class_box(VOLTAGE).press_sequentially("7.5 volt")
        page.get_by_role("heading", name="Problem 1").click()
    page.reload()
    page.get_by_text("Problem 1 of 4").wait_for()
    expect(someone.class_box(VOLTAGE)).to_have_value("467.5 volt")
    other = learner(server.address + school.address())
    say_who(other, "Ana", school.personal_code(school.ana))
    other.page.get_by_text("Problem 1 of 4").wait_for()
    expect(other.class_box(VOLTAGE)).to_have_value("467.5 volt")
    assert school.answers("Ana", VOLTAGE) == []


def test_a_lost_connection_loses_neither_answer_nor_draft(server, make_class, come_in):
    proxy = _module.Proxy(server.port)
    school = make_class()
    someone = come_in(school, address=proxy.address, place=COUNT)
    send(someone, COUNT, "77")
    proxy.cut()
    someone.page.wait_for_selector(LOST, state="attached")
    proxy.mend()
    someone.page.wait_for_selector(CONNECTED, state="attached")
    someone.class_box(COUNT).fill("78")
    someone.page.evaluate("() => new Promise(requestAnimationFrame)")  # the page has taken what was typed
    proxy.cut()
    someone.page.wait_for_selector(LOST, state="attached")
    proxy.mend()
    with someone.page.expect_response("**/coldmorning/draft", timeout=15000) as kept:
        someone.page.wait_for_selector(CONNECTED, state="attached")
    assert kept.value.status == 204
    someone.class_box(COUNT).press("Enter")
    someone.page.get_by_text("You have used all attempts").wait_for()
    assert [answer.entry for answer in school.answers("Ana", COUNT)] == ["77", "78"]
    proxy.close()


@pytest.mark.long
def test_a_killed_server_loses_no_answer_and_counts_none_twice(own_server, engine, come_in):
    school = Class(own_server, engine)
    someone = come_in(school, place=COUNT)
    send(someone, COUNT, "77")
    own_server.kill()
    someone.page.wait_for_selector(LOST, state="attached")
    own_server.start()
    someone.page.wait_for_selector(CONNECTED, state="attached")
    with someone.a_change():
        someone.button("Check the answer").click()  # not knowing whether the first press has come through
    someone.page.get_by_text("It counts once.").wait_for()
    assert [answer.entry for answer in school.answers("Ana", COUNT)] == ["77"]
    send(someone, COUNT, "78")
    someone.page.get_by_text("You have used all attempts").wait_for()
    assert [answer.entry for answer in school.answers("Ana", COUNT)] == ["77", "78"]


@pytest.mark.long
@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    "look", [{"width": 1100}, {"width": 360, "height": 740, "scheme": "dark"}], ids=["desk", "phone"]
)
def test_axe_finds_nothing_serious_and_nothing_is_too_wide(server, make_class, learner, look):
    school = make_class(title="Strings on a cold morning " + "and the morning after " * 4)
    someone = learner(server.address + "/class-work", **look)
    page = someone.page
    fine(someone, look)
    someone.go(server.address + school.address(COUNT))
    fine(someone, look)
    say_who(someone, "Ana")
    page.get_by_text("Problem 2 of 4").wait_for()
    page.get_by_text("All problems").click()
    page.get_by_text("Steps on the way").click()
    page.get_by_text("You are Ana").click()
    fine(someone, look)
    send(someone, COUNT, "77")
    page.get_by_text("· 1 attempt left").wait_for()
    fine(someone, look)
    assert page.evaluate("[...document.images].filter(i => !i.alt).length") == 0
    someone.go(server.address + school.address(ORDER))
    page.get_by_text("Problem 4 of 4").wait_for()
    fine(someone, look)


def fine(someone, look):
    someone.rest()
    page = someone.page
    grave = [one for one in Axe().run(page).response["violations"] if one["impact"] in ("serious", "critical")]
    assert grave == []
    widths = "[document.documentElement, document.querySelector('[data-testid=stMain]')].map(e => e.scrollWidth)"
    assert look["width"] > 640 or max(page.evaluate(widths)) <= look["width"]
