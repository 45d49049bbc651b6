"""Workings as people of the trade type them: no right one is accused, no wrong one is called right as a whole."""

from functools import cache
from pathlib import Path

import pytest
import yaml

from tutor.answers.own import own_amounts
from tutor.answers.working.judging import check_working
from tutor.problems.problem_factory import make_problem

FILES = sorted((Path(__file__).parents[2] / "corpora" / "workings" / "as_typed").glob("*.yaml"))
WORKINGS = [one for file in FILES for one in yaml.safe_load(file.read_text(encoding="utf-8"))]
IDS = [f"{at}-{one['exercise']}" for at, one in enumerate(WORKINGS)]


@pytest.fixture(scope="module")
def judged(engine):
    """judged(at): what is said of a working's lines, worked out once."""

    @cache
    def judged(at):
        one = WORKINGS[at]
        ask, book = one.get("ask"), one.get("rulebook", "us")
        own = own_amounts(engine.question(one["exercise"], ask, book), one["givens"])
        return check_working(make_problem(engine, one["exercise"], ask, 1, book, own), "\n".join(one["lines"]))

    return judged


def test_there_are_enough_of_both_kinds():
    right = [one for one in WORKINGS if one["first_wrong"] is None]
    assert len(right) >= 50
    assert len(WORKINGS) - len(right) >= 35
    assert len({one["exercise"] for one in WORKINGS}) >= 15


@pytest.mark.parametrize(("at", "one"), list(enumerate(WORKINGS)), ids=IDS)
def test_nobody_is_accused_wrongly_and_no_wrong_working_is_confirmed(judged, at, one):
    working = judged(at)
    said = [(line.verdict, line.text, line.words) for line in working.lines]
    if one["first_wrong"] is None:
        assert working.first_wrong is None, said
    else:
        assert not working.proves_answer, said


def test_the_first_wrong_line_is_mostly_found(judged):
    wrong = [(at, one["first_wrong"]) for at, one in enumerate(WORKINGS) if one["first_wrong"] is not None]
    exact = sum(judged(at).first_wrong in places for at, places in wrong)
    print(f"\nfirst wrong line found: {exact} of {len(wrong)}")
    assert exact >= 0.75 * len(wrong)


@pytest.mark.parametrize(
    "lines",
    [
        ["1.56 x 10.04 = 15.66A", "next size 20A"],
        ["10.04 x 1.56 = 15.66 A", "20 A"],
    ],
)
def test_a_working_read_throughout_is_confirmed(engine, lines):
    givens = {"strings_in_parallel": "3", "module_isc": "10.04 A", "module_imp": "9.41 A", "module_fuse_max": "20 A"}
    givens |= {"cable_ampacity": "40 A"}
    own = own_amounts(engine.question("string-fuse-rating"), givens)
    problem = make_problem(engine, "string-fuse-rating", None, 1, "us", own)
    assert check_working(problem, "\n".join(lines)).proves_answer
    for end in ("so 25 A", "= 20 V", "then a 30 A one for good measure", "x 2 = 40 A"):
        assert not check_working(problem, "\n".join([*lines, end])).proves_answer


@pytest.mark.parametrize(
    "line", ["x1.25 = 33.64", "× 1.25 = 33.64", "* 1.25 = 33.64", "/ 0.8 = 33.64", "+ 6.73 = 33.64"]
)
def test_a_line_that_begins_with_an_operator_is_not_read(engine, line):
    own = {"module_isc": "8.97 A", "strings_in_parallel": "3"}
    problem = make_problem(
        engine, "pv-circuit-current", None, 1, "us", own_amounts(engine.question("pv-circuit-current"), own)
    )
    working = check_working(problem, f"8.97 x 3 = 26.91 A\n{line}")
    assert [one.verdict for one in working.lines] == ["holds", "unread"]
    assert "operator" in working.lines[1].words


@pytest.mark.parametrize(
    "line", ["8 AWG 90C = 55A", "8 AWG = 55", "#8: 55 A", "118F = .82", "118 °F -> 0.82", "11 ccc = 50%"]
)
def test_a_row_of_a_table_is_no_calculation(engine, line):
    own = {"conductor_size": "8 AWG", "ambient": "118 °F", "conductors_grouped": "11", "insulation_rating": "90 °C"}
    question = engine.question("ampacity-after-correction")
    problem = make_problem(engine, "ampacity-after-correction", None, 1, "us", own_amounts(question, own))
    assert check_working(problem, line).first_wrong is None


def test_a_value_that_a_mistake_gives_too_is_no_accusation_where_the_right_one_follows(engine):
    own = {"inverter_power": "1000 W", "inverter_output_voltage": "120 V", "inverter_efficiency": "89 %"}
    own |= {"battery_voltage": "24 V", "battery_voltage_low": "22.6 V"}
    question = engine.question("inverter-input-current")
    problem = make_problem(engine, "inverter-input-current", None, 1, "us", own_amounts(question, own))
    beside = "1000/120 = 8.3 A"
    assert check_working(problem, f"{beside}\n1000/0.89/22.6 = 49.7 A").first_wrong is None
    assert check_working(problem, f"{beside}\n8.3 A").first_wrong == 0


def test_a_bare_yes_or_no_names_no_mistake(engine):
    own = {
        "record_low": "−32 °C",
        "module_voc": "40.59 V",
        "voc_coefficient": "−0.35 %/K",
        "input_voltage_max": "150 V",
    }
    own |= {"modules_in_series": "8", "module_vmp": "32.83 V"}
    question = engine.question("does-the-string-survive")
    problem = make_problem(engine, "does-the-string-survive", None, 1, "us", own_amounts(question, own))
    line = check_working(problem, "yes").lines[0]
    assert (line.verdict, line.mistake) == ("departs", None)
    assert not check_working(problem, "no").proves_answer
