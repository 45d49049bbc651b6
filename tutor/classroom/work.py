"""A learner's work on a set: the problems to be seen, answers, unsent text, hints and worked solutions.

What these methods give back is for the learner's browser; tutor.classroom.views says what may be in it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, and_, delete, insert, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.handing import hand_out
from tutor.classroom.judging import judged, unmarked
from tutor.classroom.keeping import rebuild_problem
from tutor.classroom.marking import mark_handed
from tutor.classroom.models import Answer, Handed, Member, StoredSet
from tutor.classroom.rows import (
    answer_values,
    sets_query,
    standings,
    stored_set,
)
from tutor.classroom.views import (
    AnswerForLearner,
    ForLearner,
    PlaceForLearner,
    Standing,
    answer_for_learner,
    for_learner,
    place_for_learner,
    told_time,
)
from tutor.engine.problem import AnyProblem
from tutor.engine.question import Engine
from tutor.engine.solution import Line, worked_solution
from tutor.store.database import Store
from tutor.store.tables import class_answer, class_draft, handed, practice_set, whereabouts

MOST_ANSWERS = 100  # kept for one problem, counted or not
LONGEST_KEPT = 2000  # characters of one answer or step
_STILL_THERE = timedelta(seconds=30)


@dataclass(frozen=True)
class Reply:
    """What is said to an answer, and the problem as it stands after it."""

    said: AnswerForLearner
    problem: ForLearner


class ClassWork:
    """One member's work on one set.

    Every method may raise StoreError, and ClassError for what is not allowed now: all of it before the set opens.
    """

    def __init__(self, store: Store, engine: Engine, of: StoredSet, member: Member) -> None:
        self._store, self._engine, self._set_id, self._member = store, engine, of.id, member

    def begin(self, now: datetime | None = None) -> list[PlaceForLearner]:
        """The learner's list of problems; handed out at the first call."""
        with self._store.reading() as connection:
            of = self._set(connection)
            found = self._standings(connection, now)
        if of.state(now or datetime.now(UTC)) == "not yet" and of.declaration.opens is not None:
            raise ClassError(
                f"This set opens on {told_time(of.declaration.opens, of.declaration.zone)}. Come back then."
            )
        if len(found) < len(of.declaration.places):
            hand_out(self._store, self._engine, of, [self._member])
            with self._store.reading() as connection:
                found = self._standings(connection, now)
        return [place_for_learner(standing) for standing in found]

    def view(self, place: int, now: datetime | None = None) -> ForLearner:
        """The problem at a place as the learner sees it."""
        with self._store.reading() as connection:
            return self._view(connection, self._standing(connection, place, now))

    def arrive(self, place: int, now: datetime | None = None) -> None:
        """Note that the learner is at a place: for the desk, and for the time that an answer takes."""
        now = now or datetime.now(UTC)
        here = and_(whereabouts.c.practice_set_id == self._set_id, whereabouts.c.member_id == self._member.id)
        with self._store.reading() as connection:
            last = connection.execute(select(whereabouts.c.place, whereabouts.c.at).where(here)).first()
            self._standing(connection, place, now)
        if last is not None and last.place == place and now - last.at < _STILL_THERE:
            return

        def work(connection: Connection) -> None:
            self._standing(connection, place, now)  # who was erased meanwhile leaves no trace
            values = {"place": place, "at": now}
            if not connection.execute(update(whereabouts).where(here).values(values)).rowcount:
                row = {"practice_set_id": self._set_id, "member_id": self._member.id, **values}
                connection.execute(insert(whereabouts).values(row))
            unseen = and_(self._mine(place), handed.c.shown_at.is_(None))
            connection.execute(update(handed).where(unseen).values(shown_at=now))

        self._store.write(work)

    def last_place(self) -> int:
        """The place where the learner was last, 1 before the first."""
        query = select(whereabouts.c.place).where(
            whereabouts.c.practice_set_id == self._set_id, whereabouts.c.member_id == self._member.id
        )
        with self._store.reading() as connection:
            return connection.scalar(query) or 1

    def answer(
        self, place: int, entry: str, steps: Mapping[str, str] | None = None, *, key: str, now: datetime | None = None
    ) -> Reply:
        """Mark and keep an answer; once this returns, it is on the disk. The same key again changes nothing.

        Raises ClassError when no more answers are kept, StepError for an unknown step.
        """
        now = now or datetime.now(UTC)
        entry = entry[:LONGEST_KEPT]
        steps = {name: text[:LONGEST_KEPT] for name, text in (steps or {}).items() if text.strip()}
        with self._store.reading() as connection:
            before = self._standing(connection, place, now)
        marking = mark_handed(self._engine, before.handed, entry, steps)

        def work(connection: Connection) -> Reply:
            standing = self._standing(connection, place, now)
            kept = next((one for one in standing.answers if one.key == key), None)
            if kept is None:
                if len(standing.answers) >= MOST_ANSWERS:
                    raise ClassError("No more answers to this problem are kept. Go on with another one.")
                current = marking
                if standing.handed != before.handed:  # corrected meanwhile
                    current = mark_handed(self._engine, standing.handed, entry, steps)
                new = unmarked(standing) if standing.why_not else judged(standing, current)
                row = {
                    "key": key,
                    "at": now,
                    "entry": entry,
                    "steps": steps,
                    "seconds": self._seconds(connection, place, now),
                }
                self._add(connection, standing, {**new, **row})
                standing = self._standing(connection, place, now)
                kept = standing.answers[-1]
                connection.execute(delete(class_draft).where(class_draft.c.handed_id == standing.handed.id))
            return Reply(answer_for_learner(kept, hidden=standing.hidden), self._view(connection, standing))

        return self._store.write(work)

    def keep_draft(self, place: int, field: str, text: str) -> None:
        """Keep text that was typed and not sent, in a field of a problem; an empty text drops it."""
        text = text[:LONGEST_KEPT]

        def work(connection: Connection) -> None:
            standing = self._standing(connection, place)
            mine = and_(class_draft.c.handed_id == standing.handed.id, class_draft.c.field == field)
            values = {"text": text, "at": datetime.now(UTC)}
            if field != standing.handed.ask and field not in standing.handed.expected:
                raise ClassError("This problem has no such field.")
            connection.execute(delete(class_draft).where(mine))
            if text:
                connection.execute(insert(class_draft).values(handed_id=standing.handed.id, field=field, **values))

        with self._store.reading() as connection:
            same = self._drafts(connection, self._standing(connection, place).handed).get(field, "") == text
        if not same:
            self._store.write(work)

    def see_hint(self, place: int, now: datetime | None = None) -> ForLearner:
        """Show one hint more. Raises ClassError if the set allows none or all are seen."""

        def work(connection: Connection) -> ForLearner:
            standing = self._standing(connection, place, now)
            if not self._view(connection, standing).hints_left:
                raise ClassError("There is no further hint for this problem.")
            seen = {"hints_seen": standing.hints_seen + 1}
            if standing.help == "nothing":
                seen |= {"help": "hints"}  # type: ignore[dict-item]
            connection.execute(update(handed).where(self._mine(place)).values(**seen))
            return self._view(connection, self._standing(connection, place, now))

        return self._store.write(work)

    def solution(self, place: int, now: datetime | None = None) -> list[Line]:
        """The worked solution, once the set allows it; from then on answers are not counted any more.

        Of a problem whose exercise has changed since only the kept answer is told. Raises ClassError if it may not be
        seen.
        """

        def work(connection: Connection) -> Handed:
            standing = self._standing(connection, place, now)
            if not standing.solution_may_be_seen:
                raise ClassError("The worked solution of this problem is not shown yet.")
            if standing.help != "solution":
                connection.execute(update(handed).where(self._mine(place)).values(help="solution"))
            return standing.handed

        return solution_lines(self._engine, self._store.write(work))

    def problem_to_draw(self, place: int) -> AnyProblem | None:
        """The problem itself, for drawing its diagram on the server; it holds the answer and must not leave it.

        None if the exercise has changed since the problem was handed out.
        """
        with self._store.reading() as connection:
            return rebuild_problem(self._engine, self._standing(connection, place).handed)

    def _mine(self, place: int) -> Any:
        mine = and_(handed.c.practice_set_id == self._set_id, handed.c.member_id == self._member.id)
        return and_(mine, handed.c.place == place)

    def _set(self, connection: Connection) -> StoredSet:
        row = connection.execute(sets_query().where(practice_set.c.id == self._set_id)).mappings().first()
        if row is None:
            raise ClassError("This practice set is not there any more. Ask your instructor.")
        return stored_set(row)

    def _standing(self, connection: Connection, place: int, now: datetime | None = None) -> Standing:
        found = self._standings(connection, now, place)
        if not found:
            raise ClassError(f"You have no problem {place} in this set. Open the set again from its code.")
        _check_begun(found[0].of, found[0].now)
        return found[0]

    def _standings(self, connection: Connection, now: datetime | None, place: int | None = None) -> list[Standing]:
        mine = and_(handed.c.practice_set_id == self._set_id, handed.c.member_id == self._member.id)
        which = mine if place is None else and_(mine, handed.c.place == place)
        return standings(connection, which, now or datetime.now(UTC))

    def _drafts(self, connection: Connection, of: Handed) -> dict[str, str]:
        query = select(class_draft.c.field, class_draft.c.text).where(class_draft.c.handed_id == of.id)
        return {row.field: row.text for row in connection.execute(query)}

    def _view(self, connection: Connection, standing: Standing) -> ForLearner:
        return for_learner(standing, self._engine.library, self._drafts(connection, standing.handed))

    def _seconds(self, connection: Connection, place: int, now: datetime) -> float | None:
        shown = connection.scalar(select(handed.c.shown_at).where(self._mine(place)))
        return max(0.0, (now - shown).total_seconds()) if shown else None

    def _add(self, connection: Connection, standing: Standing, values: Mapping[str, Any]) -> None:
        new = Answer(id=0, handed=standing.handed.id, source="screen", help=standing.help, **values)
        connection.execute(insert(class_answer).values(**answer_values(new)))


def _check_begun(of: StoredSet, now: datetime) -> None:
    if of.state(now) == "not yet" and of.declaration.opens is not None:
        raise ClassError(f"This set opens on {told_time(of.declaration.opens, of.declaration.zone)}. Come back then.")


def solution_lines(engine: Engine, of: Handed) -> list[Line]:
    """The worked solution of a handed problem; only its kept answer if the exercise has changed since."""
    problem = rebuild_problem(engine, of)
    if problem is not None:
        return worked_solution(problem)
    why = "The exercise has changed since this problem was handed out; this is the answer that was kept."
    return [Line(of.ask, "kept", why, "", "", "", "", of.answer, "", of.answer, "")]
