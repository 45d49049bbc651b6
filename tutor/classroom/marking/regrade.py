"""Marking again after a correction: first the difference to be looked at, then the change, with what was before kept.

A correction is either of the content (an exercise, a part or a table was mended, and the kept givens now lead to other
values) or of one problem's right answer, said by the instructor. Problems whose values do not change, answers that were
never marked and answers whose verdict stays are not touched.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, insert, update

from tutor.answers.marking import read_answer
from tutor.answers.naming import in_working_units
from tutor.classroom.errors import ClassError
from tutor.classroom.marking.assigned import StepError, mark_assigned
from tutor.classroom.marking.attempt_rules import counts, of_marking
from tutor.classroom.models import Answer, AssignedProblem, StoredSet
from tutor.classroom.progress import Progress, untold
from tutor.classroom.rows import keep_declarations, standings
from tutor.classroom.sets.recorded import is_recorded, stands_alone
from tutor.classroom.sets.snapshots import (
    SLACK,
    UNFIT,
    accepted_range,
    assigned_from,
    is_close,
    order_rules,
    problem_of,
    question_of_today,
    rebuilt,
    snapshot_as_json,
    snapshot_of,
    with_told_words,
)
from tutor.classroom.sets.views import AttemptState
from tutor.entries.entry import EntryError
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Engine
from tutor.store.database import Store
from tutor.store.tables import class_answer, correction, handed, verdict_change

_CORRECTED = ("version", "expected", "answer", "tolerance")


@dataclass(frozen=True)
class Change:
    """An answer whose verdict would be another one; `values` are the fields that it would get."""

    handed: AssignedProblem
    answer: Answer
    values: Mapping[str, Any]

    @property
    def before(self) -> str:
        """The verdict as it is."""
        return self.answer.verdict

    @property
    def after(self) -> str:
        """The verdict as it would be."""
        return str(self.values["verdict"])


@dataclass(frozen=True)
class Regrade:
    """What marking again would change; `corrected` are the problems (before, after), `unfit` those that cannot be."""

    corrected: Sequence[tuple[AssignedProblem, AssignedProblem]] = ()
    changes: Sequence[Change] = ()
    unfit: Sequence[tuple[AssignedProblem, str]] = field(default_factory=list)


def preview_content(
    store: Store, engine: Engine, practice_set: StoredSet, exercise: str | None = None, progress: Progress = untold
) -> Regrade:
    """What the content of today would change in a set, or in its problems of one exercise. Changes nothing."""
    wanted = handed.c.practice_set_id == practice_set.id
    wanted = wanted if exercise is None else wanted & (handed.c.exercise == exercise)
    with store.reading() as connection:
        states = standings(connection, wanted, datetime.now(UTC))
    corrected: list[tuple[AssignedProblem, AssignedProblem]] = []
    unfit: list[tuple[AssignedProblem, str]] = []
    changes: list[Change] = []
    for position, state in enumerate(states, start=1):
        try:
            new = _with_todays_values(engine, state.handed)
        except ClassError as error:
            unfit.append((state.handed, str(error)))
        else:
            if new is not None:
                corrected.append((state.handed, new))
                changes += _changes(engine, state, new)
        progress(position, len(states))
    return Regrade(corrected, changes, unfit)


def preview_answer(store: Store, engine: Engine, handed_id: int, right: str) -> Regrade:
    """What would change in one problem if its right answer were another one, as typed. Changes nothing.

    Raises ClassError if that cannot be the right answer: it cannot be read, or it breaks the problem's limit.
    """
    with store.reading() as connection:
        states = standings(connection, handed.c.id == handed_id, datetime.now(UTC))
    if not states:
        raise ClassError("This problem is not in the store any more.")
    new = _with_right_answer(engine, states[0].handed, right)
    return Regrade([(states[0].handed, new)], _changes(engine, states[0], new))


def apply(store: Store, engine: Engine, regrade: Regrade, reason: str, moment: datetime | None = None) -> list[Change]:
    """Make the change that was looked at, and keep what was before; gives the answers whose verdict changed.

    Answers that came in since are marked again too. Raises ClassError if a problem has been corrected meanwhile.
    """
    moment = moment or datetime.now(UTC)
    if not reason.strip():
        raise ClassError("Say in a few words why the answers are marked again; it is kept with them.")

    def work(connection: Connection) -> list[Change]:
        changes: list[Change] = []
        for old, new in regrade.corrected:
            states = standings(connection, handed.c.id == old.id, moment)
            if states and (states[0].handed.expected, states[0].handed.snapshot) != (old.expected, old.snapshot):
                raise ClassError(f"Problem {old.code} has been corrected meanwhile. Look at the difference again.")
            for state in states:
                _correct(connection, old, new, reason, moment)
                changes += _changes(engine, state, new)
        for change in changes:
            _apply(connection, change, reason, moment)
        return changes

    return store.write(work)


def _with_todays_values(engine: Engine, old: AssignedProblem) -> AssignedProblem | None:
    """A handed problem with the values of today's content; None if they are those it has.

    Raises ClassError if its givens do not fit the exercise any more.
    """
    try:
        problem = rebuilt(question_of_today(engine, old), replace(old, snapshot=replace(old.snapshot, said=False)))
    except UNFIT:
        raise ClassError(
            "its givens do not fit the exercise any more. Excuse its learner, or say its right answer."
        ) from None
    if old.snapshot.said and problem.question.version == old.version:
        return None
    if isinstance(problem, Problem) and problem.breaks_limit(problem.values[problem.ask]):
        raise ClassError("with its givens the exercise's own answer breaks its limit. Excuse its learner.")
    before = problem_of(engine, old)
    if not stands_alone(old, before) and _is_marked_alike(before, problem):
        return None
    return _corrected(old, before, problem)


def _is_marked_alike(before: AnyProblem, after: AnyProblem) -> bool:
    """Whether the right answers are the same, to the question and to the steps on the way."""
    if isinstance(before, OrderProblem) and isinstance(after, OrderProblem):
        return order_rules(before) == order_rules(after)
    if not (isinstance(before, Problem) and isinstance(after, Problem)):
        return False
    if (before.step_names, before.question.evidence) != (after.step_names, after.question.evidence):
        return False
    pairs = [(after.values[name], before.values[name]) for name in after.step_names]
    return all(is_close(*pair) for pair in [*pairs, *zip(accepted_range(after), accepted_range(before), strict=True)])


def _corrected(old: AssignedProblem, before: AnyProblem, after: AnyProblem) -> AssignedProblem:
    """The old problem as it was told, marked by the new one's values."""
    new = assigned_from(after, old.member, old.place)
    snapshot = replace(new.snapshot, parts=old.snapshot.parts, profile=old.snapshot.profile)
    on_sheets = [
        (told_problem.question.exercise.title, told_problem.story, told_problem.task, told_problem.listed)
        for told_problem in (before, after)
    ]
    if on_sheets[0] != on_sheets[1]:
        declaration = with_told_words(snapshot.declaration, old.snapshot.words(old.ask))
        snapshot = replace(snapshot, declaration=declaration)
    return replace(old, snapshot=snapshot, **{name: getattr(new, name) for name in _CORRECTED})


