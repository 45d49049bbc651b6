"""What is said to a wrong answer gives away neither the answer nor a step that is still open."""

import re

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.base.units import conversion
from tutor.problems.draw import draw

DRAWS = range(1, 4)


def entries(problem):
    """Wrong answers on both sides of the right one, as people type them."""
    question = problem.question
    value, kind = problem.values[problem.ask], question.library.quantities[problem.ask].kind
    if kind == "count":
        return [str(max(1, int(value) + more)) for more in (-3, -1, 1, 20)]
    if kind == "size":
        return ["14 AWG", "4/0 AWG"] if question.rulebook.id == "us" else ["1.5", "120"]
    return [f"{conversion(problem.unit_of(problem.ask)).to_shown(value) * factor:.4g}" for factor in (0.63, 1.37)]


def test_a_broken_limit_is_told_without_the_right_values(bounded_question):
    if bounded_question.evidence:
        pytest.skip("a yes or no respects no limit of its own")
    for number in DRAWS:
        problem = draw(bounded_question, number)
        told = " ".join([*problem.story, *(amount.text for amount in problem.shown.values())])
        open_ = [problem.text_of(name) for name in problem.step_names]
        for text in entries(problem):
            marking = mark(problem, text)
            if marking.verdict == "wrong":
                said = marking.feedback
                given_away = [
                    value
                    for value in open_
                    if value not in told
                    and text not in value
                    and re.search(rf"(?<![\w.]){re.escape(value)}(?!\w|\.\d)", said)
                ]
                assert given_away == [], said


COLD = {"module_voc": "50.8 V", "voc_coefficient": "-0.26 %/K", "record_low": "-12 degC", "input_voltage_max": "600 V"}


@pytest.mark.parametrize(
    ("step", "first"),
    [("50.8 V", "The label's voltage holds for cells at 25 °C."), ("57 V", "How 57 V came about is not identified.")],
)
def test_a_mistake_made_after_the_first_is_told_too(engine, step, first):
    """600 V ÷ 50.8 V = 11.8 and 600 V ÷ 57 V = 10.5, both rounded up."""
    question = engine.question("most-modules-in-series")
    problem = draw(question, 1, own_amounts(question, COLD))
    answer = "12" if step == "50.8 V" else "11"
    said = mark(problem, answer, {"cold_voltage": step}).feedback
    assert first in said
    assert "From there on: With that many modules, what does the string reach on the coldest morning?" in said


def test_a_last_step_that_is_right_for_an_unexplained_value_says_so(engine):
    """600 V ÷ 62 V = 9.7, so 9 follows."""
    question = engine.question("most-modules-in-series")
    problem = draw(question, 1, own_amounts(question, COLD))
    said = mark(problem, "9", {"cold_voltage": "62 V"}).feedback
    assert "How 62 V came about is not identified." in said
    assert "Your last step is right for your own module's open-circuit voltage on the coldest morning" in said
    assert "From there on" not in said
