"""Workings with the verdict that each must get, written by hand and by variation."""

from pathlib import Path

import pytest
import yaml

from tutor.answers.own import own_amounts
from tutor.answers.working.judging import WRONG, WorkingError, check_working
from tutor.engine.setting import set_problem

FILES = sorted((Path(__file__).parents[2] / "corpora" / "workings").glob("*.yaml"))
WORKINGS = [one for file in FILES for one in yaml.safe_load(file.read_text(encoding="utf-8"))]


def problem_of(engine, one):
    ask, book = one.get("ask"), one.get("rulebook", "us")
    own = own_amounts(engine.question(one["exercise"], ask, book), one["givens"])
    return set_problem(engine, one["exercise"], ask, 1, book, own)


def test_there_are_enough_of_both_kinds():
    assert len(WORKINGS) >= 200
    assert 80 <= sum(one["first_wrong"] is None for one in WORKINGS) <= len(WORKINGS) - 80
    assert len({one["exercise"] for one in WORKINGS}) >= 30


@pytest.mark.parametrize("one", WORKINGS, ids=[f"{at}-{one['exercise']}" for at, one in enumerate(WORKINGS)])
def test_the_verdict_on_a_working(engine, one):
    working = check_working(problem_of(engine, one), "\n".join(one["lines"]))
    said = [(line.verdict, line.text, line.words) for line in working.lines]
    assert working.first_wrong == one["first_wrong"], said
    if "reaches_answer" in one:
        assert working.reaches_answer == one["reaches_answer"], said
    if working.first_wrong is not None:
        line = working.lines[working.first_wrong]
        assert line.verdict == one["verdict"], said
        if "mistake" in one:
            assert line.mistake == one["mistake"], said


def test_the_answer_is_never_told(engine):
    for one in WORKINGS:
        problem = problem_of(engine, one)
        working = check_working(problem, "\n".join(one["lines"]))
        told = " ".join(line.words for line in working.lines if line.verdict in WRONG)
        answer = problem.text_of(problem.ask)
        assert len(answer) < 4 or answer not in told


@pytest.mark.parametrize("text", ["", "   \n \n", "\n".join(["1 + 1 = 2"] * 61)])
def test_no_lines_and_too_many_are_told(engine, text):
    with pytest.raises(WorkingError, match="line"):
        check_working(problem_of(engine, WORKINGS[0]), text)


@pytest.mark.parametrize(
    "line",
    [
        "x" * 300,
        "__import__('os')",
        "9**9**9",
        "((((",
        "1/0 = 3",
        "10^400",
        "\u202e450/46",
        "😀 = 3",
        "=",
        "1e999",
    ],
)
def test_hostile_lines_cost_nothing(engine, line):
    working = check_working(problem_of(engine, WORKINGS[0]), f"{line}\n{line}")
    assert len(working.lines) == 2
    assert all(one.verdict in ("unread", "holds", "arithmetic", "departs", "dimension") for one in working.lines)
    assert not working.reaches_answer
