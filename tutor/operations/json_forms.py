"""The JSON that commands print.  Keys are stable; values carry their unit (see DEVELOPERS.md)."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from tutor.content.library import Library
from tutor.content.models import Amount
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.solution import worked_solution

if TYPE_CHECKING:  # what a problem or a list needs none of
    from tutor.answers.verdicts import Mark, Marking
    from tutor.answers.working.judging import Working
    from tutor.entries.entry import Entry

_SOLUTION_KEYS = ("name", "kind", "why", "relation", "numbers", "value", "unit", "text", "source", "near")


def problem_json(problem: AnyProblem, *, solution: bool) -> dict[str, Any]:
    """A problem as told; with `solution` its answer and worked solution too."""
    exercise = problem.question.exercise
    fields = {
        "exercise": exercise.id,
        "version": problem.question.version,
        "number": problem.number,
        "rulebook": problem.question.rulebook.id,
        "story": " ".join([*problem.story, *problem.listed, problem.task]),
        "givens": {name: _amount(amount) for name, amount in problem.shown.items()},
        "asks": list(exercise.asks),
        "ask": problem.ask,
        "steps": problem.step_names,
        "safety": safety_json(problem),
    }
    if solution:
        fields["answer"] = answer_json(problem)
        fields["solution"] = [{key: asdict(line)[key] for key in _SOLUTION_KEYS} for line in worked_solution(problem)]
    return fields


def answer_json(problem: AnyProblem) -> dict[str, Any]:
    """The right answer."""
    return {"value": problem.answer_value, "unit": problem.unit, "text": problem.answer_text}


def safety_json(problem: AnyProblem) -> list[dict[str, str]]:
    """The cautions that a problem shows."""
    question = problem.question
    cautions = question.library.cautions(question.exercise.safety, question.rulebook.id)
    return [{"id": id_, "text": text} for id_, text in cautions.items()]


def marking_json(problem: AnyProblem, marking: "Marking", *, solution: bool) -> dict[str, Any]:
    """A marking; the answer itself only with `solution`."""
    fields = {
        "exercise": problem.question.exercise.id,
        "number": problem.number,
        "ask": problem.ask,
        "verdict": marking.verdict,
        "entry": _entry(problem, marking.entry, problem.ask),
        "mistakes": [
            {"id": named.id, "words": named.words, "probability": named.probability} for named in marking.candidates
        ],
        "named": marking.named.id if marking.named else None,
        "feedback": marking.feedback,
        "near": list(marking.near),
        "steps": {name: _mark(problem, mark, name) for name, mark in marking.steps.items()},
        "safety": safety_json(problem),
    }
    if solution:
        fields["answer"] = answer_json(problem)
    return fields


def working_json(problem: Problem, working: "Working") -> dict[str, Any]:
    """A working, line by line; never the answer itself."""
    return {
        "exercise": problem.question.exercise.id,
        "number": problem.number,
        "ask": problem.ask,
        "lines": [asdict(line) for line in working.lines],
        "first_wrong": working.first_wrong,
        "reaches_answer": working.reaches_answer,
        "proves_answer": working.proves_answer,
        "method": working.method,
        "safety": safety_json(problem),
    }


def exercises_json(library: Library) -> list[dict[str, Any]]:
    """All exercises in the order in which they are taught."""
    return [
        {
            "id": exercise.id,
            "title": exercise.title,
            "lesson": exercise.lesson,
            "skill": exercise.skill,
            "level": exercise.level,
            "asks": list(exercise.asks),
            "givens": list(exercise.givens),
            "mistakes": list(exercise.mistakes),
        }
        for exercise in library.exercises.values()
    ]


def _amount(amount: Amount) -> dict[str, Any]:
    return {"value": amount.value, "unit": amount.unit, "text": amount.text}


def _entry(problem: AnyProblem, entry: "Entry | None", name: str) -> dict[str, Any] | None:
    if entry is None:
        return None
    if isinstance(problem, OrderProblem):
        return {"value": entry.text, "unit": ""}
    return {"value": entry.value, "unit": problem.unit_of(name)}


def _mark(problem: AnyProblem, mark: "Mark", name: str) -> dict[str, Any]:
    named = mark.named.id if mark.named else None
    entry = _entry(problem, mark.entry, name)
    return {"verdict": mark.verdict, "entry": entry, "named": named, "feedback": mark.feedback}
