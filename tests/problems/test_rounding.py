"""Honest rounding never changes a whole number, a standard size, a table's value or a verdict that is asked for."""

import math
import random

import pytest

from tutor.content.models import Amount
from tutor.expression.grammar import parse
from tutor.problems.draw import draw
from tutor.problems.rounding import span, step_open_to_rounding, widened

MIXTURES = 4  # random choices, for each draw, of which results are rounded and to how many figures


def figures(value, count):
    return float(f"{value:.{count - 1}e}")


def roundings(seed):
    """Ways in which people round: all results to three figures, all to four, and mixtures of these with none."""
    yield lambda value: figures(value, 3)
    yield lambda value: figures(value, 4)
    for mixture in range(MIXTURES):
        choice = random.Random(f"{seed} {mixture}")
        yield lambda value, choice=choice: figures(value, choice.choice((3, 3, 3, 4, 5, 12)))


@pytest.mark.parametrize(
    "draws",
    [12, pytest.param(75, marks=pytest.mark.long), pytest.param(300, marks=pytest.mark.million)],
)
def test_honest_rounding_never_changes_what_is_counted_looked_up_or_judged(discrete_question, work_out, draws):
    question = discrete_question
    steps = question.right.steps
    discrete = [step.name for step in steps if step.kind in ("round", "look up", "choose")]
    discrete += [step.name for step in steps if question.library.quantities[step.name].kind == "answer"]
    for number in range(draws):
        problem = draw(question, number)
        for rounded in roundings(f"{question.exercise.id} {number}"):
            values = work_out(problem, rounded)
            for name in discrete:
                assert values[name] == pytest.approx(problem.values[name], rel=1e-12), (number, name)


def test_the_second_way_gives_the_same_values(question, drawn, work_out):
    for number in range(20):
        problem = drawn(question, number)
        for name, value in work_out(problem).items():
            assert value == pytest.approx(problem.values[name], rel=1e-9), (number, name)


COLD = {"module_voc": "41.3 V", "voc_coefficient": "-0.27 %/K", "record_low": "-24 degC"}


# One module reaches 46.764 V: 450 V hold 9.62 of it and 440 V 9.41, out of rounding's reach; 421.5 V hold 9.013 and
# 420.5 V 8.992, where the third figure of one result decides.
@pytest.mark.parametrize(("limit", "open_"), [("450 V", False), ("421.5 V", True), ("420.5 V", True), ("440 V", False)])
def test_a_count_near_a_whole_number_is_open(engine, limit, open_):
    own = {name: Amount.model_validate(text) for name, text in (COLD | {"input_voltage_max": limit}).items()}
    step = step_open_to_rounding(draw(engine.question("most-modules-in-series"), 1, own))
    assert step == ("modules_in_series" if open_ else None)


@pytest.mark.parametrize("value", [0.0, 1.0, 25.0, -49.0, 1.25, 0.0027, 450.0, 1e-9, 123000.0])
def test_a_value_of_three_figures_stays_what_it_is(value):
    assert widened(value, value) == (value, value)


def test_the_interval_holds_every_rounding():
    choice = random.Random(5)
    for _ in range(20_000):
        value = choice.uniform(0.5, 20) * 10 ** choice.randint(-4, 4) * choice.choice((-1, 1))
        low, high = widened(value, value)
        for count in (3, 4, 5, 6):
            assert low <= figures(value, count) <= high
        assert high - low <= 0.01 * abs(value) * (1 + 1e-9)


RELATIONS = [
    "a * (1 + b * (c - 25 degC))",
    "a / (b + c) - c",
    "(a - b) / (c + 0.1) * 1.25",
    "-(a + b) ^ 2 / c",
    "least(a * b, c, b / a)",
    "greatest(a - b, c * 2) ^ 3",
]


@pytest.mark.parametrize("text", RELATIONS)
def test_the_interval_of_a_relation_holds_every_way_of_rounding(text, evaluate_tree):
    tree = parse(text)
    choice = random.Random(text)
    for _ in range(300):
        values = {name: choice.uniform(0.1, 50) for name in "abc"}
        low, high = span(tree, {name: (value, value) for name, value in values.items()})
        for rounded in roundings(choice.random()):
            assert low - 1e-9 * abs(low) <= evaluate_tree(tree, values, rounded) <= high + 1e-9 * abs(high)


def test_a_division_by_what_may_be_zero_is_open_on_both_sides():
    assert span(parse("a / (b - c)"), {"a": (1, 1), "b": (1.23, 1.25), "c": (1.24, 1.24)}) == (-math.inf, math.inf)
