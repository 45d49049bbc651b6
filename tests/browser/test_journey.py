"""A learner's way: from Start through a lesson to a problem, wrong and right answers, steps, help, fresh numbers."""

import json

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

# 41.3 V × (1 + 0.0027 × 49) = 46.76 V; 450 V / 46.76 V = 9.62, so 9 modules: worked by hand.
OWN = (
    "/practice?exercise=most-modules-in-series&given=module_voc=41.3 V&given=voc_coefficient=-0.27 %25/K"
    "&given=record_low=-24 degC&given=input_voltage_max=450 V"
)


def test_from_start_through_a_lesson_to_a_right_answer_after_a_wrong_one(server, learner, engine):
    someone = learner(server.address)
    page = someone.page
    page.get_by_role("link", name="The lesson on this hour").click()
    page.wait_for_url("**/lessons?lesson=cold-voltage")
    figure = page.get_by_role("figure")
    figure.wait_for()
    before = figure.get_attribute("aria-label")
    expect(page.get_by_text(before)).to_be_visible()
    page.get_by_role("slider", name="Modules in series").press("ArrowLeft")
    expect(figure).not_to_have_attribute("aria-label", before)
    expect(page.get_by_text(before)).to_have_count(0)
    expect(page.get_by_text(figure.get_attribute("aria-label"))).to_be_visible()

    page.get_by_role("link", name="The most modules in one string · level 2").click()
    page.wait_for_url("**/practice?exercise=most-modules-in-series&number=1")
    page.get_by_role("button", name="Check the answer").wait_for()
    problem = draw_of(engine, "most-modules-in-series", 1)
    assert someone.answer("999").startswith("✖")
    assert "Not right yet." in someone.verdict
    assert someone.answer(f"{problem.answer.value:g} modules").startswith("✔")

    story = someone.text
    someone.press("Fresh numbers")
    page.wait_for_url("**number=2")
    page.get_by_text("Problem 2 ·").wait_for()
    assert someone.text != story
    assert someone.box.input_value() == ""
    assert someone.verdicts == []


def draw_of(engine, exercise, number):
    from tutor.problems.draw import draw

    return draw(engine.question(exercise), number)


def test_own_numbers_by_their_address_and_a_named_mistake(server, learner):
    someone = learner(server.address + OWN + "&ask=cold_voltage")
    says = "The label's voltage holds for cells at 25 °C. Which morning of the year gives the most voltage?"
    assert says in someone.answer("41,3 V")
    right = someone.answer("46.76")
    assert right.startswith("✔")
    assert "46.76 V" in right


def test_more_than_one_way_is_offered_and_none_is_claimed(server, learner):
    verdict = learner(server.address + OWN).answer("10")
    assert "the cold left out; rounded up, or to the nearest whole number. Which was yours?" in verdict


def test_step_by_step_a_wrong_first_step_then_right_ones(server, learner):
    someone = learner(server.address + OWN)
    someone.page.get_by_text("Step by step").click()
    someone.page.get_by_role("textbox", name="Step 1:").wait_for()
    assert "The label's voltage holds for cells at 25 °C." in someone.step(1, "41.3")
    assert someone.page.get_by_role("textbox", name="Step 2:").count() == 0
    assert someone.step(1, "46.76 V").startswith("✔")
    assert someone.step(2, "9.62").startswith("✔")
    assert someone.page.get_by_text("All steps are there. Now the answer:").is_visible()
    assert someone.answer("9").startswith("✔")
    assert someone.entries(server) == ["9"]


def test_an_ambiguous_entry_is_asked_about_and_not_counted(server, learner):
    someone = learner(server.address + OWN)
    assert "“1,234” can be read as 1.234 or as 1234" in someone.answer("1,234")
    assert "Not counted." in someone.verdict
    assert "The entry is empty" in someone.answer("")
    someone.page.goto(server.address + "/progress")
    someone.page.get_by_text("Nothing answered yet.").wait_for()


def test_hints_come_one_by_one_and_then_the_solution(server, learner):
    someone = learner(server.address + OWN)
    for at in (1, 2, 3):
        someone.press(f"Show hint {at} of 3")
        someone.page.get_by_text(f"Hint {at}.").wait_for()
    assert someone.button("Show hint").count() == 0
    someone.press("Show the worked solution")
    someone.page.get_by_role("heading", name="Worked solution").wait_for()
    assert "46.76 V" in someone.text


