"""The store's tables as they are now; the migrations lead to them from every earlier shape."""

import re
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

SCHEMA = "0006"
"""The revision that these tables have: the last one in tutor/store/migrations/versions."""


class UtcTime(TypeDecorator[datetime]):
    """A moment: aware going in (else ValueError), aware and in UTC coming out, on every database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Bring the moment to UTC; SQLite keeps it without its zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"the time {value} has no time zone; use datetime.now(UTC)")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the moment back in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if dialect.name == "sqlite" else value.astimezone(UTC)


UNSTORABLE = re.compile("[\0\ud800-\udfff]")


class TypedText(TypeDecorator[str]):
    """Text that a person typed; a character that no database text can hold becomes U+FFFD."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Replace NUL and lone surrogates."""
        if value is None:
            return None
        return UNSTORABLE.sub("\ufffd", value)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _columns(kind: Any, *names: str) -> list[Column[Any]]:
    """Columns of one kind that are never empty."""
    return [Column(name, kind, nullable=False) for name in names]


def _owner(*, primary_key: bool = False) -> Column[int]:
    return Column("learner_id", Integer, ForeignKey("learner.id"), primary_key=primary_key, nullable=False)


learner = Table(
    "learner",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("token_hash", String(64), nullable=False),
    Column("made_at", UtcTime, nullable=False),
    UniqueConstraint("token_hash"),
)

token_secret = Table(
    "token_secret",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("value", String(64), nullable=False),
)
"""One row: what the tokens of learners' browsers are signed with."""

