"""Marking one known problem: verdicts, errors carried forward, unsafe rounding, and entries that do not count.

41.3 V at 25 °C, -0.27 %/K, -24 °C: one module reaches 41.3 V * (1 + 0.0027 * 49) = 46.76 V, and 450 V hold 9.62 of it.
"""

from pathlib import Path

import pytest

from tutor.answers.marking import mark, mark_step
from tutor.content.library import load
from tutor.content.models import Amount
from tutor.problems.draw import draw
from tutor.problems.question import Engine

SOUND = Path(__file__).parents[1] / "corpora" / "faulty_exercises" / "sound-exercise.yaml"
LABEL = {"module_voc": "41.3 V", "module_vmp": "34.4 V", "voc_coefficient": "-0.27 %/K", "input_voltage_max": "450 V"}


def problem_of(engine, ask=None, **own):
    texts = {name: text for name, text in (LABEL | own).items() if name != ask}
    amounts = {name: Amount.model_validate(text) for name, text in texts.items()}
    return draw(engine.question("most-modules-in-series", ask), 1, amounts)


@pytest.fixture
def cold(engine):
    return problem_of(engine, record_low="-24 degC")


@pytest.fixture
def cold_voltage(engine):
    return problem_of(engine, ask="cold_voltage", record_low="-24 degC")


@pytest.fixture
def coldest(engine):
    """Ten modules in 450 V: 45 V each, 33.18 K below 25 °C, -8.18 °C."""
    return problem_of(engine, ask="record_low", modules_in_series="10")


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("9", "right"),
        ("9.0", "right"),
        ("nine modules", "right"),
        ("18/2", "right"),
        ("10", "wrong"),
        ("8", "wrong"),
        ("9.62", "wrong"),
        ("8.9999", "wrong"),
        ("-9", "wrong"),
        ("9 V", "wrong"),
        ("0", "wrong"),
        ("", "refused"),
        ("9 or 10", "refused"),
        ("9-ish", "refused"),
        ("nan", "refused"),
        ("1e400", "refused"),
        ("(" * 100_000, "refused"),
        ("9,000", "unclear"),
    ],
)
def test_a_count_is_exact(cold, answer, verdict):
    marking = mark(cold, answer)
    assert marking.verdict == verdict
    assert marking.counts is (verdict in ("right", "wrong"))
    assert marking.feedback.endswith((".", "?"))


# 46.76399 V: half a per cent is 0.2338 V.
@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("46.76 V", "right"),
        ("46,76", "right"),
        ("0.04676 kV", "right"),
        ("46760 mV", "right"),
        ("41.3*(1+0.0027*49)", "right"),
        ("46.99 V", "right"),
        ("47.0 V", "wrong"),
        ("46.54 V", "right"),
        ("46.5 V", "wrong"),
        ("47", "unclear"),
        ("47 V", "unclear"),
        ("50", "wrong"),
        ("48", "wrong"),
        ("46", "wrong"),
        ("41.3 V", "wrong"),
        ("46.76 A", "wrong"),
        ("-46.76 V", "wrong"),
        ("46.76 m", "wrong"),
    ],
)
def test_a_value_is_right_within_half_a_per_cent(cold_voltage, answer, verdict):
    assert mark(cold_voltage, answer).verdict == verdict


def test_a_value_rounded_too_far_is_asked_for_again(cold_voltage):
    marking = mark(cold_voltage, "47 V")
    assert not marking.counts
    assert "three significant figures" in marking.feedback
    assert "46.7" not in marking.feedback


# Half a kelvin is the tolerance of a temperature, but only on the side on which ten modules survive: colder is unsafe.
# What is colder by no more than rounding leaves is not marked right either, but asked for again.
@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("-8.18 °C", "right"),
        ("-8.1 °C", "right"),
        ("-8 °C", "right"),
        ("-7.7 °C", "right"),
        ("-7.6 °C", "wrong"),
        ("-8.19 °C", "unclear"),
        ("-8.2 °C", "unclear"),
        ("-8.6 °C", "wrong"),
        ("-9 °C", "wrong"),
        ("17.3 °F", "right"),
        ("17.2 °F", "unclear"),
        ("265 K", "right"),
        ("264.9 K", "unclear"),
        ("8.18 °C", "wrong"),
    ],
)
def test_no_temperature_past_the_limit_is_right(coldest, answer, verdict):
    assert mark(coldest, answer).verdict == verdict


def test_each_of_several_limits_binds(tmp_path):
    folder = tmp_path / "exercises" / "own"
    folder.mkdir(parents=True)
    text = SOUND.read_text(encoding="utf-8")
    second = "<= input_voltage_max\n  - record_low >= -8.1 degC\n"
    (folder / SOUND.name).write_text(text.replace("<= input_voltage_max\n", second, 1), encoding="utf-8")
    question = Engine(load(tmp_path)).question("sound-exercise", "record_low")
    own = {name: Amount.model_validate(amount) for name, amount in (LABEL | {"modules_in_series": "10"}).items()}
    problem = draw(question, 1, own)
    assert len(question.limits) == 2
    assert mark(problem, "-8.05 °C").verdict == "right"
    assert mark(problem, "-8.15 °C").verdict == "unclear"  # respects the first limit, not the second


