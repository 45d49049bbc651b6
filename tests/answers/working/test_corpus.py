"""Workings with the verdict that each must get, written by hand and by variation."""

from contextlib import suppress
from functools import cache
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.answers.own import own_amounts
from tutor.answers.working.judging import WRONG, WorkingError, check_working
from tutor.problems.problem_factory import make_problem

FILES = sorted((Path(__file__).parents[2] / "corpora" / "workings").glob("*.yaml"))
WORKINGS = [one for file in FILES for one in yaml.safe_load(file.read_text(encoding="utf-8"))]


PIECES = [
    "41.3",
    "450",
    "46.76",
    "0.27",
    "1,234",
    "9",
    "V",
    "A",
    "%/°C",
    "×",
    "/",
    "+",
    "-",
    "(",
    ")",
    "=",
    "≈",
    "<",
    "so",
    "→",
    "Voc",
    "cold",
    "min",
    "sqrt",
    "1e400",
    "^",
    "round",
    "up",
    "yes",
    "ΔT",
    "at",
]


def problem_of(engine, one):
    ask, book = one.get("ask"), one.get("rulebook", "us")
    own = own_amounts(engine.question(one["exercise"], ask, book), one["givens"])
    return make_problem(engine, one["exercise"], ask, 1, book, own)


@pytest.fixture(scope="module")
def judged(engine):
    """judged(at): a working's problem and what is said of its lines, worked out once."""

    @cache
    def judged(at):
        problem = problem_of(engine, WORKINGS[at])
        return problem, check_working(problem, "\n".join(WORKINGS[at]["lines"]))

    return judged


@pytest.fixture(scope="module")
def cold(engine):
    return problem_of(engine, WORKINGS[0])


def test_there_are_enough_of_both_kinds():
    assert len(WORKINGS) >= 200
    assert 80 <= sum(one["first_wrong"] is None for one in WORKINGS) <= len(WORKINGS) - 80
    assert len({one["exercise"] for one in WORKINGS}) >= 30


def agrees(working, one):
    """Whether a working got the verdict that it must get."""
    first = working.first_wrong
    if first != one["first_wrong"] or working.reaches_answer != one.get("reaches_answer", working.reaches_answer):
        return False
    if first is None:
        return True
    line = working.lines[first]
    return line.verdict == one["verdict"] and line.mistake == one.get("mistake", line.mistake)


def test_the_share_of_right_verdicts(judged):
    right = sum(agrees(judged(at)[1], one) for at, one in enumerate(WORKINGS))
    print(f"\nworkings with the verdict that they must get: {right} of {len(WORKINGS)}")
    assert right == len(WORKINGS)


@pytest.mark.parametrize(
    ("at", "one"), list(enumerate(WORKINGS)), ids=[f"{at}-{one['exercise']}" for at, one in enumerate(WORKINGS)]
)
def test_the_verdict_on_a_working(judged, at, one):
    _, working = judged(at)
    said = [(line.verdict, line.text, line.words) for line in working.lines]
    assert working.first_wrong == one["first_wrong"], said
    if "reaches_answer" in one:
        assert working.reaches_answer == one["reaches_answer"], said
    if working.first_wrong is not None:
        line = working.lines[working.first_wrong]
        assert line.verdict == one["verdict"], said
        if "mistake" in one:
            assert line.mistake == one["mistake"], said


def test_the_answer_is_never_told(judged):
    for at in range(len(WORKINGS)):
        problem, working = judged(at)
        told = " ".join(line.words for line in working.lines if line.verdict in WRONG)
        answer = problem.text_of(problem.ask)
        assert len(answer) < 4 or answer not in told


def test_a_miscalculated_temperature_is_told_in_its_own_unit(engine):
    problem = make_problem(engine, "fewest-modules-that-charge")
    line = check_working(problem, "136 °F = 75.6 °C").lines[0]
    assert line.words == "136 °F is 57.778 °C, not 75.6 °C."


def test_a_departure_without_a_name_points_at_the_line_before_it_that_was_not_recognised(engine):
    problem = make_problem(engine, "fewest-modules-that-charge")
    lines = ["(136+32)*5/9 = 93.3", "93.3-25 = 68.3", "68.3*.46 = 31.4 %", "18.34*.686 = 12.58", "14"]
    working = check_working(problem, "\n".join(lines))
    assert working.lines[-1].verdict == "departs"
    assert "Look first at '(136+32)*5/9 = 93.3'" in working.lines[-1].words


@pytest.mark.parametrize("before", ["6800/120 = 56.67", "56.67 × 1.25 = 70.83"])
def test_a_size_chosen_too_small_is_not_taken_for_the_current_before_it(engine, before):
    working = check_working(make_problem(engine, "breaker-for-an-appliance"), f"{before}\n70 A")
    assert (working.lines[-1].verdict, working.lines[-1].quantity) == ("departs", "device_rating")
    assert not working.reaches_answer


def test_a_very_coarse_value_names_no_mistake(engine):
    line = check_working(make_problem(engine, "most-modules-in-series"), "20 V").lines[0]
    assert (line.verdict, line.mistake) == ("departs", None)


@pytest.mark.parametrize("text", ["", "   \n \n", "\n".join(["1 + 1 = 2"] * 61)])
def test_no_lines_and_too_many_are_told(engine, text):
    with pytest.raises(WorkingError, match="line"):
        check_working(problem_of(engine, WORKINGS[0]), text)


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text(max_size=250),
        st.text("0123456789.,+-*/()=<>^ VAW%°CKxso→√:;#", max_size=120),
        st.lists(st.sampled_from(PIECES), max_size=14).map(" ".join),
    )
)
def test_any_text_gets_a_verdict_or_a_sentence(cold, text):
    with suppress(WorkingError):
        for line in check_working(cold, text).lines:
            assert line.words


@pytest.mark.parametrize("count", range(1, 40))
def test_a_number_of_modules_over_the_limit_never_reaches_the_answer(cold, count):
    working = check_working(cold, f"41.3 × 1.1323 = 46.76\n450/46.76 = 9.62\nso {count} modules")
    assert working.reaches_answer == (count == 9)
    assert (working.first_wrong is None) == (count == 9)


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
