"""Typed answers with the verdict that each must get, written by hand and by variation."""

from collections import Counter
from pathlib import Path

import pytest
import yaml

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.problem_factory import make_problem
from tutor.trade.rulebooks import RULEBOOKS

FILES = sorted((Path(__file__).parents[1] / "corpora" / "answers").glob("*.yaml"))
GROUPS = [
    pytest.param(group, id=f"{file.stem}-{at}-{group['exercise']}")
    for file in FILES
    for at, group in enumerate(yaml.safe_load(file.read_text(encoding="utf-8")))
]
ANSWERS = [answer for (group,) in (one.values for one in GROUPS) for answer in group["answers"]]


def problem_of(engine, group):
    """The problem of a group of answers: one with the numbers told, or the one with the number told."""
    exercise, ask, book = group["exercise"], group.get("ask"), group.get("rulebook", "us")
    own = own_amounts(engine.question(exercise, ask, book), group["givens"]) if "givens" in group else None
    return make_problem(engine, exercise, ask, group.get("number", 1), book, own)


def test_there_are_enough_of_every_verdict():
    count = Counter(answer["verdict"] for answer in ANSWERS)
    assert len(ANSWERS) >= 400
    assert set(count) == {"right", "wrong", "unclear", "refused"}
    assert min(count.values()) >= 20


def test_they_reach_every_lesson_and_kind_of_quantity_and_both_rulebooks(library):
    groups = [group for (group,) in (one.values for one in GROUPS)]
    exercises = {group["exercise"] for group in groups}
    declared = [library.declared[id_].exercise for id_ in exercises if id_ in library.declared]
    asked = {
        group.get("ask") or next(iter(library.declared[group["exercise"]].exercise.asks))
        for group in groups
        if group["exercise"] in library.declared
    }
    assert len(exercises) >= 25
    assert {one.lesson for one in declared} == {one.exercise.lesson for one in library.declared.values()}
    assert {library.quantities[name].kind for name in asked} == {"number", "count", "size", "choice", "answer"}
    assert {group.get("rulebook", "us") for group in groups} == set(RULEBOOKS)


@pytest.mark.parametrize("group", GROUPS)
def test_the_verdict_on_what_is_typed(engine, group):
    problem = problem_of(engine, group)
    for answer in group["answers"]:
        marking = mark(problem, answer["typed"], answer.get("steps", group.get("steps")))
        assert marking.verdict == answer["verdict"], (answer, marking.feedback)
        if "named" in answer:
            assert (marking.named and marking.named.id) == answer["named"], (answer, marking.candidates)
