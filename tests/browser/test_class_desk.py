"""The instructor's page in a browser: the way in, a set made, a roster read, paper marked, the class watched."""

import io
import json
import re
from contextlib import closing
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect
from pypdf import PdfReader

from tutor.classroom.roster.tries import DESK, Tries
from tutor.store.database import Store

pytestmark = pytest.mark.browser

TABS = ["Sets", "Roster", "Live", "Answers", "Paper", "Mark again", "Report", "Sheets", "Exports"]
LOOKS = {"desk": {"width": 1100, "scheme": "light"}, "phone": {"width": 360, "height": 740, "scheme": "dark"}}
_numbers = count(1)
HOST_NAME = "class.example"  # by which the server was told that it is reached
ROSTER = '\ufeffNumber;First name;Last name\n1;Ana;Ferreira\n2;Čeda;Petrović\n;;\n1;Ana;Again\n3;#read;("x")\n'


def enter(someone, server, passphrase):
    someone.go(f"{server.address}/class-desk")
    someone.page.get_by_label("Passphrase").fill(passphrase)
    someone.press("Enter the desk")


def to_tab(someone, name):
    tab = someone.page.get_by_role("tab", name=name, exact=True)
    if tab.get_attribute("aria-selected") != "true":
        with someone.a_change():
            tab.click()
    someone.rest()


def upload(someone, label, text, encoding="utf-8"):
    file = {"name": "table.csv", "mimeType": "text/csv", "buffer": text.encode(encoding)}
    with someone.a_change():
        someone.page.get_by_test_id("stFileUploader").filter(has_text=label).locator("input").set_input_files(file)


def type_into_the_grid(someone, text, row=0):
    """Type into a learner's first cell."""
    grid = someone.page.get_by_test_id("stDataFrame")
    grid.locator("[role=gridcell]").first.wait_for(state="attached")
    someone.rest()
    box = grid.bounding_box()
    someone.page.mouse.click(box["x"] + 60, box["y"] + 55 + 37 * row)
    chosen = grid.locator("[role=gridcell][aria-selected=true]")
    chosen.wait_for(state="attached")
    someone.page.keyboard.press("ArrowRight")
    someone.page.keyboard.press("ArrowRight")
    someone.page.keyboard.type(text, delay=60)
    with someone.page.sockets[-1].expect_event("framesent"):  # a while after the key
        someone.page.keyboard.press("Enter")
    someone.rest()


def choose_class(someone, school):
    box = someone.page.get_by_role("combobox", name="Class", exact=True)
    if box.input_value() != school.class_name:
        box.fill(school.class_name)  # a long list is not drawn whole
        with someone.a_change():
            someone.page.get_by_role("option", name=school.class_name, exact=True).click()


@pytest.fixture(scope="module")
def another_class(make_school):
    """So that there is always one to choose."""
    return make_school("beside the desk's", names=["Dan Other"])


@pytest.fixture
def school(make_school, another_class):
    """A class of three that no other test knows."""
    return make_school(f"desk class {next(_numbers)}")


@pytest.fixture
def instructor(server, school, learner):
    """Inside, with the class of three chosen."""
    someone = learner(server.address)
    enter(someone, server, school.passphrase)
    choose_class(someone, school)
    return someone


def may_try(server) -> bool:
    """Whether the desk takes another try from this machine's address; after a wrong one not at once."""
    with closing(Store.open(server.store)) as store, store.reading() as connection:
        return Tries(DESK, "127.0.0.1").wait(connection, datetime.now(UTC)) == 0


def test_from_the_set_up_code_to_a_set_with_its_class(own_server, learner, wait_until):
    someone = learner(f"{own_server.address}/class-desk")
    code = re.search(r"Its set-up code, for a day: (\w+)", own_server.log.read_text()).group(1)
    page = someone.page

    def set_up(code):
        page.get_by_label("Set-up code").fill(code)
        page.get_by_label("New passphrase").fill("a cold clear morning")
        page.get_by_label("The same passphrase again").fill("a cold clear morning")
        someone.press("Set the passphrase and enter")

    set_up("0" * 16)
    assert someone.hears("This is not the set-up code.")
    assert wait_until(lambda: may_try(own_server))
    set_up(code)
    assert someone.hears("Next: make a practice set below")

    someone.enter(page.get_by_label("Title"), "Strings on a cold morning")
    page.get_by_role("combobox", name="Lessons").click()
    with someone.a_change():
        page.get_by_role("option", name="The coldest morning").click()
    page.keyboard.press("Escape")
    assert someone.hears("The string's voltage on the coldest morning")
    someone.press("Look at one learner's problems")
    page.get_by_text("How alike 25 learners' problems are").wait_for(timeout=60_000)
    someone.press("Open this set for the class")
    assert someone.hears("This set is open. 5 problems (US: AWG, feet), 3 attempts each, with hints.")
    assert someone.hears("Next: put your learners on the roster")

    to_tab(someone, "Roster")
    upload(someone, "The roster as CSV", ROSTER, "utf-16")
    page.get_by_text("The file names 3 learners.").wait_for()
    assert someone.hears("line 5: 'Ana Again' stands on line 2 already; it was left out.")
    someone.press("Put 3 learners on the roster")
    assert someone.hears("3 learners were added.")
    assert '#read ("x")' in someone.text

    to_tab(someone, "Sets")
    someone.press("Hand out the problems now")
    page.get_by_text("have not got their problems yet").wait_for(state="detached", timeout=60_000)
    someone.press("Leave the desk")
    assert someone.hears("You have left the desk.")
    someone.go(f"{own_server.address}/class-desk?tab=Roster")
    assert someone.hears("Passphrase")
    assert "Ferreira" not in someone.text


