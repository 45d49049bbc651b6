"""What the tests of the store share."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import JSON, MetaData, insert

from tutor.store.tables import schema_version

ONE_OF = {
    str: "1",
    int: 1,
    float: 1.5,
    bool: True,
    bytes: b"\x00\xff",
    datetime: datetime(2026, 1, 1, 12, tzinfo=UTC),
    dict: {"b": "ż", "a": [1, None]},
}


def add_a_row_everywhere(connection):
    """One row in each table; the database numbers them, so that all refer to each other as number 1."""
    tables = MetaData()
    tables.reflect(connection)
    for table in tables.sorted_tables:
        if table.name != schema_version.name:
            numbered = {table.autoincrement_column}
            row = {
                c.name: ONE_OF[dict if isinstance(c.type, JSON) else c.type.python_type]
                for c in table.c
                if c not in numbered
            }
            connection.execute(insert(table).values(row))


@pytest.fixture(name="add_a_row_everywhere")
def _add_a_row_everywhere():
    return add_a_row_everywhere
