"""Thirty learners answer while others flood the server: with files, workings, pages that vanish, and guesses."""

import subprocess
import sys
import threading
import time
from pathlib import Path
from statistics import quantiles

import pytest

FLOODING = Path(__file__).parents[2] / "flooding.py"
LEARNERS = 30
EVERY = 8.0  # s between two answers of a learner: few are that fast
MEMORY = 20  # MB above that before the floods
# (seconds, what an answer may take in s): the promise holds for a machine that does nothing else
SHORT, LONG = (10, 2.0), (60, 0.5)


class Learners:
    """Learners at the practice page who each answer every few seconds; `took` holds the seconds of each one's runs."""

    def __init__(self, tab):
        self._stopped = threading.Event()
        self._pages = [tab("practice", f"exercise=most-modules-in-series&number={at}") for at in range(1, LEARNERS + 1)]
        self._forms = [(one.elements("text_input")[-1].id, answers(one)[-1].id) for one in self._pages]
        self.took = [[] for _ in range(LEARNERS)]

    def answer_for(self, seconds):
        self.took = [[] for _ in range(LEARNERS)]
        until = time.monotonic() + seconds
        answering = [threading.Thread(target=self._answer, args=(at, until)) for at in range(LEARNERS)]
        for one in answering:
            one.start()
        for one in answering:
            one.join()

    def _answer(self, at, until):
        page = self._pages[at]
        box, button = self._forms[at]
        time.sleep(EVERY * at / LEARNERS)
        count = 0
        while time.monotonic() < until:
            count += 1
            start = time.monotonic()
            page.received.clear()
            page.run({box: str(100 + count), button: True})
            self.took[at].append(time.monotonic() - start)
            time.sleep(EVERY)


def answers(page):
    return [one for one in page.elements("button") if one.label == "Check the answer"]


def flood(port, seconds):
    return subprocess.Popen([sys.executable, str(FLOODING), str(port), str(seconds)])


def slowest(took):
    """The largest of the learners' 95th percentiles."""
    return max(quantiles(one, n=20, method="inclusive")[-1] if len(one) > 1 else one[0] for one in took if one)


@pytest.mark.parametrize(
    ("seconds", "most"),
    [
        pytest.param(*SHORT, id="short", marks=pytest.mark.long),
        pytest.param(*LONG, id="long", marks=pytest.mark.million),
    ],
)
def test_floods_hold_up_nobody_and_leave_nothing(tab, attacked, seconds, most):
    learners = Learners(tab)
    assert flood(attacked.port, 0).wait(timeout=60) == 0  # what a first visit loads stays for good
    learners.answer_for(EVERY)
    quiet, before = slowest(learners.took), attacked.memory()
    flooding = flood(attacked.port, seconds)
    learners.answer_for(seconds)
    assert flooding.wait(timeout=60) == 0
    flooded = slowest(learners.took)
    deadline = time.monotonic() + 60
    while attacked.memory() - before > MEMORY and time.monotonic() < deadline:
        time.sleep(1)
    stays = attacked.memory() - before
    print(f"\nan answer takes {quiet:.3f} s in quiet, {flooded:.3f} s flooded; {stays:.0f} MB stay")
    assert min(map(len, learners.took)) >= 1
    assert flooded <= max(most, 4 * quiet)
    assert stays <= MEMORY
