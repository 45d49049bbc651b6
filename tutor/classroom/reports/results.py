"""What the desk sees and does: how everybody stands, who is where, comments, excuses, a problem by its code."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Answer, AssignedProblem, Member, Outcome, StoredSet
from tutor.classroom.roster.codes import problem_code
from tutor.classroom.rows import answers_query, assigned_problems, class_answer_of
from tutor.store.database import Store
from tutor.store.tables import class_answer, handed, member, practice_set, whereabouts

LONGEST_COMMENT = 2000


@dataclass(frozen=True, kw_only=True)
class Whereabouts:
    """Where a member is: the place last opened and when; both None before the first. `last_answer` may be None."""

    member: Member
    place: int | None
    last_at: datetime | None
    last_answer: datetime | None

    @property
    def begun(self) -> bool:
        """Whether the member has opened a problem or answered one, be it on paper."""
        return self.place is not None or self.last_answer is not None


class Results:
    """One set as its instructor sees it; every method may raise StoreError."""

    def __init__(self, store: Store, practice_set: StoredSet) -> None:
        self._store, self._set = store, practice_set

    def outcomes(self) -> list[Outcome]:
        """How every member stands with every place that was handed out, by member and place."""
        with self._store.reading() as connection:
            return outcomes_of(connection, self._set.id)

    def who_is_where(self) -> list[Whereabouts]:
        """The members of the class, and where each was last."""
        places = select(whereabouts).where(whereabouts.c.practice_set_id == self._set.id)
        query = select(member.c.id, member.c.name, member.c.number).where(
            member.c.school_class_id == self._set.class_id
        )
        answered = (
            select(handed.c.member_id, class_answer.c.at)
            .join_from(class_answer, handed)
            .where(handed.c.practice_set_id == self._set.id)
            .order_by(class_answer.c.id)
        )
        with self._store.reading() as connection:
            places_by_member = {row["member_id"]: row for row in connection.execute(places).mappings()}
            last = {row.member_id: row.at for row in connection.execute(answered)}
            members = [Member(**row) for row in connection.execute(query.order_by(member.c.id)).mappings()]
        return [
            Whereabouts(
                member=person,
                place=places_by_member[person.id]["place"] if person.id in places_by_member else None,
                last_at=places_by_member[person.id]["at"] if person.id in places_by_member else None,
                last_answer=last.get(person.id),
            )
            for person in members
        ]

    def comment(self, answer_id: int, text: str) -> None:
        """Say something to an answer, which its learner sees; an empty text takes it back."""
        self._on_answer(answer_id, comment=text.strip()[:LONGEST_COMMENT])

    def withdraw(self, answer_id: int, withdrawn: bool = True) -> None:
        """Count an answer no more, as one that was typed in wrongly from paper, or count it again."""
        self._on_answer(answer_id, counted=not withdrawn)

    def excuse(self, handed_id: int, excused: bool = True) -> None:
        """Take a problem out of a learner's set, or put it back; its answers stay."""
        this_row = (handed.c.id == handed_id) & (handed.c.practice_set_id == self._set.id)

        def work(connection: Connection) -> None:
            if not connection.execute(update(handed).where(this_row).values(excused=excused)).rowcount:
                raise ClassError("This problem is not in the set any more.")

        self._store.write(work)

    def _on_answer(self, answer_id: int, **values: object) -> None:
        handed_ids = select(handed.c.id).where(handed.c.practice_set_id == self._set.id)
        this_row = (class_answer.c.id == answer_id) & class_answer.c.handed_id.in_(handed_ids)

        def work(connection: Connection) -> None:
            if not connection.execute(update(class_answer).where(this_row).values(**values)).rowcount:
                raise ClassError("This answer is not in the set any more.")

        self._store.write(work)


def outcomes_of(connection: Connection, set_id: int) -> list[Outcome]:
    """The same on a connection."""
    handed_ids = select(handed.c.id).where(handed.c.practice_set_id == set_id)
    query = answers_query().where(class_answer.c.handed_id.in_(handed_ids))
    answers: dict[int, list[Answer]] = {}
    for row in connection.execute(query).mappings():
        answers.setdefault(row["handed_id"], []).append(class_answer_of(row))
    problems = assigned_problems(connection, handed.c.practice_set_id == set_id)
    return [Outcome(handed=assigned, answers=answers.get(assigned.id, [])) for assigned in problems]


def handed_by_code(store: Store, code: str) -> tuple[int, AssignedProblem]:
    """The set (its number in the store) and the problem that a printed code names.

    Raises ClassError if the code is mistyped or names none.
    """
    printed = problem_code(code)
    if printed is None:
        raise ClassError(f"'{code.strip()[:20]}' is no problem's code: a character is wrong or missing. Compare it.")
    with store.reading() as connection:
        problems = handed_by_codes(connection, [printed])
        if not problems:
            raise ClassError(f"No problem with the code {printed} was handed out. Compare it with the sheet.")
        row = select(practice_set.c.id).join_from(practice_set, handed).where(handed.c.code == printed)
        return connection.scalars(row).one(), problems[printed]


def handed_by_codes(connection: Connection, codes: Iterable[str]) -> dict[str, AssignedProblem]:
    """The handed problems of several printed codes; a code that names none is left out."""
    return {assigned.code: assigned for assigned in assigned_problems(connection, handed.c.code.in_(list(codes)))}
