"""One learner's record: attempts, which are only ever added, and what brings the learner back to where they were."""

import hashlib
import logging
import math
import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from typing import Any, Literal
from uuid import uuid4

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import ColumnElement, Connection, Table, and_, delete, insert, select, update

from tutor.entries.verdicts import RecordedVerdict
from tutor.store import tables
from tutor.store.database import Store
from tutor.store.erasing import erase_learner

Help = Literal["", "hint", "solution"]


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """One submit, or one look at a hint or at the worked solution (then `entry` is None and `verdict` empty).

    `key` names the submit: adding it twice counts once. `help` is the furthest help seen so far in this problem,
    `mistakes` the candidates that explain the entry with their probability, `named` the one that was claimed,
    `seconds` the time since the problem was shown.
    """

    exercise: str
    version: str
    number: int
    ask: str
    rulebook: str
    givens: Mapping[str, str] = field(default_factory=dict)
    entry: str | None = None
    steps: Mapping[str, str] = field(default_factory=dict)
    verdict: RecordedVerdict = ""
    named: str | None = None
    mistakes: Mapping[str, float] = field(default_factory=dict)
    help: Help = ""
    hints_seen: int = 0
    seconds: float | None = None
    key: str = field(default_factory=lambda: str(uuid4()))
    at: datetime = field(default_factory=lambda: datetime.now(UTC))

    def __post_init__(self) -> None:
        if self.seconds is not None and not (math.isfinite(self.seconds) and self.seconds >= 0):
            raise ValueError(f"seconds is {self.seconds}; give a time of zero or more, or None")
        if self.hints_seen < 0:
            raise ValueError(f"hints_seen is {self.hints_seen}; give a number of zero or more")

    @property
    def problem(self) -> tuple[object, ...]:
        """What makes two attempts belong to the same problem."""
        given = tuple(sorted(self.givens.items()))
        return (self.exercise, self.version, self.number, self.ask, self.rulebook, given)


# What is kept may come from another version or from a restored file: a row that is no attempt is left out.
_ATTEMPT, _PLACE = TypeAdapter(Attempt), TypeAdapter(dict[str, str])
_log = logging.getLogger(__name__)
_COLUMNS = [tables.attempt.c[part.name] for part in fields(Attempt)]


def new_token() -> str:
    """Make what a learner's browser holds: 256 random bits, too many to guess, so that a plain hash hides them."""
    return secrets.token_urlsafe(32)


def hash_of(token: str) -> str:
    """What the store keeps of a token."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def learner_row(connection: Connection, token_hash: str) -> int:
    """The id of a learner's row, which is made if there is none."""
    me = select(tables.learner.c.id).where(tables.learner.c.token_hash == token_hash)
    if connection.scalar(me) is None:
        connection.execute(insert(tables.learner).values(token_hash=token_hash, made_at=datetime.now(UTC)))
    owner: int = connection.scalars(me).one()
    return owner


