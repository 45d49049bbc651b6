"""Drawing: the same problem in every process, and draws whose mistakes cannot be mistaken for the answer."""

import json
import os
import subprocess
import sys
from itertools import combinations

import pytest

from tutor.content.models import Amount
from tutor.problems.draw import draw
from tutor.problems.question import RequestError
from tutor.problems.wrong_method import declared_mistakes

DRAWS = 300
ALL_PROBLEMS = """
import json
import sys
from tutor.content.library import load
from tutor.problems.draw import draw
from tutor.problems.question import Engine
from tutor.operations.json_forms import problem_json

engine = Engine(load())
print(json.dumps([
    problem_json(draw(engine.question(id_, ask, book), number), solution=True)
    for id_, declared in list(engine.library.declared.items())[:: int(sys.argv[1])]
    for book in declared.exercise.rulebooks
    for ask in declared.under(book).exercise.asks
    for number in range(3)
]))
"""


def in_a_process(hash_seed, each):
    """The problems of each so-many-th exercise, drawn by a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", ALL_PROBLEMS, str(each)],
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
        capture_output=True,
        text=True,
        check=True,
        timeout=300,
    )
    return json.loads(done.stdout)


@pytest.mark.parametrize("each", [6, pytest.param(1, marks=pytest.mark.long)])
def test_two_processes_draw_the_same_problems(each):
    one, other = in_a_process("1", each), in_a_process("20202", each)
    assert len(one) >= 10
    assert one == other


def test_numbers_give_different_problems(question, drawn):
    drawn = {
        json.dumps({name: amount.text for name, amount in drawn(question, number).shown.items()})
        for number in range(40)
    }
    assert len(drawn) >= 12


@pytest.mark.parametrize(
    "draws",
    [15, pytest.param(75, marks=pytest.mark.long), pytest.param(1000, marks=pytest.mark.million)],
)
def test_no_declared_mistake_is_ever_marked_right(question, drawn, mark_values, draws):
    for number in range(draws):
        problem = drawn(question, number)
        for mistake, values in problem.predictions:
            assert mark_values(problem, values, figures=4).verdict != "right", (number, mistake.id)


def test_the_right_answer_is_marked_right(question, drawn, mark_values):
    for number in range(40):
        problem = drawn(question, number)
        assert mark_values(problem, problem.values, figures=12).verdict == "right", number


@pytest.mark.one_in(4)
def test_the_likeliest_mistakes_are_kept_apart(question, drawn):
    """The two mistakes that a learner most likely makes lead to two answers; one draw in a hundred may fail."""
    mistakes = question.exercise.mistakes
    biting = {mistake.id for mistake in declared_mistakes(question)}
    pairs = {pair: mistakes[pair[0]].weight * mistakes[pair[1]].weight for pair in combinations(sorted(biting), 2)}
    heaviest = [pair for pair, weight in pairs.items() if weight == max(pairs.values()) > 1]
    met = dict.fromkeys(heaviest, 0)
    for number in range(DRAWS):
        answers = {}
        problem = drawn(question, number)
        for mistake, values in problem.predictions:
            judged = question.evidence or question.ask
            answers.setdefault(mistake.id, set()).add(f"{values[judged]:.4g}")
        for pair in heaviest:
            met[pair] += bool(answers.get(pair[0], set()) & answers.get(pair[1], set()))
    assert {pair: share for pair, share in met.items() if share > DRAWS // 100} == {}


def test_a_drawn_longest_string_keeps_rounding_up_and_the_cold_left_out_apart(engine):
    question = engine.question("most-modules-in-series")
    for number in range(1000):
        problem = draw(question, number)
        answers = {"cold-left-out": set(), "rounded-up": set()}
        for mistake, values in problem.predictions:
            if mistake.id in answers:
                answers[mistake.id].add(values["modules_in_series"])
        assert not answers["cold-left-out"] & answers["rounded-up"], number


def test_every_worked_out_value_is_plausible(question, drawn):
    for number in range(60):
        problem = drawn(question, number)
        for name, value in {**problem.known, **problem.values}.items():
            low, high = question.plausible(name)
            assert low - 1e-9 * abs(low) <= value <= high + 1e-9 * abs(high), (number, name)


@pytest.mark.one_in(4)
def test_every_right_answer_respects_its_limits(bounded_question, drawn):
    for number in range(DRAWS):
        problem = drawn(bounded_question, number)
        assert all(limit.holds({**problem.known, **problem.values}) for limit in bounded_question.limits), number


def test_own_numbers_are_kept_and_the_rest_fits_them(engine):
    own = {"module_voc": Amount(value=41.3, unit="V"), "record_low": Amount(value=-11.2, unit="degF")}
    for number in range(20):
        problem = draw(engine.question("most-modules-in-series"), number, own)
        assert {name: problem.shown[name] for name in own} == own
        assert problem.known["record_low"] == pytest.approx(-24, abs=1e-9)
        assert 0.7 < problem.shown["module_vmp"].value / 41.3 < 0.95


@pytest.mark.parametrize(
    ("name", "amount", "words"),
    [
        ("module_voc", "500 V", "real values lie between"),
        ("module_voc", "41.3 A", "is measured in V"),
        ("modules_in_series", "3", "is what is asked for"),
        ("run_length", "3 m", "is not a given here"),
    ],
)
def test_own_numbers_that_cannot_be_worked_with_are_told(engine, name, amount, words):
    with pytest.raises(RequestError, match=words):
        draw(engine.question("most-modules-in-series"), 1, {name: Amount.model_validate(amount)})
