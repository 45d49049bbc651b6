"""A limit that is kept but nearly used up is commented on wherever the answer is shown, and nowhere else.

Ten modules of 44.998 V at 25 °C make 449.98 V; the share from which on a limit counts as near is common practice, no
source.
"""

import pytest

from tutor.answers.marking import mark
from tutor.content.models import Amount
from tutor.problems.draw import draw
from tutor.problems.near import near_limits, percentage_used
from tutor.problems.solution import worked_solution

STRING = {
    "module_voc": "44.998 V",
    "voc_coefficient": "-0.30 %/K",
    "record_low": "25 degC",
    "input_voltage_max": "450 V",
}


def problem_of(engine, exercise, ask=None, **own):
    amounts = {name: Amount.model_validate(text) for name, text in own.items()}
    return draw(engine.question(exercise, ask), 1, amounts)


@pytest.fixture
def full(engine):
    return problem_of(engine, "most-modules-in-series", **STRING)


def test_a_string_of_449_98_volts_into_450_is_not_simply_respected(full):
    check = worked_solution(full)[-1]
    assert check.text == "449.98\u00a0V ≤ 450\u00a0V: respected, but only just"
    assert "99.996\u00a0%" in check.near
    assert check.why.endswith(check.near)
    marking = mark(full, "10")
    assert marking.verdict == "right"
    assert marking.near == (check.near,)
    assert check.near in marking.feedback


def test_the_sentence_names_the_causes_and_what_to_do(full):
    (sentence,) = near_limits(full, 10)
    for words in ("Label tolerance", "colder than the record", "colder than the air", "one module fewer", "ask"):
        assert words in sentence


@pytest.mark.parametrize(
    ("limit", "near"),
    [("450 V", True), ("463 V", True), ("464 V", False), ("480 V", False)],  # 449.98 V are 97.2 % and 96.98 %
)
def test_it_is_said_above_97_per_cent_alone(engine, limit, near):
    problem = problem_of(engine, "most-modules-in-series", **{**STRING, "input_voltage_max": limit})
    assert problem.values["modules_in_series"] == 10
    assert bool(near_limits(problem, 10)) is near
    assert bool(worked_solution(problem)[-1].near) is near


def test_no_sentence_is_said_of_an_answer_that_is_wrong(full):
    for answer in ("9", "11"):
        assert mark(full, answer).near == ()
    assert not near_limits(full, 9)
    assert not near_limits(full, 11)


@pytest.mark.parametrize(
    ("exercise", "answer", "steps"),
    [
        ("does-the-string-survive", "yes", {"cold_string_voltage": "449.98 V"}),
        ("room-below-the-limit", "0.02 V", {}),
    ],
)
def test_what_compares_or_subtracts_without_a_limit_says_so_too(engine, exercise, answer, steps):
    problem = problem_of(engine, exercise, modules_in_series="10", **STRING)
    marking = mark(problem, answer, steps)
    assert marking.verdict == "right"
    assert "99.996\u00a0%" in " ".join(marking.near)
    assert "99.996\u00a0%" in " ".join(line.near for line in worked_solution(problem))


def test_a_string_past_the_limit_is_not_called_near(engine):
    problem = problem_of(engine, "room-below-the-limit", modules_in_series="10", **{**STRING, "module_voc": "45.01 V"})
    assert problem.answer.value == pytest.approx(-0.1)
    assert near_limits(problem, problem.values["voltage_room"]) == []


def test_a_limit_asked_for_is_used_up_by_definition_and_says_so(engine):
    own = {name: text for name, text in STRING.items() if name != "input_voltage_max"}
    problem = problem_of(engine, "most-modules-in-series", "input_voltage_max", modules_in_series="10", **own)
    assert mark(problem, "450 V").near
    assert "a charger with a higher limit" in worked_solution(problem)[-1].near


@pytest.mark.parametrize(
    ("used", "text"),
    [(0.9731, "97.3"), (0.9951, "99.5"), (0.99995, "99.995"), (0.9999996, "99.99996"), (1.0, "100")],
)
def test_a_percentage_reads_as_100_only_if_nothing_is_left(used, text):
    assert percentage_used(used).startswith(f"{text}\u00a0")
