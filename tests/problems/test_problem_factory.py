"""Making problems: the same one as other exercises set it, whose methods are as good."""

import pytest

from tutor.problems.problem_factory import by_other_methods, make_problem
from tutor.problems.question import Question


def test_the_questions_of_other_methods_are_compiled_once(engine, monkeypatch):
    problem = make_problem(engine, "most-modules-in-series")
    (first,) = by_other_methods(problem)
    assert first.question.exercise.id in problem.question.exercise.other_methods
    assert first.values[problem.ask] == problem.values[problem.ask]

    def compile_again(*_):
        pytest.fail("a question was compiled again")

    monkeypatch.setattr(Question, "__init__", compile_again)
    (second,) = by_other_methods(make_problem(engine, "most-modules-in-series"))
    assert second.question is first.question
