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

from tutor.classroom.errors import ClassError
from tutor.classroom.judging import counts, of_marking
from tutor.classroom.keeping import SLACK, handed_from, kept_as_json, rebuild_problem, with_todays_content
from tutor.classroom.marking import StepError, mark_handed, read_value
from tutor.classroom.models import Answer, Handed, StoredSet
from tutor.classroom.progress import Progress, untold
from tutor.classroom.rows import standings
from tutor.classroom.views import Standing
from tutor.engine.problem import Problem
from tutor.engine.question import Engine
from tutor.entries.entry import EntryError
from tutor.entries.kinds import kind_of
from tutor.store.database import Store
from tutor.store.tables import class_answer, correction, handed, verdict_change
from tutor.trade.rulebooks import rulebook

_CORRECTED = ("version", "expected", "answer", "tolerance")
_OF_MARKING = ("words", "units", "kinds", "tolerances", "choices", "accepted", "evidence", "tabled", "bounded", "order")


@dataclass(frozen=True)
class Change:
    """An answer whose verdict would be another one; `values` are the fields that it would get."""

    handed: Handed
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
class Remark:
    """What marking again would change; `corrected` are the problems (before, after), `unfit` those that cannot be."""

    corrected: Sequence[tuple[Handed, Handed]] = ()
    changes: Sequence[Change] = ()
    unfit: Sequence[tuple[Handed, str]] = field(default_factory=list)


def preview_content(
    store: Store, engine: Engine, of: StoredSet, exercise: str | None = None, progress: Progress = untold
) -> Remark:
    """What the content of today would change in a set, or in its problems of one exercise. Changes nothing."""
    which = handed.c.practice_set_id == of.id
    which = which if exercise is None else which & (handed.c.exercise == exercise)
    with store.reading() as connection:
        found = standings(connection, which, datetime.now(UTC))
    corrected: list[tuple[Handed, Handed]] = []
    unfit: list[tuple[Handed, str]] = []
    changes: list[Change] = []
    for at, standing in enumerate(found, start=1):
        try:
            new = _with_todays_values(engine, standing.handed)
        except ClassError as error:
            unfit.append((standing.handed, str(error)))
        else:
            if new is not None:
                corrected.append((standing.handed, new))
                changes += _changes(engine, standing, new)
        progress(at, len(found))
    return Remark(corrected, changes, unfit)


def preview_answer(store: Store, engine: Engine, handed_id: int, right: str) -> Remark:
    """What would change in one problem if its right answer were another one, as typed. Changes nothing.

    Raises ClassError if that cannot be the right answer: it cannot be read, or it breaks the problem's limit.
    """
    with store.reading() as connection:
        found = standings(connection, handed.c.id == handed_id, datetime.now(UTC))
    if not found:
        raise ClassError("This problem is not in the store any more.")
    new = _with_right_answer(engine, found[0].handed, right)
    return Remark([(found[0].handed, new)], _changes(engine, found[0], new))


def apply(store: Store, engine: Engine, remark: Remark, reason: str, now: datetime | None = None) -> list[Change]:
    """Make the change that was looked at, and keep what was before; gives the answers whose verdict changed.

    Answers that came in since are marked again too. Raises ClassError if a problem has been corrected meanwhile.
    """
    now = now or datetime.now(UTC)
    if not reason.strip():
        raise ClassError("Say in a few words why the answers are marked again; it is kept with them.")

    def work(connection: Connection) -> list[Change]:
        made: list[Change] = []
        for old, new in remark.corrected:
            there = standings(connection, handed.c.id == old.id, now)
            if there and (there[0].handed.expected, there[0].handed.kept) != (old.expected, old.kept):
                raise ClassError(f"Problem {old.code} has been corrected meanwhile. Look at the difference again.")
            for standing in there:
                _correct(connection, old, new, reason, now)
                made += _changes(engine, standing, new)
        for change in made:
            _apply(connection, change, reason, now)
        return made

    return store.write(work)


def _with_todays_values(engine: Engine, old: Handed) -> Handed | None:
    """A handed problem with the values of today's content; None if they are those it has.

    Raises ClassError if its givens do not fit the exercise any more.
    """
    problem = with_todays_content(engine, old)
    if problem is None:
        raise ClassError("its givens do not fit the exercise any more. Excuse its learner, or say its right answer.")
    if old.kept.said and problem.question.version == old.version:
        return None
    if isinstance(problem, Problem) and problem.breaks_limit(problem.values[problem.ask]):
        raise ClassError("with its givens the exercise's own answer breaks its limit. Excuse its learner.")
    new = _corrected(old, handed_from(problem, old.member, old.place))
    same_range = all(
        abs(a - b) <= SLACK * max(1.0, abs(b)) for a, b in zip(new.kept.accepted, old.kept.accepted, strict=True)
    )
    return None if same_range and rebuild_problem(engine, old) is not None else new