@pytest.mark.long
def test_the_class_is_watched_while_it_works(server, school, instructor):
    to_tab(instructor, "Live")
    assert instructor.hears("0 of 3 learners have begun; 0 of 12 problems are solved.")
    instructor.page.evaluate("window.stays = true")
    school.answers(right=1, wrong=1)
    instructor.page.get_by_text("No attempts left at problem 1: Bo Lindqvist (2).").wait_for(timeout=20_000)
    assert instructor.hears("2 of 3 learners have begun; 2 of 12 problems are solved.")
    rows = instructor.page.locator(".class-matrix tbody tr").all_inner_texts()
    assert [re.findall("[✔✖○–]", row) for row in rows] == [list("✔✔○○"), list("✖○○○"), list("○○○○")]
    said = instructor.page.locator(".class-matrix .said").all_inner_texts()
    assert "not right yet, 3 tries, is here" in said
    assert instructor.page.evaluate("window.stays")  # nothing was loaded anew


def test_answers_on_paper_from_a_table_count_once(server, school, instructor):
    school.hand_out()
    handed = {(one.member.name, one.place): one for one in (outcome.handed for outcome in school.outcomes())}
    ana, bo = handed["Ana Ferreira", 1], handed["Bo Lindqvist", 1]
    table = (
        f"Problem code;Answer\n{ana.code};{ana.answer}\n{bo.code};1 V\n222-22X;5\n{handed['Čeda Petrović', 1].code};\n"
    )
    for told in ("2 new answers were marked: 1 right, 1 wrong.", "0 new answers were marked. 2 were there already."):
        to_tab(instructor, "Paper")
        upload(instructor, "Answers as CSV", table)
        instructor.button("Mark this table").click()
        instructor.page.get_by_text(told).wait_for()
        assert instructor.hears("line 4: '222-22X' is no problem's code")
    assert sum(len(outcome.answers) for outcome in school.outcomes()) == 2


def test_a_corrected_table_is_sent_as_a_whole(server, school, instructor):
    school.hand_out()
    ana, bo = [one.handed for one in school.outcomes() if one.handed.place == 1][:2]
    to_tab(instructor, "Paper")
    table = f"code,answer\n{ana.code},1 V\n{bo.code},{bo.answer}\n"
    for text, told in (
        (table, "2 new answers were marked"),
        (table.replace("1 V", ana.answer), "1 new answer was marked"),
    ):
        upload(instructor, "Answers as CSV", text)
        instructor.button("Mark this table").click()
        instructor.page.get_by_text(told).wait_for()
    assert instructor.hears("1 new answer was marked: 1 right. 1 earlier answer was corrected. 1 was there already.")
    first = school.outcomes()[0]
    assert [(answer.verdict, answer.counted) for answer in first.answers] == [("wrong", False), ("right", True)]


def test_answers_on_paper_are_typed_into_the_grid(server, school, instructor):
    school.hand_out()
    first = school.outcomes()[0].handed
    to_tab(instructor, "Paper")
    type_into_the_grid(instructor, first.answer)
    instructor.button("Mark what was typed").click()
    instructor.page.get_by_text("1 new answer was marked: 1 right.").wait_for()
    (answer,) = [answer for outcome in school.outcomes() for answer in outcome.answers]
    assert (answer.handed, answer.source, answer.verdict) == (first.id, "paper", "right")


