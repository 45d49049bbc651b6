"""A standard rating is met exactly: no device is sold between two of them (NFPA 70-2017 240.6(A), transcription)."""

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.problem_factory import make_problem


@pytest.mark.parametrize(
    ("entry", "verdict"), [("100 A", "right"), ("0.1 kA", "right"), ("99.6 A", "wrong"), ("100.4 A", "wrong")]
)
def test_a_rating_that_nobody_makes_is_not_right(engine, entry, verdict):
    question = engine.question("device-for-a-continuous-load", None, "us")
    own = own_amounts(question, {"continuous_current": "78 A"})  # 1.25 × 78 A = 97.5 A
    assert mark(make_problem(engine, question.exercise.id, None, 1, "us", own), entry).verdict == verdict


def test_the_least_of_a_rating_and_a_limit_is_a_rating(engine):
    assert "device_rating" in engine.question("fuse-for-a-small-conductor", None, "us").standard_ratings
    assert not engine.question("ampacity-after-correction", None, "us").standard_ratings
