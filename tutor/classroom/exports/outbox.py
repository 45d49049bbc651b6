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
    """One row; `made` is the id that a statement was made with: one that holds again is sent under another."""

    id: str
    made: str
    sent: bool


class Outbox:
    """The statements of all sets; every method may raise StoreError."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def put(self, told: Sequence[Told]) -> int:
        """Keep the statements that are new; one that replaces another takes that back. Gives how many are new.

        Of a member who has been erased meanwhile, and of their answers, none is kept.
        """

        def work(connection: Connection) -> int:
            there = _still_there(connection, told)
            rows = _by_subject(connection, {one.member for one in there})
            return sum(_put(connection, one, rows[one.subject]) for one in there)

        return self._store.write(work)

    def waiting(self, most: int) -> list[Told]:
        """The first statements that are neither sent nor refused, in order."""
        found: list[Told] = []
        for kept, owner, answer in self._unsent():
            if len(found) < most and kept["refused"] is None:
                found.append(Told(kept["subject"], kept["statement"], owner, answer))
        return found

    def sent(self, ids: Sequence[str]) -> None:
        """Note that the record store has these."""
        now = datetime.now(UTC)
        self._store.write(
            lambda connection: connection.execute(update(outbox).where(outbox.c.key.in_(ids)).values(sent_at=now))
        )

    def refuse(self, id_: str, reason: str) -> None:
        """Note that the record store will not have one; it is kept, and not sent again."""
        self._note(id_, reason)

    def refused(self) -> list[tuple[str, str]]:
        """The ids that were refused, and why."""
        kept = (kept for kept, _, _ in self._unsent())
        return [(one["statement"]["id"], one["refused"]) for one in kept if one["refused"] is not None]

    def try_refused_again(self) -> None:
        """Let those that were refused be sent once more."""
        for id_, _ in self.refused():
            self._note(id_, None)

    def _note(self, id_: str, reason: str | None) -> None:
        def work(connection: Connection) -> None:
            kept = connection.scalars(select(outbox.c.statement).where(outbox.c.key == id_)).one()
            values = {"statement": {**kept, "refused": reason}}
            connection.execute(update(outbox).where(outbox.c.key == id_).values(values))

        self._store.write(work)

    def _unsent(self) -> list[tuple[dict[str, Any], int, int | None]]:
        columns = (outbox.c.statement, outbox.c.member_id, outbox.c.class_answer_id)
        query = select(*columns).where(outbox.c.sent_at.is_(None)).order_by(outbox.c.id)
        with self._store.reading() as connection:
            return [(kept, owner, answer) for kept, owner, answer in connection.execute(query)]


def _still_there(connection: Connection, told: Sequence[Told]) -> list[Told]:
    members = set(connection.scalars(select(member.c.id)))
    answers = set(connection.scalars(select(class_answer.c.id)))
    return [one for one in told if one.member in members and (one.answer is None or one.answer in answers)]


def _by_subject(connection: Connection, members: set[int]) -> dict[str, list[_Row]]:
    """What is kept about some members by subject, the oldest first."""
    query = select(outbox.c.key, outbox.c.statement, outbox.c.sent_at).where(outbox.c.member_id.in_(members))
    rows: dict[str, list[_Row]] = defaultdict(list)
    for key, kept, sent_at in connection.execute(query.order_by(outbox.c.id)):
        rows[kept["subject"]].append(_Row(key, kept["made"], sent_at is not None))
    return rows


def _put(connection: Connection, told: Told, earlier: list[_Row]) -> bool:
    if earlier and earlier[-1].made == told.id:
        return False
    taken = any(row.id == told.id for row in earlier)
    id_ = stable_id(told.id, len(earlier)) if taken else told.id
    for row in _replaced(connection, earlier):
        void = voiding(told, row.id)
        _insert(connection, void, void.id)
    _insert(connection, told, id_)
    earlier.append(_Row(id_, told.id, sent=False))
    return True


def _replaced(connection: Connection, earlier: list[_Row]) -> Iterator[_Row]:
    """The statement that has to be taken back; one that was not sent yet is only dropped."""
    if earlier and earlier[-1].sent:
        yield earlier[-1]
    elif earlier:
        connection.execute(delete(outbox).where(outbox.c.key == earlier.pop().id))


def _insert(connection: Connection, told: Told, id_: str) -> None:
    kept = {"subject": told.subject, "made": told.id, "refused": None, "statement": {**told.statement, "id": id_}}
    row = {"member_id": told.member, "class_answer_id": told.answer, "key": id_, "made_at": datetime.now(UTC)}
    connection.execute(insert(outbox).values(statement=kept, **row))