@pytest.mark.long
def test_what_is_typed_survives_a_look_at_another_tab(server, school, instructor):
    school.answers(right=1, wrong=0)
    school.hand_out()
    page = instructor.page
    page.get_by_text("Make another set").click()
    page.get_by_label("Title").fill("Half a set")
    to_tab(instructor, "Answers")
    page.get_by_label("Comment that the learner sees").fill("Half a comment")
    to_tab(instructor, "Exports")
    page.get_by_label("Id of the class").fill("2A")
    instructor.press("Take these ids")
    to_tab(instructor, "Paper")
    type_into_the_grid(instructor, "1 V", row=1)
    for tab, label, text in [
        ("Sets", "Title", "Half a set"),
        ("Answers", "Comment that the learner sees", "Half a comment"),
        ("Exports", "Id of the class", "2A"),
    ]:
        to_tab(instructor, tab)
        expect(page.get_by_label(label)).to_have_value(text)
    to_tab(instructor, "Paper")
    instructor.button("Mark what was typed").click()
    page.get_by_text("1 new answer was marked: 1 wrong.").wait_for()
    instructor.button("Mark what was typed").click()
    page.get_by_text("Nothing was typed.").wait_for()
    assert [answer.entry for one in school.outcomes() for answer in one.answers if answer.source == "paper"] == ["1 V"]


@pytest.mark.long
def test_each_learners_own_state_is_shown_when_they_are_chosen(server, school, instructor):
    school.answers(right=1, wrong=1)
    school.hand_out()
    to_tab(instructor, "Answers")
    problem = instructor.page.get_by_role("combobox", name="Problem", exact=True)
    expect(problem).to_have_value(re.compile("^1. ✔ right: "))
    for name, state in (("Bo Lindqvist", "✖ not right yet"), ("Čeda Petrović", "○ open"), ("Ana Ferreira", "✔ right")):
        instructor.page.get_by_role("combobox", name="Learner", exact=True).click()
        instructor.page.get_by_role("option", name=re.compile(name)).click()
        expect(problem).to_have_value(re.compile(f"^1. {state}: "))
    instructor.press("Excuse the learner from this problem")
    expect(problem).to_have_value(re.compile("^1. – excused: "))


@pytest.mark.long
def test_an_answer_is_commented_and_withdrawn_and_a_problem_excused(server, school, instructor):
    school.answers(right=1, wrong=0)
    to_tab(instructor, "Answers")
    instructor.page.get_by_label("Comment that the learner sees").fill("Well done: ![x](http://127.0.0.1:9/x.png)")
    instructor.press("Save comment")
    instructor.press("Withdraw this answer")
    instructor.press("Count this answer again")
    instructor.press("Withdraw this answer")
    assert instructor.hears("not counted")
    instructor.press("Excuse the learner from this problem")
    first = school.outcomes()[0]
    assert first.handed.excused
    assert not first.answers[0].counted
    view = school.view(0, 1)
    assert view.excused
    assert view.answers[0].comment.startswith("Well done")
    assert not [url for url in instructor.page.requested if ":9/" in url]


@pytest.mark.long
def test_marking_again_shows_the_difference_before_it_is_made(server, school, instructor):
    school.answers(right=0, wrong=1)
    wrong = next(outcome for outcome in school.outcomes() if outcome.answers)
    to_tab(instructor, "Mark again")
    instructor.page.get_by_label("Problem code").fill(wrong.handed.code)
    instructor.page.get_by_label("Its right answer").fill(wrong.answers[0].entry)
    instructor.press("Preview changes to this problem")
    assert instructor.hears("1 problem gets another right answer; 3 answers are marked otherwise.")
    assert instructor.hears("✖ wrong")
    assert [answer.verdict for answer in school.again(wrong).answers] == ["wrong"] * 3
    instructor.press("Make this change")
    assert instructor.hears("Say in a few words why")
    instructor.page.get_by_label("Why (kept with the answers)").fill("The key was wrong")
    instructor.press("Make this change")
    assert instructor.hears("The change is made; 3 answers are marked otherwise than before.")
    assert [answer.verdict for answer in school.again(wrong).answers] == ["right"] * 3


def test_the_report_names_the_mistake_and_makes_a_follow_up_set(server, school, instructor):
    school.answers(right=1, wrong=2)
    to_tab(instructor, "Report")
    instructor.page.locator(".js-plotly-plot svg").first.wait_for()
    assert instructor.hears("1. The cold left out")
    assert instructor.hears("2 learners make it")
    assert instructor.hears("Below 30 learners the numbers stand with their intervals and without verdicts.")
    instructor.press("Make a follow-up set on this mistake")
    assert instructor.page.get_by_label("Title").input_value() == "Again: the cold left out"
    instructor.press("Open this set for the class")
    instructor.page.get_by_text("This set is open. 8 problems").wait_for()
    titles = [one.declaration.title for one in school.sets()]
    assert titles == [f"Cold strings of {school.class_name}", "Again: the cold left out"]


