"""Every earlier shape of the tables leads, step by step and with its rows, to the one that the program uses."""

import shutil
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import MetaData, create_engine, insert, inspect, select, text

from tutor.store import migrations
from tutor.store.database import Store, StoreError
from tutor.store.migrations import migrate, revisions
from tutor.store.tables import SCHEMA, binding, class_browser, learner, metadata, schema_version, tries

REVISIONS = revisions()


def shape(connection):
    """All that the database itself tells of each table."""
    seen = inspect(connection)
    return {
        name: {
            "columns": [(c["name"], str(c["type"]), c["nullable"], c["default"]) for c in seen.get_columns(name)],
            "key": seen.get_pk_constraint(name),
            "unique": seen.get_unique_constraints(name),
            "foreign": sorted(seen.get_foreign_keys(name), key=lambda key: key["name"]),
            "indexes": seen.get_indexes(name),
        }
        for name in seen.get_table_names()
    }


def rows(connection):
    tables = MetaData()
    tables.reflect(connection)
    return {
        name: [dict(row) for row in connection.execute(select(table)).mappings()]
        for name, table in tables.tables.items()
        if name != schema_version.name
    }


def test_the_program_names_the_last_revision():
    assert REVISIONS[-1] == SCHEMA
    assert [int(revision) for revision in REVISIONS] == list(range(1, len(REVISIONS) + 1))


def test_step_by_step_the_migrations_reach_the_tables_of_the_program(store_address):
    with create_engine(store_address).begin() as connection:
        for revision in REVISIONS:
            migrate(connection, revision)
            assert connection.scalar(select(schema_version.c.version_num)) == revision
        context = MigrationContext.configure(connection, opts={"version_table": schema_version.name})
        assert compare_metadata(context, metadata) == []


def test_a_migrated_store_and_a_fresh_one_have_the_same_shape(store_address):
    engine = create_engine(store_address)
    with closing(Store.open(store_address)) as fresh, fresh.reading() as connection:
        made = shape(connection)
    with engine.begin() as connection:
        every = MetaData()
        every.reflect(connection)
        every.drop_all(connection)
        migrate(connection)
        assert shape(connection) == made
    engine.dispose()


@pytest.mark.parametrize("revision", REVISIONS)
def test_opening_an_earlier_store_keeps_its_rows(store_address, revision, add_a_row_everywhere):
    """What a later revision has of an earlier one's columns holds what it held, and new rows are numbered on."""
    with create_engine(store_address).begin() as connection:
        migrate(connection, revision)
        add_a_row_everywhere(connection)
        before = rows(connection)
    with closing(Store.open(store_address)) as store:
        with store.reading() as connection:
            after = rows(connection)
        number = store.write(
            lambda connection: connection.scalar(
                insert(learner).values(token_hash="next", made_at=datetime.now(UTC)).returning(learner.c.id)
            )
        )
    assert {len(kept) for kept in before.values()} == {1}
    for name in before.keys() & after.keys():
        (was,), (now,) = before[name], after[name]
        assert {key: now[key] for key in was.keys() & now.keys()} == {key: was[key] for key in was.keys() & now.keys()}
    assert number == 2


def test_a_browser_that_had_a_name_before_there_were_exams_is_of_its_class(store_address, add_a_row_everywhere):
    with create_engine(store_address).begin() as connection:
        migrate(connection, "0002")
        add_a_row_everywhere(connection)
        before = connection.execute(select(binding.c.learner_id, binding.c.school_class_id)).all()
        migrate(connection)
        assert connection.execute(select(class_browser)).all() == before != []


def test_browsers_that_have_been_at_the_desk_stay_known(store_address):
    with create_engine(store_address).begin() as connection:
        migrate(connection, "0002")
        connection.execute(text("INSERT INTO desk_browser VALUES ('a hash', 3, NULL)"))
    with closing(Store.open(store_address)) as store, store.reading() as connection:
        (known,) = connection.execute(select(tries)).all()
    assert (known.who, known.wrong) == ("a hash", 0.0)
    assert abs(datetime.now(UTC) - known.entered_at) < timedelta(minutes=5)


def test_a_step_that_fails_halfway_leaves_the_store_as_it_was(store_address):
    """A table is in the way of the last one that the first step makes."""
    with create_engine(store_address).begin() as connection:
        schema_version.create(connection)
        connection.execute(text("CREATE TABLE draft (in_the_way TEXT)"))
        before = shape(connection)
    with pytest.raises(StoreError, match=r'"?draft"? already exists'):
        Store.open(store_address)
    with create_engine(store_address).begin() as connection:
        assert shape(connection) == before


def test_the_next_step_is_drafted_from_the_tables(tmp_path):
    """In a copy of the package, a new column gives a revision that adds it, and then the copy has nothing to add."""
    package = Path(migrations.__file__).parents[2]
    shutil.copytree(package / "store", tmp_path / "tutor" / "store")
    (tmp_path / "tutor" / "__init__.py").touch()
    tables = tmp_path / "tutor" / "store" / "tables.py"
    new_column = 'Column("value", JSON, nullable=False),\n    Column("note", String),'
    tables.write_text(tables.read_text().replace('Column("value", JSON, nullable=False),', new_column))

    def draft(words):
        command = [sys.executable, "-m", "tutor.store.migrations", words]
        subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
        return next((tables.parent / "migrations" / "versions").glob(f"v*_{words}.py")).read_text()

    assert "add_column(sa.Column('note', sa.String()" in draft("note")
    assert "add_column" not in draft("nothing")
