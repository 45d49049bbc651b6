"""Marking an answer and its steps: right only if the value is right and no limit is broken.

A step is also marked from the learner's own earlier values, so that one error is counted once.
"""

from collections.abc import Mapping
from dataclasses import replace
from enum import IntEnum

from tutor.answers import feedback
from tutor.answers.coefficient import read_asked_coefficient
from tutor.answers.naming import candidates, carried_on, in_working_units, separating_step
from tutor.answers.order import mark_order
from tutor.answers.verdicts import Candidate, Mark, Marking, claimed
from tutor.base.units import conversion
from tutor.entries.entry import Entry, EntryError
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.method import Step
from tutor.problems.near import near_limits
from tutor.problems.order import OrderProblem
from tutor.problems.problem import SLACK, AnyProblem, Problem

FEWEST_FIGURES = 3  # with two, an honest answer may lie five per cent off
ON_THE_WAY = 0.153  # the share of the tolerance that rounding every step to four figures takes up


class Harm(IntEnum):
    """What a wrong answer would do to those who built by it."""

    NONE = 0
    SOME = 1
    LIMIT_BROKEN = 2


def mark(
    problem: AnyProblem, answer: str, steps: Mapping[str, str] | None = None, *, closed_book: bool = False
) -> Marking:
    """Mark an answer as typed, and those steps that were typed.

    With `closed_book` the feedback holds no number from which a step could be worked out.
    Raises KeyError for a step that the problem does not have.
    """
    if isinstance(problem, OrderProblem):
        return mark_order(problem, answer)
    marks = _mark_steps(problem, {name: text for name, text in (steps or {}).items() if text.strip()})
    try:
        entry = read_answer(problem, problem.ask, answer)
    except EntryError as error:
        return Marking(error.verdict, None, str(error), steps=marks)
    value = in_working_units(problem, problem.ask, entry)
    evidence = problem.question.evidence
    if evidence and (evidence not in marks or marks[evidence].entry is None):
        return Marking("unclear", entry, feedback.evidence_wanted(problem, evidence), steps=marks)
    proved = not evidence or marks[evidence].verdict == "right"
    if proved and problem.is_near(problem.ask, value):
        if problem.breaks_limit(value):
            words = feedback.past_the_limit(problem, value)
            return Marking("unclear" if _only_rounded(problem, entry) else "wrong", entry, words, steps=marks)
        words = feedback.right(problem, feedback.as_typed(problem, entry, value), value)
        return Marking("right", entry, words, steps=marks, near=tuple(near_limits(problem, value)))
    if entry.digits < FEWEST_FIGURES and _only_rounded(problem, entry):
        return Marking("unclear", entry, feedback.rounded_too_far(entry), steps=marks)
    return _wrong(problem, entry, value, marks, closed_book=closed_book)


def mark_step(problem: Problem, name: str, text: str, earlier: Mapping[str, str] | None = None) -> Mark:
    """Mark one step as typed, from the learner's own earlier steps."""
    return _mark_steps(problem, {**(earlier or {}), name: text})[name]


def read_answer(problem: Problem, name: str, text: str) -> Entry:
    """Read what was typed for a quantity of a problem.

    Raises EntryError if it cannot be read.
    """
    return read_asked_coefficient(problem, name, text) or problem.kind(name).read(text)


def _only_rounded(problem: Problem, entry: Entry) -> bool:
    """Whether an entry is the right value, rounded to the figures typed or to four figures on the way."""
    on_the_way = ON_THE_WAY * problem.tolerance(problem.ask) / conversion(problem.unit).scale
    apart = abs(entry.value - problem.answer.value)
    return problem.kind(problem.ask).measured and apart <= max(1.05 * entry.half_width, on_the_way)


def _mark_steps(problem: Problem, texts: Mapping[str, str]) -> dict[str, Mark]:
    by_name = {step.name: step for step in problem.question.right.steps[:-1]}
    for name in texts:
        if name not in by_name:
            raise KeyError(f"'{name}' is not a step here. The steps are: {', '.join(by_name) or 'none'}.")
    earlier: dict[str, Entry] = {}
    marks: dict[str, Mark] = {}
    for name, step in by_name.items():
        if name in texts:
            marks[name] = _mark_step(problem, step, texts[name], earlier)
            if (entry := marks[name].entry) is not None:
                earlier[name] = entry
    return marks


def _mark_step(problem: Problem, step: Step, text: str, earlier: Mapping[str, Entry]) -> Mark:
    try:
        entry = read_answer(problem, step.name, text)
    except EntryError as error:
        return Mark(error.verdict, None, str(error))
    value = in_working_units(problem, step.name, entry)
    if problem.is_near(step.name, value):
        return Mark("right", entry, feedback.step_right(problem, step.name))
    if earlier and _follows(problem, step, value, earlier):
        return Mark("carried", entry, feedback.step_carried(problem, step.name))
    explaining = candidates(problem, {**earlier, step.name: entry}, step.name)
    return Mark("wrong", entry, feedback.step_wrong(problem, step, claimed(explaining)), tuple(explaining))


def _follows(problem: Problem, step: Step, value: float, earlier: Mapping[str, Entry]) -> bool:
    """Whether a value is what the step's relation gives for the learner's own earlier values."""
    typed = carried_on(problem, {name: in_working_units(problem, name, entry) for name, entry in earlier.items()})
    try:
        expected = [problem.evaluate(tree, typed) for tree in step.trees]
    except NO_VALUE:
        return False
    return any(
        abs(value - root) <= problem.tolerance(step.name, root) + SLACK * max(1.0, abs(root)) for root in expected
    )


def _wrong(problem: Problem, entry: Entry, value: float, marks: dict[str, Mark], *, closed_book: bool) -> Marking:
    entries = {name: mark.entry for name, mark in marks.items() if mark.entry is not None}
    departed = next((mark for mark in marks.values() if mark.verdict == "wrong"), None)
    carried = departed is not None and _follows(problem, problem.question.right.steps[-1], value, entries)
    of_answer: list[Candidate] = [] if carried else candidates(problem, {**entries, problem.ask: entry}, problem.ask)
    explaining, further = (departed.candidates, tuple(of_answer)) if departed else (tuple(of_answer), ())
    named = claimed(explaining)
    separating = None if named or not explaining else separating_step(problem, explaining, entries)
    marking = Marking("wrong", entry, "", explaining, named, separating, marks, further)
    words = feedback.wrong(problem, marking, explaining, value, carried=carried, closed_book=closed_book)
    return replace(marking, feedback=words)


def harm_of(problem: AnyProblem, answer: str, mistakes: frozenset[str] = frozenset()) -> Harm:
    """The harm that a wrong answer would do; for an order `mistakes` tell which were made in it.

    A limit is broken where the answer passes one that it has to respect, or steps into a trap of an order.  Some harm
    is done where the quantity's glossary entry says what a value on that side does, or an order has its steps turned
    round.
    """
    if isinstance(problem, OrderProblem):
        if mistakes & problem.question.exercise.traps.keys():
            return Harm.LIMIT_BROKEN
        return Harm.SOME if mistakes else Harm.NONE
    try:
        value = in_working_units(problem, problem.ask, read_answer(problem, problem.ask, answer))
    except EntryError:
        return Harm.NONE
    if problem.breaks_limit(value):
        return Harm.LIMIT_BROKEN
    return Harm.SOME if feedback.consequence(problem, value) else Harm.NONE