def _corrected(old: Handed, new: Handed) -> Handed:
    """The old problem as it was told, marked by the new one's values."""
    kept = replace(old.kept, **{name: getattr(new.kept, name) for name in _OF_MARKING}, said=False)
    return replace(old, kept=kept, **{name: getattr(new, name) for name in _CORRECTED})


def _with_right_answer(engine: Engine, old: Handed, text: str) -> Handed:
    if old.kept.order is not None:
        raise ClassError("An order has more than one right answer. Mend the exercise and mark again by it.")
    try:
        value = read_value(old, text)
    except EntryError as error:
        raise ClassError(f"This cannot be the right answer: {error}") from None
    reach, lowest, highest = _range_around(engine, old, value)
    tolerances = {**old.kept.tolerances, old.ask: reach}
    kept = replace(old.kept, accepted=(lowest, highest), tolerances=tolerances, said=True)
    expected = {**old.expected, old.ask: value}
    return replace(old, expected=expected, answer=" ".join(text.split()), tolerance=reach, kept=kept)


def _range_around(engine: Engine, old: Handed, value: float) -> tuple[float, float, float]:
    """The tolerance of a value and the answers that it makes right, none of which may break a limit."""
    problem = with_todays_content(engine, old)
    quantity = engine.library.quantities.get(old.ask)
    reach = kind_of(quantity, rulebook(old.rulebook)).tolerance(value) if quantity is not None else old.tolerance
    lowest, highest = value - reach, value + reach
    if isinstance(problem, Problem) and problem.question.limits:
        if problem.breaks_limit(value):
            raise ClassError(
                f"Problem {old.code}: this answer would break the problem's limit. Mend the exercise instead."
            )
        lowest, highest = (value if problem.breaks_limit(end) else end for end in (lowest, highest))
    elif old.kept.bounded:
        raise ClassError(f"Problem {old.code} has a limit that cannot be checked any more. Mend the exercise instead.")
    slack = SLACK * max(1.0, abs(value)) if not old.kept.bounded else 0.0
    return reach, lowest - slack, highest + slack


def _changes(engine: Engine, standing: Standing, new: Handed) -> list[Change]:
    """The answers of a problem whose verdict would be another one."""
    found = []
    unused = standing.attempts_unused
    for answer in standing.answers:
        if answer.verdict == "" or (answer.verdict == "refused" and answer.source == "screen"):
            continue
        try:
            values = of_marking(mark_handed(engine, new, answer.entry, answer.steps))
        except StepError:
            known = {name: text for name, text in answer.steps.items() if name in new.expected}
            values = of_marking(mark_handed(engine, new, answer.entry, known))
        if values["verdict"] != answer.verdict:
            values |= {"counted": counts(standing, answer, values, unused)}
            unused -= values["counted"] and not answer.counted
            found.append(Change(new, answer, values))
    return found


def _correct(connection: Connection, old: Handed, new: Handed, reason: str, now: datetime) -> None:
    before, after = (_marked_by(one) for one in (old, new))
    connection.execute(update(handed).where(handed.c.id == old.id).values(**after))
    row = {"handed_id": old.id, "at": now, "reason": reason.strip(), "before": before, "after": after}
    connection.execute(insert(correction).values(**row))


def _marked_by(one: Handed) -> dict[str, Any]:
    values = {name: getattr(one, name) for name in _CORRECTED}
    return {**values, "expected": dict(one.expected), "kept": kept_as_json(one.kept)}


def _apply(connection: Connection, change: Change, reason: str, now: datetime) -> None:
    before = {name: _plain(getattr(change.answer, name)) for name in change.values}
    after = {name: _plain(value) for name, value in change.values.items()}
    connection.execute(update(class_answer).where(class_answer.c.id == change.answer.id).values(**after))
    row = {"class_answer_id": change.answer.id, "at": now, "reason": reason.strip(), "before": before, "after": after}
    connection.execute(insert(verdict_change).values(**row))


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value


def told_changes(remark: Remark) -> Iterable[str]:
    """The difference, a line for each answer and each problem that cannot be marked again."""
    for change in remark.changes:
        who = change.handed.member.name or change.handed.member.number
        yield f"{change.handed.code} {who}: '{change.answer.entry}' {change.before} -> {change.after}"
    for one, reason in remark.unfit:
        yield f"{one.code} {one.member.name or one.member.number}: not marked again: {reason}"
