"""Marking an answer and its steps: right only if the value is right and no limit is broken.

A step is also marked from the learner's own earlier values, so that one error is counted once.
"""

from collections.abc import Mapping

from tutor.answers import feedback
from tutor.answers.choice import read_choice
from tutor.answers.entry import Entry, EntryError, read_entry
from tutor.answers.naming import Candidate, candidates, claimed, in_working_units
from tutor.answers.order import mark_order
from tutor.answers.size import read_size
from tutor.answers.verdicts import Mark, Marking
from tutor.engine.method import Step
from tutor.engine.order import OrderProblem
from tutor.engine.problem import Problem
from tutor.engine.question import tolerance
from tutor.trade.rulebooks import TableError


def mark(problem: Problem | OrderProblem, answer: str, steps: Mapping[str, str] | None = None) -> Marking:
    """Mark an answer as typed, and those steps that were typed.

    Raises KeyError for a step that the problem does not have.
    """
    if isinstance(problem, OrderProblem):
        return mark_order(problem, answer)
    marks = _mark_steps(problem, {name: text for name, text in (steps or {}).items() if text.strip()})
    try:
        entry = _read(problem, problem.ask, answer)
    except EntryError as error:
        return Marking(error.verdict, None, str(error), steps=marks)
    value = in_working_units(problem, problem.ask, entry)
    evidence = problem.question.evidence
    if evidence and (evidence not in marks or marks[evidence].entry is None):
        return Marking("unclear", entry, feedback.evidence_wanted(problem, evidence), steps=marks)
    proved = not evidence or marks[evidence].verdict == "right"
    if proved and _is_right(problem, problem.ask, value):
        if _breaks_limit(problem, value):
            return Marking("wrong", entry, feedback.past_the_limit(problem, value), steps=marks)
        return Marking("right", entry, feedback.right(problem, value), steps=marks)
    if _rounded_too_far(problem, entry):
        return Marking("unclear", entry, feedback.rounded_too_far(entry), steps=marks)
    return _wrong(problem, entry, value, marks)


def mark_step(problem: Problem, name: str, text: str, earlier: Mapping[str, str] | None = None) -> Mark:
    """Mark one step as typed, from the learner's own earlier steps."""
    return _mark_steps(problem, {**(earlier or {}), name: text})[name]


def _read(problem: Problem, name: str, text: str) -> Entry:
    quantity = problem.question.library.quantities[name]
    match quantity.kind:
        case "size":
            return read_size(text, problem.question.rulebook)
        case "choice":
            return read_choice(text, quantity.choices)
        case "answer":
            return read_entry(text, "", "yes-or-no")
        case form:
            return read_entry(text, problem.unit_of(name), form)


def _is_right(problem: Problem, name: str, value: float) -> bool:
    right = problem.values[name]
    slack = 1e-9 * max(1.0, abs(right))
    return abs(value - right) <= tolerance(problem.question.library.quantities[name], right) + slack


def _breaks_limit(problem: Problem, value: float) -> bool:
    """Whether an answer breaks a limit, or is one for which the limit cannot even be worked out."""
    values = {**problem.known, **problem.values, problem.ask: value}
    try:
        return any(not limit.holds(values) for limit in problem.question.limits)
    except (TableError, ZeroDivisionError, OverflowError):
        return True


def _rounded_too_far(problem: Problem, entry: Entry) -> bool:
    number = problem.question.library.quantities[problem.ask].kind == "number"
    return number and entry.digits < 3 and abs(entry.value - problem.answer.value) <= entry.half_width


def _mark_steps(problem: Problem, texts: Mapping[str, str]) -> dict[str, Mark]:
    by_name = {step.name: step for step in problem.question.right.steps[:-1]}
    for name in texts:
        if name not in by_name:
            raise KeyError(f"'{name}' is not a step here. The steps are: {', '.join(by_name) or 'none'}.")
    own: dict[str, float] = {}
    marks: dict[str, Mark] = {}
    for name, step in by_name.items():
        if name in texts:
            marks[name] = _mark_step(problem, step, texts[name], own)
            if (entry := marks[name].entry) is not None:
                own[name] = in_working_units(problem, name, entry)
    return marks


def _mark_step(problem: Problem, step: Step, text: str, own: Mapping[str, float]) -> Mark:
    try:
        entry = _read(problem, step.name, text)
    except EntryError as error:
        return Mark(error.verdict, None, str(error))
    value = in_working_units(problem, step.name, entry)
    if _is_right(problem, step.name, value):
        return Mark("right", entry, feedback.step_right(problem, step.name))
    if own and _follows(problem, step, value, own):
        return Mark("carried", entry, feedback.step_carried(problem, step.name))
    return Mark("wrong", entry, feedback.step_wrong(problem, step, _explained(problem, step, entry)))


def _follows(problem: Problem, step: Step, value: float, own: Mapping[str, float]) -> bool:
    """Whether a value is what the step's relation gives for the learner's own earlier values."""
    quantity = problem.question.library.quantities[step.name]
    try:
        expected = [problem.evaluate(tree, own) for tree in step.trees]
    except (TableError, ZeroDivisionError, OverflowError):
        return False
    return any(abs(value - one) <= tolerance(quantity, one) + 1e-9 * max(1.0, abs(one)) for one in expected)


def _explained(problem: Problem, step: Step, entry: Entry) -> Candidate | None:
    return claimed(candidates(problem, {step.name: entry}, step.name))


def _wrong(problem: Problem, entry: Entry, value: float, marks: dict[str, Mark]) -> Marking:
    entries = {name: mark.entry for name, mark in marks.items() if mark.entry is not None}
    first = next((name for name, mark in marks.items() if mark.verdict == "wrong"), problem.ask)
    found = candidates(problem, {**entries, problem.ask: entry}, first)
    named = claimed(found)
    own = {name: in_working_units(problem, name, one) for name, one in entries.items()}
    carried = first != problem.ask and _follows(problem, problem.question.right.steps[-1], value, own)
    told = feedback.wrong(
        problem, entry, value, found, named, first, carried=carried, breaks_limit=_breaks_limit(problem, value)
    )
    return Marking("wrong", entry, told, tuple(found), named, marks)


__all__ = ["Mark", "Marking", "mark", "mark_step"]
