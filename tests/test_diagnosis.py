"""How well mistakes are recognised: the figures that were promised, on simulated learners whose mistakes are known."""

import json
import math
from dataclasses import replace

import pytest

from tutor.content.library import load
from tutor.diagnosis import (
    ASKED,
    FALSE,
    FEW,
    MARKED_RIGHT,
    NAMED,
    NOWHERE,
    ROUTE,
    STEPS,
    VALUE,
    ExerciseTrial,
    Tally,
    diagnose,
    diagnose_all,
    report,
)
from tutor.engine.question import Engine
from tutor.paths import content_root

LEARNERS = 6


@pytest.fixture(scope="module")
def found():
    return report(list(diagnose_all(None, LEARNERS)), LEARNERS)


def lowest(row, outcome):
    return row[outcome]["interval"][0]


@pytest.mark.parametrize("typed", [STEPS, VALUE])
def test_single_mistakes_are_named_at_the_first_guess(found, typed):
    assert found["single_mistakes"][typed][NAMED] >= 0.98
    assert found["overall"][f"a declared mistake, {typed}"][NAMED]["share"] >= 0.98


@pytest.mark.parametrize("typed", [STEPS, VALUE])
def test_pairs_are_named_or_asked_about(found, typed):
    row = found["overall"][f"two mistakes, {typed}"]
    assert row[NAMED]["share"] + row[ASKED]["share"] / 2 >= 0.85


def test_whole_numbers_and_sizes_are_among_three_and_rarely_claimed_wrongly(found):
    mixed = found["single_mistakes"][FEW]
    assert mixed[NAMED] + mixed[ASKED] >= 0.95
    assert mixed[FALSE] <= 0.015  # a sample: the interval of 1 % with these learners reaches 1.5 %


def test_numbers_from_nowhere_are_left_unnamed(found):
    assert found["overall"][NOWHERE][FALSE]["share"] <= 0.01


def test_a_right_answer_by_another_route_is_never_wrong(found):
    assert found["overall"][ROUTE][FALSE]["share"] == 0
    assert found["overall"][ROUTE][MARKED_RIGHT]["share"] >= 0.97


def test_no_single_mistake_is_marked_right(found):
    for kind, row in found["overall"].items():
        if kind.startswith(("a declared", "a derived")):
            assert row[MARKED_RIGHT]["share"] == 0


@pytest.mark.parametrize(
    "exercise", ["inverter-input-current", "most-modules-in-series", "drop-on-a-run", "string-voltage-at-record-low"]
)
def test_an_exercise_without_declared_mistakes_still_names_its_derived_ones(exercise):
    library = load()
    declared = library.declared[exercise]
    bare = declared.exercise.model_copy(update={"mistakes": {}, "in_rulebook": _without_mistakes(declared.exercise)})
    undeclared = {**library.declared, exercise: type(declared)(bare, declared.document)}
    library = replace(library, declared=undeclared)
    trial = diagnose(Engine(library), exercise, 40).trial
    for typed in (STEPS, VALUE):
        tally = trial[f"a derived slip, {typed}"]
        assert tally.learners >= 20
        assert tally.share(NAMED) >= 0.9
    assert trial[f"a declared mistake, {STEPS}"].learners == 0


def _without_mistakes(exercise):
    return {
        book: {name: change for name, change in changes.items() if name != "mistakes"}
        for book, changes in exercise.in_rulebook.items()
    }


def test_the_interval_is_wilsons():
    """Wilson's interval for 9 of 10, by the formula of his paper (1927): 0.596 to 0.982."""
    tally = Tally()
    tally.outcomes.update([NAMED] * 9 + [ASKED])
    assert tally.interval(NAMED) == (pytest.approx(0.596, abs=5e-4), pytest.approx(0.982, abs=5e-4))
    assert all(math.isnan(end) for end in Tally().interval(NAMED))


def test_a_trial_run_again_finds_the_same():
    engine = Engine(load())
    once, again = (diagnose(engine, "inverter-input-current", 5) for _ in range(2))
    assert once.as_json() == again.as_json()
    assert isinstance(once, ExerciseTrial)


def test_the_page_shows_a_trial_of_the_exercises_there_are():
    kept = json.loads((content_root() / "assets" / "recognition.json").read_text(encoding="utf-8"))
    assert [one["exercise"] for one in kept["exercises"]] == list(load().declared)
    assert kept["learners_of_each_kind"] >= 20
