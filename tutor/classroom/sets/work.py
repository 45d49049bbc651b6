"""A learner's work on a set: the problems to be seen, answers, unsent text, hints and worked solutions.

What these methods give back is for the learner's browser; tutor.classroom.sets.views says what may be in it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, and_, delete, insert, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.marking.assigned import mark_assigned
from tutor.classroom.marking.attempt_rules import judged, unmarked
from tutor.classroom.models import Answer, AssignedProblem, Member, StoredSet
from tutor.classroom.rows import (
    answer_values,
    sets_query,
    standings,
    stored_set,
)
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.recorded import stands_alone
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.sets.views import (
    AnswerForLearner,
    AttemptState,
    ForLearner,
    PlaceForLearner,
    answer_for_learner,
    for_learner,
    place_for_learner,
    told_time,
)
from tutor.problems.problem import AnyProblem
from tutor.problems.question import Engine
from tutor.problems.solution import Line, worked_solution
from tutor.store.database import Store
from tutor.store.tables import class_answer, class_draft, handed, practice_set, whereabouts

MOST_ANSWERS = 100  # kept for one problem, counted or not
LONGEST_KEPT = 2000  # characters of one answer or step
_STILL_THERE = timedelta(seconds=30)


@dataclass(frozen=True)
class Reply:
    """What is said to an answer, and the problem as it stands after it."""

    answer: AnswerForLearner
    problem: ForLearner


class ClassWork:
    """One member's work on one set.

    Every method may raise StoreError, and ClassError for what is not allowed now: all of it before the set opens.
    """

    def __init__(self, store: Store, engine: Engine, practice_set: StoredSet, member: Member) -> None:
        self._store, self._engine, self._set_id, self._member = store, engine, practice_set.id, member

    def begin(self, moment: datetime | None = None) -> list[PlaceForLearner]:
        """The learner's list of problems; handed out at the first call."""
        with self._store.reading() as connection:
            practice_set = self._set(connection)
            states = self._attempt_states(connection, moment)
        _check_begun(practice_set, moment or datetime.now(UTC))
        if len(states) < len(practice_set.declaration.places):
            hand_out(self._store, self._engine, practice_set, [self._member])
            with self._store.reading() as connection:
                states = self._attempt_states(connection, moment)
        return [place_for_learner(state) for state in states]

    def view(self, place: int, moment: datetime | None = None) -> ForLearner:
        """The problem at a place as the learner sees it."""
        with self._store.reading() as connection:
            return self._view(connection, self._attempt_state(connection, place, moment))

    def arrive(self, place: int, moment: datetime | None = None) -> None:
        """Note that the learner is at a place: for the desk, and for the time that an answer takes."""
        moment = moment or datetime.now(UTC)
        last_seen = and_(whereabouts.c.practice_set_id == self._set_id, whereabouts.c.member_id == self._member.id)
        with self._store.reading() as connection:
            last = connection.execute(select(whereabouts.c.place, whereabouts.c.at).where(last_seen)).first()
            self._attempt_state(connection, place, moment)
        if last is not None and last.place == place and moment - last.at < _STILL_THERE:
            return

        def work(connection: Connection) -> None:
            self._attempt_state(connection, place, moment)  # who was erased meanwhile leaves no trace
            values = {"place": place, "at": moment}
            if not connection.execute(update(whereabouts).where(last_seen).values(values)).rowcount:
                row = {"practice_set_id": self._set_id, "member_id": self._member.id, **values}
                connection.execute(insert(whereabouts).values(row))
            unseen = and_(self._place_condition(place), handed.c.shown_at.is_(None))
            connection.execute(update(handed).where(unseen).values(shown_at=moment))

        self._store.write(work)

    def last_place(self) -> int:
        """The place where the learner was last, 1 before the first."""
        query = select(whereabouts.c.place).where(
            whereabouts.c.practice_set_id == self._set_id, whereabouts.c.member_id == self._member.id
        )
        with self._store.reading() as connection:
            return connection.scalar(query) or 1

    def answer(
        self,
        place: int,
        entry: str,
        steps: Mapping[str, str] | None = None,
        *,
        key: str,
        moment: datetime | None = None,
    ) -> Reply:
        """Mark and keep an answer; once this returns, it is on the disk. The same key again changes nothing.

        Raises ClassError when no more answers are kept, StepError for an unknown step.
        """
        moment = moment or datetime.now(UTC)
        entry = entry[:LONGEST_KEPT]
        steps = {name: text[:LONGEST_KEPT] for name, text in (steps or {}).items() if text.strip()}
        with self._store.reading() as connection:
            before = self._attempt_state(connection, place, moment)
        marking = mark_assigned(self._engine, before.handed, entry, steps)

        def work(connection: Connection) -> Reply:
            state = self._attempt_state(connection, place, moment)
            answer_kept = next((answer for answer in state.answers if answer.key == key), None)
            if answer_kept is None:
                if len(state.answers) >= MOST_ANSWERS:
                    raise ClassError("No more answers to this problem are kept. Go on with another one.")
                current = marking
                if state.handed != before.handed:  # corrected meanwhile
                    current = mark_assigned(self._engine, state.handed, entry, steps)
                new = unmarked(state) if state.why_not else judged(self._engine, state, current)
                row = {
                    "key": key,
                    "at": moment,
                    "entry": entry,
                    "steps": steps,
                    "seconds": self._seconds(connection, place, moment),
                }
                self._add(connection, state, {**new, **row})
                state = self._attempt_state(connection, place, moment)
                answer_kept = state.answers[-1]
                connection.execute(delete(class_draft).where(class_draft.c.handed_id == state.handed.id))
            return Reply(answer_for_learner(answer_kept, hidden=state.hidden), self._view(connection, state))

        return self._store.write(work)

    def keep_draft(self, place: int, field: str, text: str) -> None:
        """Keep text that was typed and not sent, in a field of a problem; an empty text drops it."""
        text = text[:LONGEST_KEPT]

        def work(connection: Connection) -> None:
            state = self._attempt_state(connection, place)
            draft = and_(class_draft.c.handed_id == state.handed.id, class_draft.c.field == field)
            values = {"text": text, "at": datetime.now(UTC)}
            if field != state.handed.ask and field not in state.handed.expected:
                raise ClassError("This problem has no such field.")
            connection.execute(delete(class_draft).where(draft))
            if text:
                connection.execute(insert(class_draft).values(handed_id=state.handed.id, field=field, **values))

        with self._store.reading() as connection:
            unchanged = self._drafts(connection, self._attempt_state(connection, place).handed).get(field, "") == text
        if not unchanged:
            self._store.write(work)

    def see_hint(self, place: int, moment: datetime | None = None) -> ForLearner:
        """Show one hint more. Raises ClassError if the set allows none or all are seen."""

        def work(connection: Connection) -> ForLearner:
            state = self._attempt_state(connection, place, moment)
            if not self._view(connection, state).hints_left:
                raise ClassError("There is no further hint for this problem.")
            values = {"hints_seen": state.hints_seen + 1}
            if state.help == "nothing":
                values |= {"help": "hints"}  # type: ignore[dict-item]
            connection.execute(update(handed).where(self._place_condition(place)).values(**values))
            return self._view(connection, self._attempt_state(connection, place, moment))

        return self._store.write(work)

    def solution(self, place: int, moment: datetime | None = None) -> list[Line]:
        """The worked solution, once the set allows it; from then on answers are not counted any more.

        Raises ClassError if it may not be seen.
        """

        def work(connection: Connection) -> AssignedProblem:
            state = self._attempt_state(connection, place, moment)
            if not state.solution_may_be_seen:
                raise ClassError("The worked solution of this problem is not shown yet.")
            if state.help != "solution":
                connection.execute(update(handed).where(self._place_condition(place)).values(help="solution"))
            return state.handed

        return solution_lines(self._engine, self._store.write(work))

    def problem(self, place: int) -> AnyProblem:
        """The problem itself, for the parts of a page; it holds the answer, which must not leave the server."""
        with self._store.reading() as connection:
            return problem_of(self._engine, self._attempt_state(connection, place).handed)

    def _place_condition(self, place: int) -> Any:
        of_member = and_(handed.c.practice_set_id == self._set_id, handed.c.member_id == self._member.id)
        return and_(of_member, handed.c.place == place)

    def _set(self, connection: Connection) -> StoredSet:
        row = connection.execute(sets_query().where(practice_set.c.id == self._set_id)).mappings().first()
        if row is None:
            raise ClassError("This practice set is not there any more. Ask your instructor.")
        return stored_set(row)

    def _attempt_state(self, connection: Connection, place: int, moment: datetime | None = None) -> AttemptState:
        states = self._attempt_states(connection, moment, place)
        if not states:
            raise ClassError(f"You have no problem {place} in this set. Open the set again from its code.")
        _check_begun(states[0].practice_set, states[0].moment)
        return states[0]

    def _attempt_states(
        self, connection: Connection, moment: datetime | None, place: int | None = None
    ) -> list[AttemptState]:
        of_member = and_(handed.c.practice_set_id == self._set_id, handed.c.member_id == self._member.id)
        wanted = of_member if place is None else and_(of_member, handed.c.place == place)
        return standings(connection, wanted, moment or datetime.now(UTC))

    def _drafts(self, connection: Connection, assigned: AssignedProblem) -> dict[str, str]:
        query = select(class_draft.c.field, class_draft.c.text).where(class_draft.c.handed_id == assigned.id)
        return {row.field: row.text for row in connection.execute(query)}

    def _view(self, connection: Connection, state: AttemptState) -> ForLearner:
        return for_learner(state, problem_of(self._engine, state.handed), self._drafts(connection, state.handed))

    def _seconds(self, connection: Connection, place: int, moment: datetime) -> float | None:
        shown = connection.scalar(select(handed.c.shown_at).where(self._place_condition(place)))
        return max(0.0, (moment - shown).total_seconds()) if shown else None

    def _add(self, connection: Connection, state: AttemptState, values: Mapping[str, Any]) -> None:
        new = Answer(id=0, handed=state.handed.id, source="screen", help=state.help, **values)
        connection.execute(insert(class_answer).values(**answer_values(new)))


def _check_begun(practice_set: StoredSet, moment: datetime) -> None:
    rules = practice_set.declaration
    if practice_set.state(moment) == "not yet" and rules.opens is not None:
        raise ClassError(f"This set opens on {told_time(rules.opens, rules.zone)}. Come back then.")


def solution_lines(engine: Engine, assigned: AssignedProblem) -> list[Line]:
    """The worked solution of a handed problem; only its right answer where that does not follow from its relations."""
    problem = problem_of(engine, assigned)
    if not stands_alone(assigned, problem):
        return worked_solution(problem)
    why = "The exercise has changed since this problem was handed out; this is the answer that was kept."
    return [Line(assigned.ask, "kept", why, "", "", "", "", assigned.answer, "", assigned.answer, "")]
