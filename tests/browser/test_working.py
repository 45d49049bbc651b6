"""Check my working in a real browser: typed, pointed at, kept over a reload, sent as a file, text that stays text."""

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

# 41.3 V × (1 + 0.0027 × 49) = 46.76 V; 450 V / 46.76 V = 9.62, so 9 modules: worked by hand.
GIVEN = (
    "?exercise=most-modules-in-series&given=module_voc=41.3 V&given=voc_coefficient=-0.27 %25/K"
    "&given=record_low=-24 degC&given=input_voltage_max=450 V"
)
WRONG = "41.3 × 1.1323 = 46.76 V\n450/46.76 = 9.62\nso 10"
RIGHT = "41.3 × 1.1323 = 46.76 V\n450/46.76 = 9.62\nso 9"


def box(someone):
    return someone.page.get_by_role("textbox", name="Your lines")


def test_the_first_wrong_line_is_pointed_at_and_mended(server, learner):
    someone = learner(server.address + "/working" + GIVEN)
    box(someone).fill(WRONG)
    someone.press("Check the lines")
    assert someone.hears("Line 3 is the first that does not hold.")
    assert someone.hears("look here first")
    box(someone).fill(RIGHT)
    someone.press("Check the lines")
    assert someone.hears("they reach the answer")


def test_nothing_typed_is_lost_on_reload(server, learner):
    someone = learner(server.address + "/working" + GIVEN)
    box(someone).fill(WRONG)
    with someone.a_change():
        box(someone).blur()
    someone.page.reload()
    someone.page.get_by_text("These lines are not checked yet.").wait_for()
    expect(box(someone)).to_have_value(WRONG)
    someone.press("Check the lines")
    assert someone.hears("Line 3 is the first that does not hold.")


def test_a_file_is_read_in_latin_1_and_a_large_one_is_said(server, learner):
    someone = learner(server.address + "/working" + GIVEN)
    chooser = someone.page.locator("input[type=file]")
    chooser.set_input_files({"name": "w.txt", "mimeType": "text/plain", "buffer": RIGHT.encode("latin-1")})
    someone.page.get_by_text("they reach the answer").wait_for()
    chooser.set_input_files({"name": "w.txt", "mimeType": "text/plain", "buffer": b"9" * 20_001})
    someone.page.get_by_text("The file is larger than 20 kB.").wait_for()


def test_markup_in_a_line_stays_text(server, learner):
    someone = learner(server.address + "/working" + GIVEN)
    box(someone).fill("![](http://127.0.0.1:9/x.png) = 3\n<b>9</b>")
    someone.press("Check the lines")
    assert someone.hears("![](http://127.0.0.1:9/x.png) = 3")
    assert not [url for url in someone.page.requested if "127.0.0.1:9/" in url]


def test_from_a_problem_to_its_working_and_back(server, learner):
    someone = learner(server.address + "/practice" + GIVEN)
    someone.page.get_by_role("link", name="Check my working, line by line").click()
    someone.page.wait_for_url("**/working?exercise=most-modules-in-series**")
    box(someone).wait_for()
    someone.page.get_by_role("link", name="Practice: The most modules in one string").click()
    someone.page.wait_for_url("**/practice?exercise=most-modules-in-series**")
