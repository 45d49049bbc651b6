"""Published examples and real people's figures: each is worked, marked, and its mistakes named, as a learner's are.

tests/corpora/cases holds them as data, each with the kind of source that its figures come from; Case says what a case
may hold.
"""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml
from pydantic import BaseModel, ConfigDict, Field

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.problem_factory import make_problem

FILES = sorted((Path(__file__).parents[1] / "corpora" / "cases").glob("*.yaml"))
HALFWAY = 1.0001  # of half the last digit typed: a figure halfway between two typed ones meets both


class _Data(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class WrongAnswer(_Data):
    """What somebody answered; `mistake` has to be named (only offered, if `offered`), or nothing if it is None."""

    answer: str
    mistake: str | None
    offered: bool = False
    steps: dict[str, str] = {}


class Case(_Data):
    """One published figure or question: the givens, the answer that is right, and wrong answers.

    `right` is met to its last digit by the worked answer, `also_right` (a source's own rounding) is only marked right.
    """

    name: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")
    source: str = Field(min_length=4)
    exercise: str
    ask: str | None = None
    rulebook: str = "us"
    givens: dict[str, str] = {}
    right: str
    also_right: list[str] = []
    steps: dict[str, str] = {}
    wrong: list[WrongAnswer] = []


CASES = [Case.model_validate(one) for file in FILES for one in yaml.safe_load(file.read_text(encoding="utf-8"))]


@dataclass(frozen=True)
class Slip:
    """One wrong answer of a case."""

    case: Case
    wrong: WrongAnswer

    def __str__(self) -> str:
        return f"{self.case.name}: {self.wrong.answer}"


SLIPS = [Slip(case, wrong) for case in CASES for wrong in case.wrong]


def problem_of(engine, case):
    question = engine.question(case.exercise, case.ask, case.rulebook)
    own = own_amounts(question, case.givens) or None
    return make_problem(engine, case.exercise, case.ask, rulebook=case.rulebook, own=own)


def test_no_two_cases_share_a_name():
    assert [name for name, count in Counter(case.name for case in CASES).items() if count > 1] == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_right_answer(engine, case):
    """It is marked right, and the worked answer is the published one to the digits that were published."""
    problem = problem_of(engine, case)
    marking = mark(problem, case.right, case.steps)
    assert marking.verdict == "right", (marking.feedback, problem.text_of(problem.ask))
    assert [name for name, step in marking.steps.items() if step.verdict != "right"] == []
    if problem.question.library.quantities[problem.ask].kind == "number":
        slack = HALFWAY * marking.entry.half_width + 1e-9 * abs(marking.entry.value)
        assert problem.answer.value == pytest.approx(marking.entry.value, rel=0, abs=slack)


@pytest.mark.parametrize(
    ("case", "answer"),
    [pytest.param(case, answer, id=f"{case.name}: {answer}") for case in CASES for answer in case.also_right],
)
def test_rounded_answer(engine, case, answer):
    assert mark(problem_of(engine, case), answer, case.steps).verdict == "right"


@pytest.mark.parametrize("slip", SLIPS, ids=str)
def test_wrong_answer(engine, slip):
    """It is marked wrong, and its mistake is claimed, or offered where several may share a number, or none is."""
    marking = mark(problem_of(engine, slip.case), slip.wrong.answer, slip.wrong.steps)
    named = marking.named.id if marking.named else None
    found = [candidate.id for candidate in marking.candidates]
    assert marking.verdict == "wrong", marking.feedback
    if slip.wrong.offered:
        assert slip.wrong.mistake in found
        assert named in (None, slip.wrong.mistake)
    else:
        assert named == slip.wrong.mistake, found


def test_most_mistakes_of_real_people_are_named():
    """At least 85 in 100, some only with the step that they were made in; the rest are offered or not identified."""
    made = {(case.name, one.mistake or one.answer) for case in CASES for one in case.wrong}
    named = {(case.name, one.mistake) for case in CASES for one in case.wrong if one.mistake and not one.offered}
    assert len(made) >= 100
    assert len(named) >= 0.85 * len(made)
