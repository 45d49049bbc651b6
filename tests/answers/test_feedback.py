"""What is said to a wrong answer gives away neither the answer nor a step that is still open."""

import re

import pytest

from tutor.answers.marking import mark
from tutor.engine.draw import draw
from tutor.units import conversion

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
