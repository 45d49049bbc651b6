"""Typed answers with the verdict that each must get, written by hand and by variation."""

from collections import Counter
from pathlib import Path

import pytest
import yaml

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.engine.setting import set_problem

FILES = sorted((Path(__file__).parents[1] / "corpora" / "answers").glob("*.yaml"))
GROUPS = [one for file in FILES for one in yaml.safe_load(file.read_text(encoding="utf-8"))]
ANSWERS = [answer for group in GROUPS for answer in group["answers"]]


def test_there_are_enough_of_every_kind():
    assert len(ANSWERS) >= 400
    assert len({group["exercise"] for group in GROUPS}) >= 25
    count = Counter(answer["verdict"] for answer in ANSWERS)
    assert min(count["right"], count["wrong"]) >= 100
    assert min(count["refused"], count["unclear"]) >= 9


@pytest.mark.parametrize("group", GROUPS, ids=[f"{at}-{group['exercise']}" for at, group in enumerate(GROUPS)])
def test_the_verdict_on_what_is_typed(engine, group):
    ask, book = group.get("ask"), group.get("rulebook", "us")
    own = own_amounts(engine.question(group["exercise"], ask, book), group["givens"])
    problem = set_problem(engine, group["exercise"], ask, 1, book, own)
    for answer in group["answers"]:
        marking = mark(problem, answer["typed"], group.get("steps"))
        assert marking.verdict == answer["verdict"], (answer, marking.feedback)
        if "named" in answer:
            assert marking.named is not None, answer
            assert marking.named.id == answer["named"], answer
