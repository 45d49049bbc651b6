"""Statements on their way to a record store: kept in a file until the store has said that it has them.

What was sent leaves only its id and its subject behind, so that a statement that replaces it can take it back.
"""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

from tutor.classroom.exports.tables import stable_id
from tutor.classroom.exports.xapi import Told, voiding
from tutor.errors import FaultyRequestError

_TABLE = """
CREATE TABLE IF NOT EXISTS statement (
    place INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    made TEXT NOT NULL,
    subject TEXT NOT NULL,
    actor TEXT NOT NULL,
    body TEXT,
    refused TEXT
)"""


class OutboxError(FaultyRequestError):
    """The outbox cannot be used; the message says why."""


class Outbox:
    """A file of statements.

    `body` is there until a statement is sent, `refused` is why a record store will not have it.  `made` is the id that
    a statement was made with: one that was taken back and now holds again is sent under another.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._connected() as connection:
            connection.execute(_TABLE)

    def put(self, told: Sequence[Told]) -> int:
        """Keep the statements that are new; one that replaces another takes that back. Gives how many are new."""
        with self._connected() as connection:
            return sum(self._put(connection, one) for one in told)

    def waiting(self, most: int) -> list[Told]:
        """The first statements not yet sent, in order."""
        query = "SELECT subject, body FROM statement WHERE body IS NOT NULL AND refused IS NULL ORDER BY place LIMIT ?"
        with self._connected() as connection:
            return [Told(subject, json.loads(body)) for subject, body in connection.execute(query, (most,))]

    def sent(self, ids: Sequence[str]) -> None:
        """Note that the record store has these."""
        with self._connected() as connection:
            connection.executemany("UPDATE statement SET body = NULL WHERE id = ?", [(one,) for one in ids])

    def refuse(self, id_: str, reason: str) -> None:
        """Note that the record store will not have one; it is kept, and not sent again."""
        with self._connected() as connection:
            connection.execute("UPDATE statement SET refused = ? WHERE id = ?", (reason[:500], id_))

    def refused(self) -> list[tuple[str, str]]:
        """The ids that were refused, and why."""
        with self._connected() as connection:
            query = "SELECT id, refused FROM statement WHERE refused IS NOT NULL ORDER BY place"
            return [(id_, reason) for id_, reason in connection.execute(query)]

    def try_refused_again(self) -> None:
        """Let those that were refused be sent once more."""
        with self._connected() as connection:
            connection.execute("UPDATE statement SET refused = NULL")

    def forget(self, actor_name: str) -> int:
        """Delete all that is kept about a learner, by the name of their account; gives how many statements it was."""
        with self._connected() as connection:
            return connection.execute("DELETE FROM statement WHERE actor = ?", (actor_name,)).rowcount

    def _put(self, connection: sqlite3.Connection, told: Told) -> bool:
        about = "SELECT id, made, body FROM statement WHERE subject = ? ORDER BY place DESC"
        earlier = connection.execute(about, (told.subject,)).fetchall()
        if earlier and earlier[0][1] == told.id:
            return False
        if earlier and earlier[0][2] is not None:
            connection.execute("DELETE FROM statement WHERE id = ?", (earlier[0][0],))
        elif earlier:
            self._put(connection, voiding(told, earlier[0][0]))
        taken = any(id_ == told.id for id_, _, _ in earlier)
        id_ = stable_id(told.id, len(earlier)) if taken else told.id
        body = json.dumps({**told.statement, "id": id_}, ensure_ascii=False)
        row = (id_, told.id, told.subject, told.statement["actor"]["account"]["name"], body)
        connection.execute("INSERT INTO statement (id, made, subject, actor, body) VALUES (?, ?, ?, ?, ?)", row)
        return True

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        """A connection whose changes are on the disk when it ends; deleted text is overwritten."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with closing(sqlite3.connect(self.path, timeout=10)) as connection:
                connection.execute("PRAGMA secure_delete=ON")
                connection.execute("PRAGMA synchronous=FULL")
                with connection:
                    yield connection
        except (sqlite3.Error, OSError) as error:
            raise OutboxError(f"The outbox {self.path} cannot be used: {error}. Name another file for it.") from error
