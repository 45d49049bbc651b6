"""Statements on their way to a record store: kept in the store until the record store has said that it has them.

What was sent stays, so that a statement that replaces it can take it back; all of a member's goes when the member is
erased.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from tutor.classroom.exports.tables import stable_id
from tutor.classroom.exports.xapi import Told, voiding
from tutor.store.database import Store
from tutor.store.tables import class_answer, member, outbox


@dataclass(frozen=True)
class _Row:
    """One row; `made_with` is the id that a statement was made with: one that holds again is sent under another."""

    id: str
    made_with: str
    sent: bool


class Outbox:
    """The statements of all sets; every method may raise StoreError."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def keep_statements(self, statements: Sequence[Told]) -> int:
        """Keep the statements that are new; one that replaces another takes that back. Gives how many are new.

        Of a member who has been erased meanwhile, and of their answers, none is kept.
        """

        def work(connection: Connection) -> int:
            present = _of_present(connection, statements)
            rows = _by_subject(connection, {statement.member for statement in present})
            return sum(_keep_statement(connection, statement, rows[statement.subject]) for statement in present)

        return self._store.write(work)

    def waiting(self) -> list[Told]:
        """The statements that are neither sent nor refused, in order."""
        return [
            Told(row["subject"], row["statement"], owner, answer)
            for row, owner, answer in self._unsent()
            if row["refused"] is None
        ]

    def sent(self, ids: Sequence[str]) -> None:
        """Note that the record store has these."""
        moment = datetime.now(UTC)
        self._store.write(
            lambda connection: connection.execute(update(outbox).where(outbox.c.key.in_(ids)).values(sent_at=moment))
        )

    def refuse(self, id_: str, reason: str) -> None:
        """Note that the record store will not have one; it is kept, and not sent again."""
        self._note(id_, reason)

    def refused(self) -> list[tuple[str, str]]:
        """The ids that were refused, and why."""
        return [(row["statement"]["id"], row["refused"]) for row, _, _ in self._unsent() if row["refused"] is not None]

    def try_refused_again(self) -> None:
        """Let those that were refused be sent once more."""
        for id_, _ in self.refused():
            self._note(id_, None)

    def _note(self, id_: str, reason: str | None) -> None:
        def work(connection: Connection) -> None:
            statement = connection.scalars(select(outbox.c.statement).where(outbox.c.key == id_)).one()
            values = {"statement": {**statement, "refused": reason}}
            connection.execute(update(outbox).where(outbox.c.key == id_).values(values))

        self._store.write(work)

    def _unsent(self) -> list[tuple[dict[str, Any], int, int | None]]:
        columns = (outbox.c.statement, outbox.c.member_id, outbox.c.class_answer_id)
        query = select(*columns).where(outbox.c.sent_at.is_(None)).order_by(outbox.c.id)
        with self._store.reading() as connection:
            return [(row, owner, answer) for row, owner, answer in connection.execute(query)]


def _of_present(connection: Connection, statements: Sequence[Told]) -> list[Told]:
    members = set(connection.scalars(select(member.c.id)))
    answers: set[int | None] = set(connection.scalars(select(class_answer.c.id)))
    return [
        statement
        for statement in statements
        if statement.member in members and (statement.answer is None or statement.answer in answers)
    ]


def _by_subject(connection: Connection, members: set[int]) -> dict[str, list[_Row]]:
    """What is kept about some members by subject, the oldest first."""
    query = select(outbox.c.key, outbox.c.statement, outbox.c.sent_at).where(outbox.c.member_id.in_(members))
    rows: dict[str, list[_Row]] = defaultdict(list)
    for key, row, sent_at in connection.execute(query.order_by(outbox.c.id)):
        rows[row["subject"]].append(_Row(key, row["made"], sent_at is not None))
    return rows


def _keep_statement(connection: Connection, statement: Told, earlier: list[_Row]) -> bool:
    if earlier and earlier[-1].made_with == statement.id:
        return False
    is_used = any(row.id == statement.id for row in earlier)
    id_ = stable_id(statement.id, len(earlier)) if is_used else statement.id
    for row in _replaced(connection, earlier):
        void = voiding(statement, row.id)
        _insert(connection, void, void.id)
    _insert(connection, statement, id_)
    earlier.append(_Row(id_, statement.id, sent=False))
    return True


def _replaced(connection: Connection, earlier: list[_Row]) -> Iterator[_Row]:
    """The statement that has to be taken back; one that was not sent yet is only dropped."""
    if earlier and earlier[-1].sent:
        yield earlier[-1]
    elif earlier:
        connection.execute(delete(outbox).where(outbox.c.key == earlier.pop().id))


def _insert(connection: Connection, statement: Told, id_: str) -> None:
    stored_statement = {
        "subject": statement.subject,
        "made": statement.id,
        "refused": None,
        "statement": {**statement.statement, "id": id_},
    }
    row = {"member_id": statement.member, "class_answer_id": statement.answer, "key": id_, "made_at": datetime.now(UTC)}
    connection.execute(insert(outbox).values(statement=stored_statement, **row))