def test_the_link_is_shown_as_it_is_and_is_printed_as_one_that_other_devices_open(server, school, instructor):
    link = f"http://{HOST_NAME}/class-work?set={school.of.code}"
    instructor.page.get_by_test_id("stCode").filter(has_text=link).wait_for()
    shown = instructor.page.get_by_test_id("stMain").inner_text()
    assert shown.count(link) == 2  # at what comes next, and at the set
    assert not re.search("[\u00ad\u200b-\u200f\u2060\ufeff]", shown)
    to_tab(instructor, "Roster")
    with instructor.page.expect_download() as got:
        instructor.button("Download the codes as slips to print").click()
    slips = Path(got.value.path()).read_text(encoding="utf-8")
    assert slips.count(f"Open {link}<br>") == 3
    assert not re.search(r"127\.0|localhost", slips)


@pytest.mark.long
def test_sheets_and_key_are_made_and_downloaded(server, school, instructor, tmp_path):
    to_tab(instructor, "Sheets")
    for what, name, print_it in (
        ("Learners' sheets", "sheets", "Print sheets"),
        ("Answer key and marking strip", "key", "Print key"),
    ):
        instructor.page.get_by_text(what, exact=True).click()
        instructor.button(print_it).wait_for()
        instructor.rest()
        instructor.button(print_it).click()
        button = instructor.button(f"Download cold-strings-{name}.pdf")
        button.wait_for(timeout=90_000)
        with instructor.page.expect_download() as got:
            button.click()
        got.value.save_as(tmp_path / name)
        text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO((tmp_path / name).read_bytes())).pages)
        codes = [outcome.handed.code for outcome in school.outcomes()]
        assert len(codes) == 12
        assert [code for code in codes if code not in text] == []


def test_all_that_is_kept_about_a_learner_is_had_and_erased(server, school, instructor, tmp_path):
    school.answers(right=1, wrong=0)
    to_tab(instructor, "Roster")
    with instructor.page.expect_download() as got:
        instructor.button("Download all that is kept about this learner").click()
    got.value.save_as(tmp_path / "kept.json")
    kept = json.loads((tmp_path / "kept.json").read_text())
    assert kept["member"]["name"] == "Ana Ferreira"
    assert len(kept["class_answer"]) == 2
    typed = instructor.page.get_by_label("To erase all that is kept about this learner, type: Ana Ferreira")
    typed.fill("Ana")
    instructor.press("Erase for good")
    assert instructor.hears("Nothing was erased")
    typed.fill("Ana Ferreira")
    instructor.press("Erase for good")
    assert instructor.hears("Ana Ferreira (1) and all their answers were erased.")
    assert [member.name for member in school.roster()] == ["Bo Lindqvist", "Čeda Petrović"]


def test_a_set_is_closed_and_opened_again(server, school, instructor):
    instructor.press("Close set")
    assert instructor.hears("Close set: 3 of 3 learners still have open problems.")
    instructor.press("Keep open")
    assert school.sets()[0].closed_at is None
    instructor.press("Close set")
    instructor.press("Close set now")
    assert instructor.hears("This set is closed.")
    expect(instructor.page.get_by_role("combobox", name="Practice set")).to_have_value(
        f"Cold strings of {school.class_name} (closed)"
    )
    assert school.sets()[0].closed_at is not None
    instructor.press("Reopen set")
    assert instructor.hears("This set is open.")
    assert school.sets()[0].closed_at is None


@pytest.fixture(scope="module")
def full_class(make_school, another_class):
    """25 learners, of whom some have solved, some erred, some not begun."""
    names = [
        f"{first} {last}"
        for first in ("Ana", "Bo", "Čeda", "Dan", "Eve")
        for last in ["Fox", "Gull", "Hen", "Ibis", "Jay"]
    ]
    school = make_school("full", names=names)
    school.answers(right=6, wrong=4)
    return school


@pytest.mark.one_in(2)
@pytest.mark.parametrize("look", list(LOOKS))
def test_every_tab_fits_and_axe_finds_nothing_serious(look, server, full_class, learner):
    someone = learner(f"{server.address}/class-desk", **LOOKS[look])
    found = {"the way in": looked_at(someone)}
    enter(someone, server, full_class.passphrase)
    choose_class(someone, full_class)
    for tab in TABS:
        to_tab(someone, tab)
        found[tab] = looked_at(someone)
    grave = {tab: one for tab, (one, _) in found.items() if one}
    assert grave == {}
    wide = {tab: widths for tab, (_, widths) in found.items() if max(widths) > LOOKS[look]["width"]}
    assert wide == {}
    assert not [url for url in someone.page.requested if not url.startswith((server.address, "data:", "blob:"))]


def looked_at(someone):
    """What axe finds serious, and the widths of the page and its main part."""
    someone.rest()
    violations = Axe().run(someone.page).response["violations"]
    grave = {
        one["id"]: json.dumps(one["nodes"])[:800] for one in violations if one["impact"] in ("serious", "critical")
    }
    widths = "[document.documentElement, document.querySelector('[data-testid=stMain]')].map(e => e.scrollWidth)"
    return grave, someone.page.evaluate(widths)
