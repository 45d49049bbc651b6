"""Erasing a person from every table."""

from collections.abc import Sequence

from sqlalchemy import Connection, Table, delete, select

from tutor.store import tables

_BY_ANSWER = (tables.verdict_change, tables.outbox)
_BY_HANDED = (tables.correction, tables.class_draft, tables.class_answer)
_BY_MEMBER = (tables.outbox, tables.whereabouts, tables.exam_look, tables.binding, tables.handed)


def erase_learner(connection: Connection, token_hash: str) -> None:
    """Delete all that is kept about the learner of a browser; what a class keeps of its members stays with the class.

    For a name can be taken by another than its owner, and a class's work is its instructor's to erase.
    """
    owner = connection.scalar(select(tables.learner.c.id).where(tables.learner.c.token_hash == token_hash))
    if owner is None:
        return
    _erase_browser(connection, owner)


def erase_member(connection: Connection, member: int) -> None:
    """Delete all that is kept about a member of a class, and the practice done in browsers that are theirs alone.

    A browser in which somebody else is a member too keeps its practice.
    """
    bound = select(tables.binding.c.learner_id).where(tables.binding.c.member_id == member)
    browsers = connection.scalars(bound).all()
    handed = select(tables.handed.c.id).where(tables.handed.c.member_id == member)
    answers = select(tables.class_answer.c.id).where(tables.class_answer.c.handed_id.in_(handed))
    for table in _BY_ANSWER:
        connection.execute(delete(table).where(table.c.class_answer_id.in_(answers)))
    for table in _BY_HANDED:
        connection.execute(delete(table).where(table.c.handed_id.in_(handed)))
    for table in _BY_MEMBER:
        connection.execute(delete(table).where(table.c.member_id == member))
    connection.execute(delete(tables.member).where(tables.member.c.id == member))
    for browser in browsers:
        others = select(tables.binding.c.member_id).where(tables.binding.c.learner_id == browser)
        if connection.scalar(others) is None:
            _erase_browser(connection, browser)


def _erase_browser(connection: Connection, learner: int) -> None:
    for table in _owned():
        connection.execute(delete(table).where(table.c.learner_id == learner))
    connection.execute(delete(tables.learner).where(tables.learner.c.id == learner))


def _owned() -> Sequence[Table]:
    return [table for table in tables.metadata.sorted_tables if "learner_id" in table.c]