def test_own_numbers_typed_into_the_page_and_gone_on_with_later(server, learner):
    someone = learner(server.address + "/practice?exercise=most-modules-in-series&number=4")
    someone.answer("77")
    someone.page.get_by_text("put in your own numbers").click()
    for name, text in {
        "Module's open-circuit voltage": "41.3 V",
        "Temperature coefficient of open-circuit voltage": "-0.27 %/K",
        "Record low": "-24 °C",
        "Input's voltage limit": "450 V",
    }.items():
        someone.page.get_by_role("textbox", name=name, exact=True).fill(text)
    someone.press("Use these numbers")
    someone.page.get_by_role("cell", name="450 V").wait_for()
    assert someone.box.input_value() == "", "what was typed for the drawn numbers is no answer to these"
    assert someone.answer("9").startswith("✔")
    someone.page.goto(server.address)
    someone.press("Next: go on where you were")
    someone.page.get_by_role("cell", name="450 V").wait_for()
    expect(someone.box).to_have_value("9")
    someone.press("Fresh numbers")
    someone.page.get_by_text("Problem 5 ·").wait_for()
    someone.page.get_by_text("put in your own numbers").click()
    field = someone.page.get_by_role("textbox", name="Input's voltage limit", exact=True)
    field.wait_for()
    shown = someone.page.get_by_role("row").filter(has_text="Input's voltage limit").inner_text()
    assert field.input_value().replace("\u00a0", " ") in shown.replace("\u00a0", " ")


def test_the_keyboard_alone_leads_from_start_to_a_verdict(server, learner):
    someone = learner(server.address)
    page = someone.page
    tab_to(page, "All exercises")
    page.keyboard.press("Enter")
    page.wait_for_url("**/practice")
    page.get_by_role("link", name="The most modules in one string · level 2").wait_for()
    tab_to(page, "The most modules in one string · level 2")
    page.keyboard.press("Enter")
    someone.button("Check the answer").wait_for()
    tab_to(page, "Number of modules in series")
    page.keyboard.type("999")
    page.keyboard.press("Enter")
    page.get_by_role("alert").filter(has_text="Not right yet.").wait_for()
    assert page.evaluate("document.activeElement.value") == "999", "the focus stays, so that the entry can be mended"


def tab_to(page, name: str) -> None:
    """Press Tab until what has the focus bears the name."""
    seen = []
    for _ in range(80):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate("(document.activeElement.ariaLabel || document.activeElement.innerText || '').trim()")
        )
        if seen[-1] == name:
            return
    raise AssertionError(f"Tab does not reach {name!r}; it reached {seen}")


def test_a_link_opens_the_same_problem_for_somebody_else(server, learner):
    address = server.address + "/practice?exercise=string-voltage-at-record-low&number=17"
    one, other = learner(address), learner(address)
    one.answer("1")
    shown, *_ = one.text.split("Step by step")
    assert "Problem 17" in shown
    assert other.hears(shown.strip())
    assert other.box.input_value() == ""


def test_progress_shows_downloads_and_erases_the_record(server, learner):
    someone = learner(server.address + OWN)
    someone.answer("10")
    someone.answer("9")
    someone.page.goto(server.address + "/progress")
    row = someone.page.get_by_role("row").filter(has_text="The most modules in one string")
    row.wait_for()
    assert row.get_by_role("cell").all_inner_texts()[1:3] == ["2", "1 unaided, 0 with help"]
    with someone.page.expect_download() as download:
        someone.button("Download all of it as JSON").click()
    told = json.loads(download.value.path().read_text(encoding="utf-8"))
    assert [(one["entry"], one["verdict"]) for one in told["attempts"]] == [("10", "wrong"), ("9", "right")]

    someone.press("Erase")
    someone.page.get_by_text("Nothing was erased.").wait_for()
    assert someone.entries(server) == ["10", "9"]
    someone.page.get_by_text("Yes, erase everything").click()
    someone.press("Erase")
    someone.page.get_by_text("Nothing answered yet.").wait_for()
    assert someone.entries(server) == []