class Record:
    """One learner's view of the store; every method may raise tutor.store.database.StoreError.

    A visit leaves no trace: the learner's row is made at the first write.
    """

    def __init__(self, store: Store, token: str) -> None:
        self._store = store
        self._token_hash = hash_of(token)

    def add(self, attempt: Attempt) -> Attempt:
        """Add an attempt and give back what is kept: it is on the disk, or the first one with the same key is."""

        def work(connection: Connection) -> Attempt:
            owner = learner_row(connection, self._token_hash)
            first = and_(tables.attempt.c.learner_id == owner, tables.attempt.c.key == attempt.key)
            if connection.scalar(select(tables.attempt.c.id).where(first)) is None:
                values = {column.name: getattr(attempt, column.name) for column in _COLUMNS}
                connection.execute(insert(tables.attempt).values(learner_id=owner, **values))
            return Attempt(**connection.execute(select(*_COLUMNS).where(first)).mappings().one())

        return self._store.write(work)

    def attempts(self, exercise: str | None = None, number: int | None = None, ask: str | None = None) -> list[Attempt]:
        """Give the attempts, oldest first; only those of an exercise, a number or an ask where one is named."""
        with self._store.reading() as connection:
            return self._attempts(connection, exercise=exercise, number=number, ask=ask)

    def keep_place(self, where: Mapping[str, str]) -> None:
        """Keep where the learner is: the page and its query parameters."""
        if self.place() != where:
            self._keep_row(tables.place_kept, {}, {"where": dict(where), "at": datetime.now(UTC)})

    def place(self) -> dict[str, str] | None:
        """Give where the learner was last, or None before the first time."""
        rows = self._own_rows(tables.place_kept)
        with suppress(ValidationError):
            return _PLACE.validate_python(rows[0]["where"]) if rows else None
        return None

    def keep_draft(self, problem: str, field: str, text: str) -> None:
        """Keep text that was typed and not yet sent, by any name for its problem and field; an empty text drops it."""
        if text and self.draft(problem).get(field) != text:
            self._keep_row(tables.draft, {"problem": problem, "field": field}, {"text": text, "at": datetime.now(UTC)})
        elif not text:
            self._drop_rows(tables.draft, problem=problem, field=field)

    def draft(self, problem: str) -> dict[str, str]:
        """Give a problem's unsent text by field."""
        return {row["field"]: row["text"] for row in self._own_rows(tables.draft, problem=problem)}

    def setting(self, name: str, default: Any = None) -> Any:
        """Give a setting's value, or the default if it was never kept."""
        rows = self._own_rows(tables.setting, name=name)
        return rows[0]["value"] if rows else default

    def keep_setting(self, name: str, value: Any) -> None:
        """Keep a setting; the value is anything that JSON can hold."""
        self._keep_row(tables.setting, {"name": name}, {"value": value})

    def in_a_class(self) -> bool:
        """Whether the learner has taken a name in any class."""
        bound = select(tables.binding.c.member_id).join_from(tables.binding, tables.learner).where(self._is_me)
        with self._store.reading() as connection:
            return connection.scalar(bound.limit(1)) is not None

    def export(self) -> dict[str, Any]:
        """Give all that is kept about the learner, ready for JSON: since, attempts, place, settings, drafts."""
        with self._store.reading() as connection:
            since = connection.scalar(select(tables.learner.c.made_at).where(self._is_me))
            place = self._rows(connection, tables.place_kept)
            return {
                "since": since.isoformat() if since else None,
                "attempts": [_plain(vars(attempt)) for attempt in self._attempts(connection)],
                "place": _plain(place[0]) if place else None,
                "settings": {row["name"]: row["value"] for row in self._rows(connection, tables.setting)},
                "drafts": [_plain(row) for row in self._rows(connection, tables.draft)],
            }

    def erase(self) -> None:
        """Delete all that is kept about the learner, also as a member of classes."""
        self._store.write(lambda connection: erase_learner(connection, self._token_hash))
        self._store.clear_leftovers()

    @property
    def _is_me(self) -> ColumnElement[bool]:
        return tables.learner.c.token_hash == self._token_hash

    def _is_own(self, table: Table, **criteria: Any) -> ColumnElement[bool]:
        owner = select(tables.learner.c.id).where(self._is_me).scalar_subquery()
        wanted = (table.c[name] == value for name, value in criteria.items() if value is not None)
        return and_(table.c.learner_id == owner, *wanted)

    def _attempts(self, connection: Connection, **criteria: Any) -> list[Attempt]:
        query = select(*_COLUMNS).where(self._is_own(tables.attempt, **criteria)).order_by(tables.attempt.c.id)
        attempts = []
        for row in connection.execute(query).mappings():
            try:
                attempts.append(_ATTEMPT.validate_python(dict(row)))
            except ValidationError as error:
                _log.warning("A row of the attempts is left out: %s", error)
        return attempts

    def _rows(self, connection: Connection, table: Table, **criteria: Any) -> list[dict[str, Any]]:
        columns = [column for column in table.c if column.name != "learner_id"]
        query = select(*columns).where(self._is_own(table, **criteria)).order_by(*table.primary_key)
        return [dict(row) for row in connection.execute(query).mappings()]

    def _own_rows(self, table: Table, **criteria: Any) -> list[dict[str, Any]]:
        with self._store.reading() as connection:
            return self._rows(connection, table, **criteria)

    def _keep_row(self, table: Table, name: dict[str, str], values: dict[str, Any]) -> None:
        """Write a row under its name, over the one that is there: the last write wins."""

        def work(connection: Connection) -> None:
            owner = learner_row(connection, self._token_hash)
            changed = connection.execute(update(table).where(self._is_own(table, **name)).values(**values)).rowcount
            if not changed:
                connection.execute(insert(table).values(learner_id=owner, **name, **values))

        self._store.write(work)

    def _drop_rows(self, table: Table, **criteria: Any) -> None:
        if self._own_rows(table, **criteria):
            self._store.write(
                lambda connection: connection.execute(delete(table).where(self._is_own(table, **criteria)))
            )


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value.isoformat() if isinstance(value, datetime) else value for name, value in row.items()}
