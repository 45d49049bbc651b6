"""What holds on every page: axe, no sideways scroll on a phone, nothing from outside, figures with words and numbers.

Each page is opened once on a desk in the light and once on a phone in the dark, and all tests look at these visits.
Plain pytest takes one page so, the next but one otherwise, and so on; the others are long.
"""

import json
import re
from dataclasses import dataclass

import pytest
from axe_playwright_python.sync_playwright import Axe

from tutor.content.library import load

pytestmark = pytest.mark.browser

LESSONS = list(load().lessons)
PROBLEM = "/practice?exercise=most-modules-in-series"
# 34.14 V × (1 + 0.0032 × 52) = 39.82 V; 550 V / 39.82 V = 13.8: worked by hand
NUMBERS = "&given=module_voc=34.14 V&given=voc_coefficient=-0.32 %25/K&given=record_low=-27 degC"
PAGES = {
    "start": "/",
    "lessons": "/lessons",
    **{f"lesson {id_}": f"/lessons?lesson={id_}" for id_ in LESSONS},
    "practice": "/practice",
    "problem answered wrong": PROBLEM + NUMBERS + "&given=input_voltage_max=550 V",
    "problem answered right": PROBLEM + NUMBERS + "&given=input_voltage_max=549 V",
    "tables": "/tables",
    "progress": "/progress",
    "working": "/working?exercise=most-modules-in-series&number=3",
    "recognition": "/recognition",
    "class work": "/class-work",
}
LOOKS = {"desk": {"width": 1100, "scheme": "light"}, "phone": {"width": 360, "height": 740, "scheme": "dark"}}


@dataclass(frozen=True)
class Visit:
    """What was found on a page."""

    text: str
    grave: dict[str, str]
    widths: list[int]
    requested: list[str]
    refused: list[str]
    figures: list[tuple[str, bool, int]]
    pictures_without_words: list[str]


@pytest.fixture(scope="module")
def visits():
    return {}


def in_turn(names):
    """Each name with each look, three times of four a long one."""
    pairs = [(name, look) for name in names for look in LOOKS]
    return [pytest.param(*pair, marks=[pytest.mark.long] * (at % 8 not in (0, 5))) for at, pair in enumerate(pairs)]


PAGES_IN_TURN, LESSONS_IN_TURN = (
    pytest.mark.parametrize(("name", "look"), in_turn(names))
    for names in (PAGES, [name for name in PAGES if name.startswith("lesson ")])
)


@pytest.fixture
def visit(name, look, visits, server, wanderer) -> Visit:
    """The visit of this page with this look; made at the first call."""
    if (name, look) not in visits:
        visits[name, look] = visited(wanderer(**LOOKS[look]), server.address, name)
    return visits[name, look]


def visited(someone, address: str, name: str) -> Visit:
    page = someone.page
    someone.go(address + PAGES[name])
    if name == "problem answered wrong":
        assert someone.answer("14").startswith("✖")
        someone.press("Show hint 1 of 3")
    if name == "problem answered right":
        assert someone.answer("13").startswith("✔")
        someone.press("Show the worked solution")
    if name.startswith("lesson "):
        page.locator(".js-plotly-plot svg").first.wait_for()
    someone.rest()
    refused = list(page.refused)
    found = Axe().run(page).response["violations"]
    return Visit(
        text=someone.text,
        grave={one["id"]: json.dumps(one["nodes"])[:1500] for one in found if one["impact"] in ("serious", "critical")},
        widths=page.evaluate(
            "[document.documentElement, document.querySelector('[data-testid=stMain]')].map(e => e.scrollWidth)"
        ),
        requested=list(page.requested),
        refused=refused,
        figures=[figure_of(someone, figure) for figure in page.get_by_role("figure").all()],
        pictures_without_words=page.evaluate("[...document.images].filter(i => !i.alt).map(i => i.src.slice(0, 80))"),
    )


def figure_of(someone, figure) -> tuple[str, bool, int]:
    """A figure's sentence, whether it stands on the page as text, and how many rows its table has."""
    page, sentence = someone.page, figure.get_attribute("aria-label")
    page.get_by_text("The figure's numbers as a table").click()
    table = page.get_by_test_id("stExpander").filter(has_text="The figure's numbers as a table").locator("tbody tr")
    table.first.wait_for()
    return sentence, " ".join(sentence.split()) in someone.text, table.count()


@PAGES_IN_TURN
def test_axe_finds_nothing_serious(visit):
    assert visit.grave == {}


@PAGES_IN_TURN
def test_nothing_is_wider_than_a_phone(visit, look):
    if look == "phone":
        assert max(visit.widths) <= 360


@PAGES_IN_TURN
def test_no_request_leaves_this_machine(visit, server):
    outside = [url for url in visit.requested if not re.match(rf"(data:|blob:|{re.escape(server.address)}/)", url)]
    assert visit.requested
    assert outside == []


@PAGES_IN_TURN
def test_no_page_breaks_a_rule_of_its_own_content_policy(visit):
    assert visit.refused == []


@PAGES_IN_TURN
def test_every_page_carries_the_caution(visit):
    assert "the code adopted where you live and a licensed electrician" in visit.text
    assert "has encountered an error" not in visit.text


@PAGES_IN_TURN
def test_every_picture_has_words(visit):
    assert visit.pictures_without_words == []


@LESSONS_IN_TURN
def test_every_lesson_has_a_figure_with_its_sentence_and_its_table(visit):
    ((sentence, shown, rows),) = visit.figures
    assert sentence.endswith(".")
    assert shown
    assert rows >= 2
