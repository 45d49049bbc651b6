"""What a wrong value would do in the real system: a sentence that gives no answer away."""

import re

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.content.library import load
from tutor.engine.setting import set_problem

SENTENCES = [
    (name, sentence)
    for name, quantity in load().quantities.items()
    for sentence in (quantity.too_low, quantity.too_high)
    if sentence
]


def test_there_are_sentences_for_what_can_hurt():
    assert {"inverter_input_current", "cold_voltage", "fuse_rating", "conductor_size"} <= {
        name for name, _ in SENTENCES
    }


@pytest.mark.parametrize(("name", "sentence"), SENTENCES)
def test_a_sentence_holds_the_learners_value_only(name, sentence):
    assert re.findall(r"\{\w*\}", sentence) in ([], ["{entry}"])
    assert not re.search(r"\d", sentence)
    assert load().quantities[name].kind in ("number", "count", "size")


def test_the_consequence_is_told_with_the_learners_own_value(engine):
    given = {"inverter_power": "2500 W", "inverter_efficiency": "85 %", "battery_voltage_low": "22 V"}
    question = engine.question("inverter-input-current")
    problem = set_problem(engine, "inverter-input-current", own=own_amounts(question, given))
    assert re.search(r"chosen for 96\.60?\sA would have to carry more", mark(problem, "96.6 A").feedback)
    assert "would have to carry more" not in mark(problem, "200 A").feedback
