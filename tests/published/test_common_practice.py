"""Facts that the trade goes by, each worked by an exercise: common practice, no source."""

import re
from pathlib import Path

import pytest

import tutor
from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.problem_factory import make_problem

CIRCUIT = {"branch_rating": "15 A", "supply_voltage": "120 V"}
LESSONS = sorted((Path(tutor.__file__).parents[1] / "lessons").glob("*/lesson.md"))
TOLD = re.compile(r"1[ ,.]?800\s*W|4[ ,.]?800\s*W|power button|one conductor to a terminal", re.IGNORECASE)
OUTLETS = {"circuits": "2", "branch_rating": "20 A", "supply_voltage": "120 V", "inverter_power": "5000 W"}


def set_with(engine, exercise, ask, given):
    return make_problem(engine, exercise, ask, 1, "us", own_amounts(engine.question(exercise, ask), given))


@pytest.mark.parametrize(
    ("exercise", "ask", "given", "answer"),
    [
        # Common practice, no source: a circuit of 15 A at 120 V carries 1,800 W.
        ("load-on-a-fixed-circuit", "branch_power", CIRCUIT, "1800 W"),
        # Common practice, no source: two outlets of 20 A at 120 V are 4,800 W, nearly all of an inverter of 5,000 W.
        ("circuits-on-one-inverter", "circuits_power", OUTLETS, "4800 W"),
        ("circuits-on-one-inverter", "circuits_share", OUTLETS, "96 %"),
        ("circuits-on-one-inverter", "circuits_fed", OUTLETS, "2"),
        # Common practice, no source: one conductor to a terminal, so four circuits, feeder and electrode need six.
        ("terminals-on-a-bar", "terminals_needed", {"circuits": "4", "conductors_at_terminal": "1"}, "6"),
    ],
)
def test_what_everybody_works_with(engine, exercise, ask, given, answer):
    problem = set_with(engine, exercise, ask, given)
    assert mark(problem, answer).verdict == "right"
    assert problem.text_of(ask).replace("\u00a0", " ") == answer


def test_two_conductors_under_a_screw_made_for_one_are_named(engine):
    problem = set_with(
        engine, "terminals-on-a-bar", "terminals_needed", {"circuits": "4", "conductors_at_terminal": "1"}
    )
    marking = mark(problem, "3")
    assert marking.verdict == "wrong"
    assert "marking-not-read" in [one.id for one in marking.candidates]


@pytest.mark.parametrize(
    ("exercise", "first", "then"),
    [
        # Common practice, no source: the battery's breaker goes on before the power button.
        ("switching-on", "close-battery", "press-power"),
        # Common practice, no source: the array is connected with its disconnect open.
        ("switching-on", "join-string", "close-array"),
    ],
)
def test_what_comes_first(engine, exercise, first, then):
    assert engine.order_question(exercise).reason(first, then) is not None


def test_there_are_lessons_to_look_through():
    assert len(LESSONS) >= 12
    assert TOLD.search("a strip carries 1,800 W")


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda path: path.parent.name)
def test_no_lesson_teaches_them_as_they_stand(lesson):
    """Without a source they are figures to check by, none to learn from."""
    assert TOLD.findall(lesson.read_text(encoding="utf-8")) == []
