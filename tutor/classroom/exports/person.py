"""Everything that is kept about one member of a class, ready for JSON: what a person may ask for, what erasing ends.

The rows come from the same tables that `tutor.store.erasing` empties; each test of the one is a test of the other.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, select

from tutor.classroom.errors import ClassError
from tutor.classroom.rows import standings
from tutor.store import tables
from tutor.store.database import Store

Json = dict[str, Any]

# What would give away other learners' answers or let somebody in: a problem's right answer is the set's, not theirs.
_KEY = ("number", "expected", "answer", "tolerance", "kept")
_LEFT_OUT: Mapping[str, Sequence[str]] = {
    "handed": _KEY,
    "learner": ("token_hash",),
    "correction": ("before", "after"),
    "member": ("secret",),
    "renewal": ("earlier_hash",),
}


_MARKS = ("verdict", "named", "mistakes", "feedback", "step_verdicts", "counted", "statement", "before", "after")
_OF_ONE_ANSWER = {"class_answer": "id", "outbox": "class_answer_id", "verdict_change": "class_answer_id"}


def person(store: Store, member_id: int, moment: datetime | None = None) -> Json:
    """Give all that is kept about a member, by table; moments are written as ISO 8601 in UTC.

    Right answers are left out, for they are the set's, and so is how answers were marked while the set keeps that from
    its learners.  Raises ClassError if there is no such member.
    """
    with store.reading() as connection:
        of_member = tables.member.c.id == member_id
        members = _rows(connection, tables.member, of_member)
        if not members:
            raise ClassError("There is no such member. 'coldmorning export person' lists the members of a class.")
        rows = {name: _rows(connection, table, where) for name, (table, where) in _rows_about(member_id).items()}
        hidden = _answers_kept_back(connection, member_id, moment or datetime.now(UTC))
        for name, column in _OF_ONE_ANSWER.items():
            for row in (row for row in rows[name] if row[column] in hidden):
                row.update(dict.fromkeys(row.keys() & set(_MARKS)))
        school = _name(connection, tables.school_class, members[0]["school_class_id"])
        return {"member": members[0], "class": school, **rows}


def tables_about_a_member() -> list[str]:
    """The names of all tables that hold something about a member."""
    return ["member", *_rows_about(0)]


def _rows_about(member_id: int) -> Mapping[str, tuple[Table, ColumnElement[bool]]]:
    """The tables and which of their rows are about a member, found by how each leads to one."""
    handed = select(tables.handed.c.id).where(tables.handed.c.member_id == member_id)
    answers = select(tables.class_answer.c.id).where(tables.class_answer.c.handed_id.in_(handed))
    browsers = _browsers_of_theirs_alone(member_id)
    by_table: dict[str, tuple[Table, ColumnElement[bool]]] = {}
    for table in tables.metadata.sorted_tables:
        if "member_id" in table.c:
            by_table[table.name] = (table, table.c.member_id == member_id)
        elif "handed_id" in table.c:
            by_table[table.name] = (table, table.c.handed_id.in_(handed))
        elif "class_answer_id" in table.c:
            by_table[table.name] = (table, table.c.class_answer_id.in_(answers))
        elif "learner_id" in table.c:
            by_table[table.name] = (table, table.c.learner_id.in_(browsers))
        elif table is tables.learner:
            by_table[table.name] = (table, table.c.id.in_(browsers))
    return by_table


def _browsers_of_theirs_alone(member_id: int) -> Any:
    """The browsers that are this member's and nobody else's; what was practised in others may be somebody else's."""
    binding = tables.binding
    shared_with = select(binding.c.learner_id).where(binding.c.member_id != member_id)
    return select(binding.c.learner_id).where(
        binding.c.member_id == member_id, binding.c.learner_id.not_in(shared_with)
    )


def _answers_kept_back(connection: Connection, member_id: int, moment: datetime) -> set[int]:
    """The answers whose marks their learner may not see yet."""
    states = standings(connection, tables.handed.c.member_id == member_id, moment)
    return {answer.id for state in states if state.hidden for answer in state.answers}


def _name(connection: Connection, table: Table, id_: int) -> str:
    return str(connection.scalar(select(table.c.name).where(table.c.id == id_)))


def _rows(connection: Connection, table: Table, where: ColumnElement[bool]) -> list[Json]:
    columns = [column for column in table.c if column.name not in _LEFT_OUT.get(table.name, ())]
    rows = connection.execute(select(*columns).where(where).order_by(*table.primary_key)).mappings()
    return [{name: _plain(value) for name, value in row.items()} for row in rows]


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, datetime) else value
