"""Erasing a person from every table, along the tables' references to one another."""

from sqlalchemy import ColumnElement, Connection, Table, delete, select

from tutor.store.tables import binding, learner, member, metadata


def erase_learner(connection: Connection, token_hash: str) -> None:
    """Delete all that is kept about the learner of a browser; what a class keeps of its members stays with the class.

    For a name can be taken by another than its owner, and a class's work is its instructor's to erase.
    """
    _erase(connection, learner, learner.c.token_hash == token_hash)


def erase_member(connection: Connection, member_id: int) -> None:
    """Delete all that is kept about a member of a class, and the practice done in browsers that are theirs alone.

    A browser in which somebody else is a member too keeps its practice.
    """
    browsers = connection.scalars(select(binding.c.learner_id).where(binding.c.member_id == member_id)).all()
    _erase(connection, member, member.c.id == member_id)
    shared = select(binding.c.learner_id)
    _erase(connection, learner, learner.c.id.in_(browsers) & learner.c.id.not_in(shared))


def _erase(connection: Connection, table: Table, condition: ColumnElement[bool]) -> None:
    """Delete rows of a table, before them all that refers to them, directly or through other tables."""
    for referring in metadata.tables.values():
        for key in referring.foreign_keys:
            if key.column.table is table:
                _erase(connection, referring, key.parent.in_(select(key.column).where(condition)))
    connection.execute(delete(table).where(condition))
