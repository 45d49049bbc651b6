"""The rulebook and its units are chosen once, and no page ever mixes the two."""

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

UNITS = {"us": (" AWG", " ft"), "iec": (" mm²", " m ")}


def units_told(text):
    return {book for book, units in UNITS.items() if any(unit in f"{text} " for unit in units)}


def choose(page, name):
    page.get_by_test_id("stSidebar").get_by_role("combobox").click()
    page.get_by_role("option", name=name).click()


def test_switching_the_rulebook_takes_the_whole_page_along_and_stays_chosen(server, learner):
    someone = learner(server.address + "/practice?exercise=drop-on-a-run&number=1")
    page = someone.page
    someone.press("Show the worked solution")
    page.get_by_role("heading", name="Worked solution").wait_for()
    assert units_told(someone.text) == {"us"}

    choose(page, "IEC")
    expect(page.get_by_text("rulebook IEC")).to_be_visible()
    page.wait_for_url("**rulebook=iec**")
    someone.press("Show the worked solution")
    page.get_by_role("heading", name="Worked solution").wait_for()
    assert units_told(someone.text) == {"iec"}

    page.reload()
    expect(page.get_by_text("rulebook IEC")).to_be_visible()
    someone.go(server.address + "/lessons?lesson=voltage-drop")
    page.get_by_role("link", name="Voltage lost on a run").or_(page.get_by_role("link", name="level")).first.click()
    expect(page.get_by_text("rulebook IEC")).to_be_visible()


def test_a_link_shows_its_own_rulebook_whatever_is_chosen(server, learner):
    someone = learner(server.address + "/practice?exercise=drop-on-a-run&number=1&rulebook=iec")
    expect(someone.page.get_by_text("rulebook IEC")).to_be_visible()
    box = someone.page.get_by_test_id("stSidebar").get_by_role("combobox")
    assert "IEC" in box.evaluate("box => box.value || box.getAttribute('aria-label') || box.textContent")