def test_rounding_to_the_unsafe_side_is_told_as_such(engine):
    problem = problem_of(engine, ask="record_low", modules_in_series="10", input_voltage_max="454.2 V")
    assert problem.answer.value == pytest.approx(25 - (45.42 / 41.3 - 1) / 0.0027)  # -11.94 °C
    marking = mark(problem, "-12 degC")
    assert (marking.verdict, marking.counts) == ("unclear", False)
    assert "rounding has carried the answer past a limit" in marking.feedback
    assert "Round to the safe side" in marking.feedback
    assert mark(problem, "-11.9 degC").verdict == "right"


def test_feedback_on_a_right_answer_shows_the_limit_respected(cold):
    feedback = mark(cold, "9").feedback
    assert "420.9\u00a0V ≤ 450\u00a0V" in feedback
    assert "respected" in feedback


@pytest.mark.parametrize("answer", ["10", "8", "12", "9.62", "-9"])
def test_feedback_on_a_wrong_answer_is_never_bare_and_does_not_give_the_answer(cold, answer):
    feedback = mark(cold, answer).feedback
    assert len(feedback) > 40
    assert "46.76" not in feedback
    assert " 9 " not in feedback
    assert feedback.lower() not in {"right.", "wrong."}


# The cold left out in the first step: 41.3 V, so 450 / 41.3 = 10.896, so 10.
LEFT_OUT = {"cold_voltage": "41.3 V", "modules_that_fit": "10.9"}


def test_an_error_is_carried_forward_and_counted_once(cold):
    marking = mark(cold, "10", LEFT_OUT)
    assert {name: one.verdict for name, one in marking.steps.items()} == {
        "cold_voltage": "wrong",
        "modules_that_fit": "carried",
    }
    assert marking.verdict == "wrong"
    assert marking.named.id == "cold-left-out"
    assert "mend that one first" in marking.feedback


def test_the_step_decides_between_mistakes_that_one_number_cannot_tell_apart(cold):
    assert mark(cold, "10").named is None
    assert mark(cold, "10", {"cold_voltage": "41.3 V"}).named.id == "cold-left-out"
    assert mark(cold, "10", {"cold_voltage": "46.76 V"}).named.id == "rounded-up"
    assert mark(cold, "10", {"cold_voltage": "46.76 V", "modules_that_fit": "9.62"}).named.id == "rounded-up"


def test_a_later_step_that_follows_from_nothing_is_wrong(cold):
    marking = mark(cold, "10", {"cold_voltage": "41.3 V", "modules_that_fit": "12"})
    assert marking.steps["modules_that_fit"].verdict == "wrong"


def test_a_right_step_after_a_wrong_one_is_right(cold):
    marking = mark(cold, "9", {"cold_voltage": "41.3 V", "modules_that_fit": "9.62"})
    assert marking.verdict == "right"
    assert [one.verdict for one in marking.steps.values()] == ["wrong", "right"]


def test_a_wrong_entry_on_the_way_does_not_make_a_later_one_right_that_is_unsafe(cold):
    """With 30 V typed for one module, 15 would follow; carried or not, the answer stays wrong."""
    marking = mark(cold, "15", {"cold_voltage": "30 V", "modules_that_fit": "15"})
    assert marking.steps["modules_that_fit"].verdict == "carried"
    assert marking.verdict == "wrong"
    assert "breaks a limit" in marking.feedback


@pytest.mark.parametrize("text", ["", "  ", "nan", "1,234", "46.76 or 47"])
def test_an_unread_step_is_no_ground_for_the_next(cold, text):
    marking = mark(cold, "9", {"cold_voltage": text, "modules_that_fit": "10.9"})
    assert marking.steps["modules_that_fit"].verdict == "wrong"
    assert marking.verdict == "right"
    if text.strip():
        assert marking.steps["cold_voltage"].verdict in {"refused", "unclear"}
        assert marking.steps["cold_voltage"].entry is None


def test_one_step_is_marked_from_the_earlier_ones(cold):
    assert mark_step(cold, "cold_voltage", "46.8 V").verdict == "right"
    assert mark_step(cold, "modules_that_fit", "10.9", {"cold_voltage": "41.3"}).verdict == "carried"
    assert mark_step(cold, "modules_that_fit", "10.9").verdict == "wrong"


@pytest.mark.parametrize("name", ["colour", "modules_in_series", "module_voc"])
def test_what_is_no_step_is_told(cold, name):
    with pytest.raises(KeyError, match="is not a step here"):
        mark(cold, "9", {name: "3"})


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("467.6 V", "factor of 10"),
        ("4.676 V", "factor of 10"),
        ("-46.76 V", "sign"),
        ("60 V", "too high"),
        ("30 V", "too low"),
    ],
)
def test_what_is_not_identified_is_told_by_its_size(cold_voltage, answer, words):
    marking = mark(cold_voltage, answer)
    assert (marking.verdict, marking.named, marking.candidates) == ("wrong", None, ())
    assert words in marking.feedback


def test_marking_twice_is_marking_once(cold):
    assert mark(cold, "10", LEFT_OUT) == mark(cold, "10", LEFT_OUT)