def _with_right_answer(engine: Engine, old: AssignedProblem, text: str) -> AssignedProblem:
    problem = problem_of(engine, old)
    if isinstance(problem, OrderProblem):
        raise ClassError("An order has more than one right answer. Mend the exercise and mark again by it.")
    try:
        value = in_working_units(problem, old.ask, read_answer(problem, old.ask, text))
    except EntryError as error:
        raise ClassError(f"This cannot be the right answer: {error}") from None
    if problem.breaks_limit(value):
        raise ClassError(f"Problem {old.code}: this answer would break the problem's limit. Mend the exercise instead.")
    expected, reach = {**old.expected, old.ask: value}, problem.tolerance(old.ask, value)
    snapshot, record = old.snapshot, old.snapshot.record
    if record is not None and not is_recorded(problem):
        snapshot = snapshot_of(problem)
    elif record is not None:
        if record.bounded:
            fault = "has a limit that cannot be checked any more. Mend the exercise instead."
            raise ClassError(f"Problem {old.code} {fault}")
        slack = SLACK * max(1.0, abs(value))
        accepted = (value - reach - slack, value + reach + slack)
        changed = {"accepted": accepted, "tolerances": {**record.tolerances, old.ask: reach}, "said": True}
        snapshot = replace(snapshot, record=record.model_copy(update=changed))
    answer, snapshot = " ".join(text.split()), replace(snapshot, profile=old.snapshot.profile, said=True)
    return replace(old, expected=expected, answer=answer, tolerance=reach, snapshot=snapshot)


def _changes(engine: Engine, state: AttemptState, new: AssignedProblem) -> list[Change]:
    """The answers of a problem whose verdict would be another one."""
    changes = []
    unused = state.attempts_unused
    for answer in state.answers:
        if answer.verdict == "" or (answer.verdict == "refused" and answer.source == "screen"):
            continue
        try:
            values = of_marking(mark_assigned(engine, new, answer.entry, answer.steps))
        except StepError:
            offered = {name: text for name, text in answer.steps.items() if name in new.expected}
            values = of_marking(mark_assigned(engine, new, answer.entry, offered))
        if values["verdict"] != answer.verdict:
            values |= {"counted": counts(state, answer, values, unused)}
            unused -= values["counted"] and not answer.counted
            changes.append(Change(new, answer, values))
    return changes


def _correct(connection: Connection, old: AssignedProblem, new: AssignedProblem, reason: str, moment: datetime) -> None:
    before, after = (_marked_by(assigned) for assigned in (old, new))
    keep_declarations(connection, [new.snapshot])
    connection.execute(update(handed).where(handed.c.id == old.id).values(**after))
    row = {"handed_id": old.id, "at": moment, "reason": reason.strip(), "before": before, "after": after}
    connection.execute(insert(correction).values(**row))


def _marked_by(assigned: AssignedProblem) -> dict[str, Any]:
    values = {name: getattr(assigned, name) for name in _CORRECTED}
    return {**values, "expected": dict(assigned.expected), "kept": snapshot_as_json(assigned.snapshot)}


def _apply(connection: Connection, change: Change, reason: str, moment: datetime) -> None:
    before = {name: _plain(getattr(change.answer, name)) for name in change.values}
    after = {name: _plain(value) for name, value in change.values.items()}
    connection.execute(update(class_answer).where(class_answer.c.id == change.answer.id).values(**after))
    row = {
        "class_answer_id": change.answer.id,
        "at": moment,
        "reason": reason.strip(),
        "before": before,
        "after": after,
    }
    connection.execute(insert(verdict_change).values(**row))


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value


def told_changes(regrade: Regrade) -> Iterable[str]:
    """The difference, a line for each answer and each problem that cannot be marked again."""
    for change in regrade.changes:
        learner = change.handed.member.name or change.handed.member.number
        yield f"{change.handed.code} {learner}: '{change.answer.entry}' {change.before} -> {change.after}"
    for assigned, reason in regrade.unfit:
        yield f"{assigned.code} {assigned.member.name or assigned.member.number}: not marked again: {reason}"
