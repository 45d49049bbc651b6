"""The process that checks workings: it answers, obeys when nobody waits any longer, and holds up nobody's page."""

import os
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import tutor.app
from tutor.answers.working.judging import MOST_LINES
from tutor.app import session
from tutor.app.address import Address
from tutor.app.server import checking
from tutor.app.server.checking import Asked, Checker, CheckerInPlace, CheckingError, OutOfTime

MAIN = Path(tutor.app.__file__).parent / "main.py"
PROBLEM = Address("most-modules-in-series", 3)
USUAL = Asked(PROBLEM, "1 + 1 = 2\n1 + 1 = 3")
# Numbers of the problem that can be read in many ways, commas that may part thousands or decimals, two methods.
HOSTILE = Asked(
    PROBLEM,
    "\n".join(
        f"385 V;22.2;15;18.47;385 V;22.2;1,234;385;15.64;24.61;1;385 V;1,234+22.2;385;{at}" for at in range(MOST_LINES)
    ),
)
HELD_UP = 0.3  # s that a page run may take while others do their worst
BUSY = 2  # times as long as in quiet, where the machine itself is that slow


class Left(BaseException):
    """The learner has closed the page."""


@pytest.fixture(scope="module")
def checker():
    checker = Checker(None)
    checker.check(USUAL, "first", lambda: None)
    yield checker
    checker.end()


def leave_after(looks):
    """A learner who closes the page at the so-and-so-manieth look."""
    left = iter(range(looks))

    def stay():
        if next(left, None) is None:
            raise Left

    return stay


def test_a_verdict_comes_back_from_the_process(checker):
    working = checker.check(USUAL, "ana", lambda: None)
    assert [line.verdict for line in working.lines] == ["holds", "arithmetic"]
    assert checker._process.pid != os.getpid()


def test_where_no_working_can_be_ended_the_verdict_is_the_same(checker, engine):
    in_place = CheckerInPlace(engine)
    in_place.start()
    assert in_place.check(USUAL, "ana", lambda: None) == checker.check(USUAL, "ana", lambda: None)
    with pytest.raises(CheckingError, match="may have 60 lines"):
        in_place.check(Asked(PROBLEM, "1+1=2\n" * 61), "ana", lambda: None)


def test_a_working_with_too_many_lines_is_told(checker):
    with pytest.raises(CheckingError, match="may have 60 lines"):
        checker.check(Asked(PROBLEM, "1+1=2\n" * 61), "ana", lambda: None)


def test_an_address_that_names_no_problem_is_told(checker):
    with pytest.raises(CheckingError, match="gone-for-good"):
        checker.check(Asked(Address("gone-for-good"), "1+1=2"), "ana", lambda: None)


def test_the_work_ends_when_its_learner_has_left_and_the_process_goes_on(checker):
    before = checker._process.pid
    with pytest.raises(Left):
        checker.check(HOSTILE, "left", leave_after(2))
    assert checker._spent["left"] < checking.OF_A_WORKING / 2
    start = time.monotonic()
    checker.check(USUAL, "ana", lambda: None)
    assert checker._process.pid == before
    assert time.monotonic() - start < checking.OF_A_WORKING


def test_a_process_that_was_killed_is_replaced(checker):
    checker._process.kill()
    checker._process.wait()
    assert checker.check(USUAL, "ana", lambda: None).lines[1].verdict == "arithmetic"


def test_who_has_used_up_the_time_waits_and_others_do_not(checker, monkeypatch):
    monkeypatch.setitem(checker._spent, "greedy", checking.OF_A_LEARNER + 1)
    with pytest.raises(CheckingError, match="used up"):
        checker.check(USUAL, "greedy", lambda: None)
    assert checker.check(USUAL, "ana", lambda: None)
    monkeypatch.setattr(checker, "_began", checker._began - checking.WINDOW - 1)
    assert checker.check(USUAL, "greedy", lambda: None)


def test_a_working_ends_after_its_processor_time(monkeypatch):
    monkeypatch.setattr(checking, "OF_A_WORKING", 0.1)
    limit = checking._Limit()

    def stuck():
        with limit:
            while True:
                pass

    start = time.process_time()
    with pytest.raises(OutOfTime):
        stuck()
    assert time.process_time() - start < 1.0
    os.kill(os.getpid(), checking.signal.SIGUSR1)  # between two workings it does nothing


@pytest.fixture
def page(pages_store, monkeypatch, checker):
    """A page of practice that is open, on a server whose workings are checked by that process."""
    monkeypatch.setattr(session, "checker", lambda: checker)
    app = AppTest.from_file(str(MAIN), default_timeout=60)
    app.session_state["learner"] = "l" * 43
    app.run()
    app.switch_page("screens/practice.py")
    app.query_params["exercise"] = "most-modules-in-series"
    return app.run()


def median_run(page, runs=7):
    took = []
    for _ in range(runs):
        start = time.monotonic()
        page.run()
        took.append(time.monotonic() - start)
    assert not page.exception
    return sorted(took)[runs // 2]


def test_others_with_hostile_workings_hold_up_no_page(page):
    """Four learners have sixty lines checked again and again."""
    quiet = median_run(page)
    ended = threading.Event()

    def stay():
        if ended.is_set():
            raise Left

    def attack(learner):
        while not ended.is_set():
            with suppress(CheckingError, Left):
                session.checker().check(HOSTILE, learner, stay)

    attackers = [threading.Thread(target=attack, args=(f"attacker {at}",)) for at in range(4)]
    for attacker in attackers:
        attacker.start()
    try:
        attacked = median_run(page)
    finally:
        ended.set()
        for attacker in attackers:
            attacker.join()
    print(f"a page run takes {quiet:.3f} s in quiet, {attacked:.3f} s under attack")
    assert attacked < max(HELD_UP, BUSY * quiet)
