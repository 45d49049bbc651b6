"""What a wrong value would do in the real system: a sentence that gives no answer away."""

import re

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.content.library import load
from tutor.problems.problem_factory import make_problem

QUANTITIES = load().quantities

SENTENCES = [
    (name, sentence)
    for name, quantity in QUANTITIES.items()
    for sentence in (quantity.too_low, quantity.too_high)
    if sentence
]

FINAL = sorted(
    {
        next(iter(declared.under(rulebook).exercise.asks))
        for declared in load().declared.values()
        for rulebook in declared.exercise.rulebooks
    }
)

NO_HARM = {
    "method_difference": "it compares two ways to one voltage, and nothing is bought or built by the difference",
}
"""Quantities whose wrong value does nothing in a real system, and why."""


def _has_a_sentence(name):
    return bool(QUANTITIES[name].too_low or QUANTITIES[name].too_high)


@pytest.mark.parametrize(("name", "sentence"), SENTENCES)
def test_a_sentence_holds_the_learners_value_only(name, sentence):
    assert re.findall(r"\{\w*\}|[{}]", sentence) == ["{entry}"]
    assert not re.search(r"\d", sentence)
    assert QUANTITIES[name].kind in ("number", "count", "size")


@pytest.mark.parametrize(("name", "sentence"), SENTENCES)
def test_a_sentence_is_one_short_sentence(name, sentence):
    assert len(sentence) <= 160
    assert sentence[0].isupper() or sentence.startswith("{entry}")
    assert re.findall(r"[.!?]", sentence) == ["."]
    assert sentence.endswith(".")


@pytest.mark.parametrize("name", FINAL)
def test_every_final_value_that_is_worked_out_has_its_consequence(name):
    worked_out = QUANTITIES[name].kind in ("number", "count", "size")
    assert _has_a_sentence(name) == (worked_out and name not in NO_HARM)


def test_both_sides_never_say_the_same():
    alike = [
        name for name, quantity in QUANTITIES.items() if quantity.too_low and quantity.too_low == quantity.too_high
    ]
    assert not alike


def test_the_consequence_is_told_with_the_learners_own_value(engine):
    given = {"inverter_power": "2500 W", "inverter_efficiency": "85 %", "battery_voltage_low": "22 V"}
    question = engine.question("inverter-input-current")
    problem = make_problem(engine, "inverter-input-current", own=own_amounts(question, given))
    low, high = mark(problem, "96.6 A").feedback, mark(problem, "200 A").feedback
    assert re.search(r"chosen for 96\.60?\sA would have to carry more", low)
    assert re.search(r"For 200(\.0)?\sA the cable could come out dearer", high)
    assert "would have to carry more" not in high
    assert "dearer" not in low
