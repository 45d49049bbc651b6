"""The plain record: tries, right answers with and without help, and the mistakes that were named."""

from datetime import UTC, datetime, timedelta

from tutor.learner.progress import progress
from tutor.learner.record import Attempt

START = datetime(2026, 1, 1, 6, tzinfo=UTC)


def attempts(*changes):
    return [
        Attempt(
            **{"exercise": "e", "version": "1", "number": 0, "ask": "a", "rulebook": "us", "entry": "9", **change},
            at=START + timedelta(minutes=minute),
        )
        for minute, change in enumerate(changes)
    ]


def test_nothing_gives_nothing():
    assert progress([]) == {}


def test_right_after_wrong_is_unaided_and_the_named_mistake_is_met():
    entry = progress(attempts({"verdict": "wrong", "named": "cold-left-out"}, {"verdict": "right"}))["e"]
    assert (entry.tries, entry.right_unaided, entry.right_with_help) == (2, 1, 0)
    assert entry.mistakes == {"cold-left-out": 1}
    assert entry.last_verdict == "right"
    assert entry.last_at == START + timedelta(minutes=1)


def test_a_hint_or_solution_seen_before_makes_it_with_help():
    look = {"entry": None}
    for before in ({**look, "help": "hint"}, {**look, "help": "solution"}, {"verdict": "wrong", "hints_seen": 1}):
        entry = progress(attempts(before, {"verdict": "right"}))["e"]
        assert (entry.right_unaided, entry.right_with_help) == (0, 1)


def test_help_seen_afterwards_or_in_another_problem_takes_nothing_away():
    looks = ({"entry": None, "help": "solution"}, {"entry": None, "help": "hint", "number": 5})
    entry = progress(attempts({"verdict": "right"}, *looks, {"verdict": "right", "number": 1}))["e"]
    assert (entry.right_unaided, entry.right_with_help) == (2, 0)


def test_a_problem_is_right_once():
    entry = progress(attempts({"verdict": "right"}, {"verdict": "right"}, {"verdict": "right", "ask": "b"}))["e"]
    assert (entry.tries, entry.right_unaided) == (3, 2)


def test_own_numbers_and_another_rulebook_are_other_problems():
    own, iec = {"givens": {"record_low": "-24 degC"}}, {"rulebook": "iec"}
    entry = progress(attempts(*({"verdict": "right", **change} for change in ({}, own, iec))))["e"]
    assert entry.right_unaided == 3


def test_what_could_not_be_read_is_no_try():
    entry = progress(attempts({"verdict": "refused"}, {"verdict": "unclear"}, {"entry": None, "help": "hint"}))["e"]
    assert (entry.tries, entry.last_verdict, entry.right_unaided) == (0, "", 0)
    assert entry.last_at == START + timedelta(minutes=2)


def test_exercises_are_kept_apart():
    record = progress(attempts({"verdict": "right"}, {"verdict": "wrong", "exercise": "f", "named": "m"}))
    assert list(record) == ["e", "f"]
    assert record["e"].mistakes == {}
    assert record["f"].mistakes == {"m": 1}
