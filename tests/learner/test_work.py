"""What a learner has done in one problem, summed up from attempts."""

import pytest

from tutor.content.models import Amount
from tutor.learner.record import Attempt
from tutor.learner.work import Work

SHOWN = {"record_low": Amount(value=-24, unit="degC"), "module_voc": Amount(value=41.3, unit="V")}
GIVENS = {name: amount.text for name, amount in SHOWN.items()}


def attempt(**changes) -> Attempt:
    values = {"exercise": "e", "version": "v1", "number": 7, "ask": "a", "rulebook": "us", "givens": GIVENS}
    return Attempt(**{**values, **changes})


def work(*attempts: Attempt) -> Work:
    return Work.summed_up(attempts, "v1", "us", SHOWN, ["cold", "fit"])


def test_nothing_done_is_nothing_seen():
    assert work() == Work()
    assert work().entry is None


def test_the_last_answer_stands_with_the_steps_it_came_with():
    done = work(
        attempt(entry="9", steps={"cold": "46.76"}, verdict="wrong"),
        attempt(steps={"cold": "46.8"}),
    )
    assert (done.entry, done.entry_steps) == ("9", {"cold": "46.76"})
    assert done.steps == {"cold": "46.8"}


def test_each_step_keeps_its_latest_text():
    done = work(attempt(steps={"cold": "41.3"}), attempt(steps={"cold": "46.8", "fit": "9.6"}), attempt(entry="9"))
    assert done.steps == {"cold": "46.8", "fit": "9.6"}


def test_an_empty_answer_is_an_answer():
    assert work(attempt(entry="9", verdict="wrong"), attempt(entry="", verdict="refused")).entry == ""


def test_solved_stays_solved():
    assert not work(attempt(entry="8", verdict="wrong")).solved
    assert work(attempt(entry="9", verdict="right"), attempt(entry="8", verdict="wrong")).solved


def test_a_look_at_help_is_no_answer():
    done = work(attempt(entry="8", verdict="wrong"), attempt(help="hint", hints_seen=2), attempt(help="solution"))
    assert (done.entry, done.help) == ("8", "solution")
    assert work(attempt(help="hint", hints_seen=2)).hints_seen == 2


@pytest.mark.parametrize(
    "other",
    [
        {"version": "v2"},
        {"rulebook": "iec"},
        {"givens": {**GIVENS, "record_low": "−25 °C"}},
        {"givens": {"record_low": GIVENS["record_low"]}},
    ],
)
def test_other_numbers_another_version_or_rulebook_are_another_problem(other):
    assert work(attempt(entry="9", verdict="right", help="hint", hints_seen=1, **other)) == Work()


def test_one_attempt_more_is_the_same_as_all_from_the_start():
    attempts = [
        attempt(steps={"cold": "41.3"}),
        attempt(help="hint", hints_seen=1),
        attempt(entry="9", verdict="right", help="hint", hints_seen=1),
    ]
    assert work(*attempts[:2]).after(attempts[2]) == work(*attempts)


def test_what_is_kept_for_a_step_that_there_is_not_is_left_out():
    assert work(attempt(entry="9", steps={"cold": "46.8", "gone": "3"})).entry_steps == {"cold": "46.8"}