renewal = Table(
    "renewal",
    metadata,
    _owner(primary_key=True),
    Column("earlier_hash", String(64), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("fetched", Boolean, nullable=False),
    Index(None, "earlier_hash"),
)
"""The token whose place a learner's own has taken last, and whether the browser has fetched its own."""

attempt = Table(
    "attempt",
    metadata,
    Column("id", Integer, primary_key=True),
    _owner(),
    Column("key", String, nullable=False),
    Column("at", UtcTime, nullable=False),
    *_columns(String, "exercise", "version"),
    Column("number", BigInteger, nullable=False),
    *_columns(String, "ask", "rulebook"),
    Column("givens", JSON, nullable=False),
    Column("entry", TypedText),
    Column("steps", JSON, nullable=False),
    Column("verdict", String, nullable=False),
    Column("named", String),
    Column("mistakes", JSON, nullable=False),
    Column("help", String, nullable=False),
    Column("hints_seen", Integer, nullable=False),
    Column("seconds", Float),
    UniqueConstraint("learner_id", "key"),
    Index(None, "learner_id", "exercise", "number"),
)

place_kept = Table(
    "place_kept",
    metadata,
    _owner(primary_key=True),
    Column("where", JSON, nullable=False),
    Column("at", UtcTime, nullable=False),
)

setting = Table(
    "setting",
    metadata,
    _owner(primary_key=True),
    Column("name", String, primary_key=True),
    Column("value", JSON, nullable=False),
)

draft = Table(
    "draft",
    metadata,
    _owner(primary_key=True),
    Column("problem", String, primary_key=True),
    Column("field", String, primary_key=True),
    Column("text", TypedText, nullable=False),
    Column("at", UtcTime, nullable=False),
)


def _reference(table: str, *, primary_key: bool = False, nullable: bool = False) -> Column[int]:
    return Column(f"{table}_id", Integer, ForeignKey(f"{table}.id"), primary_key=primary_key, nullable=nullable)


school_class = Table(
    "school_class",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", TypedText, nullable=False),
    Column("secret", String(64), nullable=False),
    Column("made_at", UtcTime, nullable=False),
    UniqueConstraint("name"),
)

practice_set = Table(
    "practice_set",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("school_class"),
    Column("name", String, nullable=False),
    Column("declaration", JSON, nullable=False),
    Column("secret", String(64), nullable=False),
    Column("code", String(12), nullable=False),
    Column("closed_at", UtcTime),
    Column("made_at", UtcTime, nullable=False),
    UniqueConstraint("code"),
    UniqueConstraint("school_class_id", "name"),
)

member = Table(
    "member",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("school_class"),
    *_columns(TypedText, "name", "number"),
    Column("secret", String(32), nullable=False),
    Column("made_at", UtcTime, nullable=False),
    Column("claimed_at", UtcTime),
    Index(None, "school_class_id"),
    sqlite_autoincrement=True,  # the id of somebody who was erased is nobody else's again
)

binding = Table(
    "binding",
    metadata,
    _owner(primary_key=True),
    _reference("school_class", primary_key=True),
    _reference("member"),
    Column("made_at", UtcTime, nullable=False),
    Index(None, "member_id"),
)
"""Which member of a class a learner's browser is."""

class_browser = Table(
    "class_browser",
    metadata,
    _owner(primary_key=True),
    _reference("school_class", primary_key=True),
)
"""In which classes a name was ever taken in a browser: exams are closed to it, even if the name was left again."""

exam_switch = Table(
    "exam_switch",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("practice_set", nullable=True),
    Column("on_at", UtcTime, nullable=False),
)
"""At most one row, while the switch is on: for a set, or for every exam."""

exam_look = Table(
    "exam_look",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("practice_set"),
    _reference("member", nullable=True),
    Column("exercise", String, nullable=False),
    Column("looks", Integer, nullable=False),
    *_columns(UtcTime, "first_at", "last_at"),
    Index(None, "practice_set_id"),
    Index(None, "member_id"),
)
"""Who has asked for an exercise that an open exam closes, counted; all browsers without a name are one."""

whereabouts = Table(
    "whereabouts",
    metadata,
    _reference("practice_set", primary_key=True),
    _reference("member", primary_key=True),
    Column("place", Integer, nullable=False),
    Column("at", UtcTime, nullable=False),
)

handed = Table(
    "handed",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("practice_set"),
    _reference("member"),
    Column("place", Integer, nullable=False),
    Column("code", String(12), nullable=False),
    *_columns(String, "exercise", "version"),
    Column("number", BigInteger, nullable=False),
    *_columns(String, "ask", "rulebook"),
    *_columns(JSON, "givens", "expected"),
    Column("answer", TypedText, nullable=False),
    Column("tolerance", Float, nullable=False),
    Column("kept", JSON, nullable=False),
    Column("excused", Boolean, nullable=False),
    Column("shown_at", UtcTime),
    Column("help", String, nullable=False),
    Column("hints_seen", Integer, nullable=False),
    UniqueConstraint("code"),
    UniqueConstraint("practice_set_id", "member_id", "place"),
    Index(None, "member_id"),
)

frozen_declaration = Table(
    "frozen_declaration",
    metadata,
    Column("hash", String(64), primary_key=True),
    Column("text", Text, nullable=False),
)
"""What problems that are handed out rest on, once for all that rest on the same; their rows name it by its hash."""

class_answer = Table(
    "class_answer",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("handed"),
    Column("key", String, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("source", String, nullable=False),
    Column("entry", TypedText, nullable=False),
    *_columns(JSON, "steps", "step_verdicts"),
    Column("verdict", String, nullable=False),
    Column("named", String),
    Column("mistakes", JSON, nullable=False),
    Column("feedback", TypedText, nullable=False),
    Column("counted", Boolean, nullable=False),
    Column("help", String, nullable=False),
    Column("seconds", Float),
    Column("comment", TypedText, nullable=False),
    UniqueConstraint("handed_id", "key"),
)

class_draft = Table(
    "class_draft",
    metadata,
    _reference("handed", primary_key=True),
    Column("field", String, primary_key=True),
    Column("text", TypedText, nullable=False),
    Column("at", UtcTime, nullable=False),
)

correction = Table(
    "correction",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("handed"),
    Column("at", UtcTime, nullable=False),
    Column("reason", TypedText, nullable=False),
    *_columns(JSON, "before", "after"),
    Index(None, "handed_id"),
)
"""How the expected values of a handed problem were corrected."""

verdict_change = Table(
    "verdict_change",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("class_answer"),
    Column("at", UtcTime, nullable=False),
    Column("reason", TypedText, nullable=False),
    *_columns(JSON, "before", "after"),
    Index(None, "class_answer_id"),
)

outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True),
    _reference("member"),
    _reference("class_answer", nullable=True),
    Column("key", String(64), nullable=False),
    Column("statement", JSON, nullable=False),
    Column("made_at", UtcTime, nullable=False),
    Column("sent_at", UtcTime),
    UniqueConstraint("key"),
    Index(None, "member_id"),
    Index(None, "class_answer_id"),
)
"""Statements for a record store, kept until they are sent; `key` is the statement's own id."""

desk = Table(
    "desk",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("salt", String(64)),
    Column("passphrase_hash", String(128)),
    Column("set_at", UtcTime),
)
"""One row: the instructor's passphrase, hashed."""

tries = Table(
    "tries",
    metadata,
    Column("who", String(64), primary_key=True),
    Column("wrong", Float, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("entered_at", UtcTime),
)
"""Wrong tries at the desk and at names, of a browser, an address (both hashed) or everybody, until `at`."""

desk_session = Table(
    "desk_session",
    metadata,
    Column("token_hash", String(64), primary_key=True),
    Column("kind", String, nullable=False),
    *_columns(UtcTime, "made_at", "ends_at"),
)

schema_version = Table(
    "coldmorning_schema",
    MetaData(),
    Column("version_num", String(32), nullable=False),
    PrimaryKeyConstraint("version_num", name="coldmorning_schema_pkc"),
)
"""Alembic's own table, under our name: it tells our store from another program's database."""
