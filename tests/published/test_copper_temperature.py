"""The temperature of loaded copper by the standards' own factors for warm air, and stories that are possible."""

import re

import pytest

from tutor.answers.own import own_amounts
from tutor.problems.draw import draw
from tutor.problems.problem_factory import make_problem
from tutor.trade.rulebooks import rulebook

# The factors are printed with two digits, which moves the temperature by so much at the most.
PRINTED = 1.4
PLAN = re.compile(r"Plan with .* the highest temperature that its (insulation permits|terminals permit)")


def copper(ambient, insulation, ratio):
    """The relation of the exercise: the rise grows with the square of the current."""
    return ambient + (insulation - 30) * ratio**2


@pytest.mark.parametrize("book", ["us", "iec"])
def test_a_conductor_loaded_to_its_corrected_ampacity_is_as_warm_as_its_insulation(book):
    """NFPA 70-2017 Table 310.15(B)(2)(a) (third-party transcription); IEC 60364-5-52 (engineering handbook)."""
    rows = [row for row in rulebook(book).tables["ambient_factor"].rows if row["to_degC"]]
    assert len(rows) > 20
    for row in rows:
        insulation, ambient = float(row["insulation_degC"]), float(row["to_degC"])
        assert copper(ambient, insulation, float(row["factor"])) == pytest.approx(insulation, abs=PRINTED), row


def test_the_exercise_follows_that_relation(engine):
    """12 AWG of 90 °C, 15 A of 30 A, air of 40 °C: a quarter of 60 K above it, 55 °C."""
    givens = {"conductor_size": "12 AWG", "insulation_rating": "90 degC", "run_current": "15 A", "ambient": "40 degC"}
    own = own_amounts(engine.question("copper-under-load", "conductor_temperature", "us"), givens)
    problem = make_problem(engine, "copper-under-load", "conductor_temperature", 1, "us", own)
    assert problem.text_of("conductor_temperature").replace("\u00a0", " ") == "55 °C"


def test_no_story_calls_copper_hotter_than_its_load_makes_it(engine):
    """A temperature that is given beside a load is a plan for the worst, and the story says so."""
    checked = set()
    for id_, exercise in engine.library.exercises.items():
        if "conductor_temperature" not in exercise.model_dump_json() or id_ in ("warm-copper", "copper-under-load"):
            continue
        for ask in exercise.asks:
            problem = draw(engine.question(id_, ask, "iec"), 1)
            if "conductor_temperature" in problem.shown:
                assert PLAN.search(" ".join(problem.story)), (id_, ask)
                checked.add(id_)
    assert len(checked) == 6


@pytest.mark.parametrize("book", ["us", "iec"])
def test_drawn_copper_stays_within_its_insulation(engine, book):
    for number in range(1, 101):
        problem = draw(engine.question("copper-under-load", "conductor_temperature", book), number)
        assert problem.values["conductor_temperature"] < problem.known["insulation_rating"]
