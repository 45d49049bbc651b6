"""What a learner has been told is kept: over a reload, a killed server, a lost connection, and beside a second tab."""

import importlib.util
from pathlib import Path

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

PROBLEM = "/practice?exercise=most-modules-in-series&given=input_voltage_max=450 V&given=record_low=-24 degC"
CONNECTED = "[data-testid=stApp][data-test-connection-state=CONNECTED]"
LOST = "[data-testid=stApp]:not([data-test-connection-state=CONNECTED])"

_spec = importlib.util.spec_from_file_location("browser_proxy", Path(__file__).with_name("proxy.py"))
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)


@pytest.fixture
def proxy(server):
    between = _module.Proxy(server.port)
    yield between
    between.close()


def test_a_reload_in_the_middle_keeps_entry_verdict_steps_and_hints(server, learner):
    someone = learner(server.address + PROBLEM)
    someone.page.get_by_text("Step by step").click()
    someone.page.get_by_role("textbox", name="Step 1:").wait_for()
    someone.step(1, "1,5")
    someone.press("Show hint 1 of 3")
    verdict = someone.answer("99")
    someone.page.reload()
    someone.button("Check the answer").wait_for()
    someone.page.get_by_text("Hint 1.").wait_for()
    expect(someone.box).to_have_value("99")
    expect(someone.page.get_by_role("textbox", name="Step 1:")).to_have_value("1,5")
    assert someone.verdict == verdict
    assert someone.button("Show hint 2 of 3").is_visible()


def test_a_killed_server_loses_nothing_and_the_open_tab_goes_on(own_server, learner):
    someone = learner(own_server.address + PROBLEM)
    verdict = someone.answer("98")
    someone.press("Show hint 1 of 3")
    own_server.kill()
    someone.page.wait_for_selector(LOST, state="attached")
    assert verdict in someone.text, "what was said stays on the screen"
    own_server.start()
    assert someone.entries(own_server) == ["98"]
    someone.page.wait_for_selector(CONNECTED, state="attached")
    assert "97" in someone.answer("97"), "the first thing after the restart is an answer"
    assert someone.entries(own_server) == ["98", "97"]
    assert someone.page.get_by_text("Hint 1.").is_visible()


def test_a_lost_connection_loses_no_answer(server, proxy, learner):
    someone = learner(proxy.address + PROBLEM)
    verdict = someone.answer("98")
    proxy.cut()
    someone.page.wait_for_selector(LOST, state="attached")
    assert verdict in someone.text
    proxy.mend()
    someone.page.wait_for_selector(CONNECTED, state="attached")
    assert "97" in someone.answer("97")
    assert someone.entries(server) == ["98", "97"]


def test_an_answer_cut_off_on_its_way_is_there_once_or_can_be_sent_again(server, proxy, learner):
    someone = learner(proxy.address + PROBLEM)
    someone.answer("98")
    someone.box.fill("97")
    someone.box.press("Enter")
    proxy.cut()
    someone.page.wait_for_selector(LOST, state="attached")
    proxy.mend()
    someone.page.wait_for_selector(CONNECTED, state="attached")
    someone.page.reload()
    someone.button("Check the answer").wait_for()
    kept = someone.entries(server)
    assert kept in (["98"], ["98", "97"])
    expect(someone.box).to_have_value(kept[-1])
    someone.answer("96")
    assert someone.entries(server) == [*kept, "96"]


def test_two_tabs_of_one_learner_do_not_overwrite_each_other(server, learner):
    one = learner(server.address + PROBLEM)
    other = type(one)(one.page.context.new_page())
    other.page.goto(server.address + PROBLEM)
    other.button("Check the answer").wait_for()
    third = type(one)(one.page.context.new_page())
    third.page.goto(server.address + "/practice?exercise=string-on-the-label&number=2")
    third.button("Check the answer").wait_for()
    for who, text in ((one, "98"), (other, "97"), (third, "1 V"), (one, "96"), (other, "95")):
        assert text in who.answer(text)
    assert one.entries(server) == ["98", "97", "1 V", "96", "95"]
    one.page.reload()
    one.button("Check the answer").wait_for()
    expect(one.box).to_have_value("95")  # the latest answer, whichever tab it came from
