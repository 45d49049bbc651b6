"""Sheets and keys as pages: what an HTML parser and axe find, and that nothing typed becomes markup."""

from datetime import date
from itertools import pairwise

import pytest
from lxml import html

from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.sets.snapshots import assigned_from
from tutor.classroom.sheets.build import learner_key, learner_sheet, style_of
from tutor.classroom.sheets.page import key_page, sheets_page
from tutor.content.library import load
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine

EXERCISES = ["most-modules-in-series", "switching-on", "battery-fuse", "array-current", "does-the-load-ride-through"]
TYPED = '<script>alert(1)</script> {{ 7 * 7 }} "\u202e'
SHOWN = '<script>alert(1)</script> {{ 7 * 7 }} "\\u202e'


@pytest.fixture(scope="module")
def engine():
    return Engine(load())


@pytest.fixture(scope="module")
def made(engine):
    """The two pages, of three learners, one of them with a name made to do harm."""
    practice = PracticeSet(id="first-week", title="The first week", items=[Item(exercise=EXERCISES[0])])
    style = style_of(practice, engine.library, date(2026, 1, 12))
    drawn = [(f"7KQ{at}-2P", make_problem(engine, id_)) for at, id_ in enumerate(EXERCISES)]
    problems = [(assigned_from(problem, Member(id=1, name=""), 1, code), problem) for code, problem in drawn]
    members = [Member(id=at, name=name, number="7") for at, name in enumerate(["Ana Example", TYPED, "محمد"])]
    sheets = [learner_sheet(one, problems, notes=[TYPED], steps=True) for one in members]
    return {
        "sheets": sheets_page(style, sheets),
        "key": key_page(style, [learner_key(one, problems) for one in members]),
    }


@pytest.fixture(scope="module", params=["sheets", "key"])
def page(made, request):
    return html.fromstring(made[request.param])


def test_it_has_a_language_a_title_and_headings_without_a_gap(page):
    assert page.get("lang") == "en"
    assert page.findtext("head/title").startswith("The first week")
    levels = [int(one.tag[1]) for one in page.iter("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper - level <= 1 for level, deeper in pairwise(levels))


def test_nothing_typed_becomes_markup_and_nothing_can_run_or_be_fetched(page):
    assert page.findall(".//script") == []
    names = [one.text_content() for one in page.iter("bdi")]
    assert SHOWN in names
    assert not any(name.startswith("on") for one in page.iter() for name in one.attrib)
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    assert "default-src 'none'" in policy
    assert "script" not in policy
    links = page.xpath("//@href | //@src")
    assert all(link.startswith("data:image/svg+xml") for link in links)


def test_tables_say_what_their_cells_belong_to(page):
    for table in page.iter("table"):
        assert all(one.get("scope") in ("col", "row") for one in table.iter("th"))
        assert all(row.find("th") is not None for row in table.iter("tr"))


def test_every_diagram_is_told_in_words_and_a_name_has_its_direction(made):
    page = html.fromstring(made["sheets"])
    images = list(page.iter("img"))
    assert len(images) == 4 * 3
    assert all(len(one.get("alt")) > 60 for one in images)
    assert {one.get("dir") for one in page.iter("bdi") if one.text_content() == "محمد"} == {"rtl"}


@pytest.mark.parametrize("which", ["sheets", "key"])
def test_cautions_and_codes_stand_at_each_problem(engine, made, which):
    sections = html.fromstring(made[which]).xpath("//section")
    assert len(sections) == 3 * len(EXERCISES)
    for at, section in enumerate(sections):
        told = " ".join(section.text_content().split())
        assert f"7KQ{at % len(EXERCISES)}-2P" in told
        exercise = engine.library.exercises[EXERCISES[at % len(EXERCISES)]]
        assert all(engine.library.hazards[id_].text in told for id_ in exercise.safety if id_ != "local-code-decides")
    assert engine.library.hazards["local-code-decides"].text in made[which]


def test_the_key_is_marked_and_no_answer_is_on_the_sheets(engine, made):
    problem = make_problem(engine, "does-the-load-ride-through")
    why = problem.question.exercise.why[problem.ask]
    assert "ANSWER KEY" in made["key"]
    assert why in html.fromstring(made["key"]).text_content()
    assert "ANSWER KEY" not in made["sheets"]
    assert why not in html.fromstring(made["sheets"]).text_content()


@pytest.mark.browser
@pytest.mark.parametrize("which", ["sheets", "key"])
def test_axe_finds_nothing(made, which, tmp_path, chromium_path):
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    file = tmp_path / "page.html"
    file.write_text(made[which], encoding="utf-8")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 400, "height": 800})
        page.goto(file.as_uri())
        found = Axe().run(page).response["violations"]
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        browser.close()
    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    assert not wide
