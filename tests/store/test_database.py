"""Opening a store: where it is, what it holds open, and the sentence for each thing that can be wrong with it."""

import sqlite3
import stat
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime
from threading import Timer

import pytest
from sqlalchemy import create_engine, insert, inspect, select, text, update
from sqlalchemy.exc import StatementError

from tutor.store.database import Store, StoreError
from tutor.store.tables import SCHEMA, learner, schema_version, setting


@pytest.fixture
def path(tmp_path):
    return tmp_path / "made" / "on demand" / "store.sqlite3"


def pragma(store, name):
    with store.reading() as connection:
        return connection.exec_driver_sql(f"PRAGMA {name}").scalar()


def test_the_folder_is_made_and_is_private(path):
    Store.open(str(path)).close()
    assert path.exists()
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_the_default_place_is_the_users_data_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setattr(sys, "platform", "linux")
    Store.open().close()
    assert (tmp_path / "coldmorning" / "coldmorning.sqlite3").exists()


def test_a_tilde_is_the_home_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("HOME", str(tmp_path))
    Store.open("~/store.sqlite3").close()
    assert (tmp_path / "store.sqlite3").exists()


def test_every_connection_is_durable_and_patient(path):
    """PRAGMA values as in sqlite.org/pragma.html: synchronous 2 is FULL, secure_delete 1 is on."""
    with closing(Store.open(str(path))) as store, store.reading(), ThreadPoolExecutor(3) as pool:
        for name, value in {"journal_mode": "wal", "synchronous": 2, "secure_delete": 1, "busy_timeout": 10000}.items():
            assert set(pool.map(pragma, [store] * 3, [name] * 3)) == {value}, name


def test_a_url_may_say_how_long_to_wait(path):
    with closing(Store.open(f"sqlite:///{path}?timeout=3")) as store:
        assert pragma(store, "busy_timeout") == 3000


def test_closing_leaves_one_file(path):
    Store.open(str(path)).close()
    assert list(path.parent.iterdir()) == [path]


def add_learner(connection):
    connection.execute(insert(learner).values(token_hash="hash", made_at=datetime.now(UTC)))


def test_a_reader_sees_one_moment_and_does_not_hold_up_a_writer(store_address):
    with closing(Store.open(store_address)) as store:
        with store.reading() as connection:
            assert connection.execute(learner.select()).all() == []
            store.write(add_learner)
            assert connection.execute(learner.select()).all() == []
        with store.reading() as connection:
            assert len(connection.execute(learner.select()).all()) == 1


def test_a_write_that_fails_leaves_nothing(store_address):
    def add_and_fail(connection):
        add_learner(connection)
        raise KeyError("the caller's own")

    with closing(Store.open(store_address)) as store:
        with pytest.raises(KeyError):
            store.write(add_and_fail)
        with store.reading() as connection:
            assert connection.execute(learner.select()).all() == []


def test_what_a_writer_has_read_still_holds_when_it_writes(store_address):
    """Eight threads with two pools count up together; any lost update would show in the sum."""

    def count_up(store):
        def work(connection):
            number = connection.scalar(select(setting.c.value))
            time.sleep(0.002)
            connection.execute(update(setting).values(value=number + 1))

        for _ in range(10):
            store.write(work)

    def start(connection):
        add_learner(connection)
        owner = connection.scalar(select(learner.c.id))
        connection.execute(insert(setting).values(learner_id=owner, name="count", value=0))

    with closing(Store.open(store_address)) as one, closing(Store.open(store_address)) as other:
        one.write(start)
        with ThreadPoolExecutor(8) as pool:
            list(pool.map(count_up, [one, other] * 4))
        with other.reading() as connection:
            assert connection.scalar(select(setting.c.value)) == 80


def test_many_processes_may_make_one_store_at_once(store_address):
    code = "import sys; from tutor.store.database import Store; Store.open(sys.argv[1]).close()"
    children = [
        subprocess.Popen([sys.executable, "-c", code, store_address], stderr=subprocess.PIPE, text=True)
        for _ in range(6)
    ]
    assert [child.communicate()[1] for child in children] == [""] * 6


def test_a_store_not_yet_in_wal_mode_waits_for_its_writer(path):
    """SQLite itself fails at once here: the change of mode does not wait (checked by the first statement)."""
    Store.open(str(path)).close()
    with closing(sqlite3.connect(path, isolation_level=None, check_same_thread=False)) as other:
        other.execute("PRAGMA journal_mode=DELETE")
        other.execute("BEGIN IMMEDIATE")
        other.execute("INSERT INTO setting VALUES (1, 'units', '3')")
        with closing(sqlite3.connect(path)) as impatient, pytest.raises(sqlite3.OperationalError, match="locked"):
            impatient.execute("PRAGMA journal_mode=WAL")
        commit = Timer(0.2, other.execute, ["COMMIT"])
        commit.start()
        with closing(Store.open(str(path))) as store:
            assert pragma(store, "journal_mode") == "wal"
        commit.join()


def test_opening_a_current_or_a_fresh_store_does_not_import_alembic(store_address):
    code = "import sys; from tutor.store.database import Store; Store.open(sys.argv[1]).close(); "
    code += "print('alembic' in sys.modules)"
    for _ in "fresh", "current":
        assert subprocess.check_output([sys.executable, "-c", code, store_address], text=True) == "False\n"


def refused(where):
    with pytest.raises(StoreError) as caught:
        Store.open(str(where))
    message = str(caught.value)
    assert message.endswith(".")
    assert "\n" not in message
    return message


def test_a_file_that_is_no_database(tmp_path):
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Sir or Madam, " * 100)
    assert "letter.txt is not a Cold Morning store. Check its name" in refused(letter)
    assert letter.read_text() == "Dear Sir or Madam, " * 100


def test_a_damaged_store(path):
    Store.open(str(path)).close()
    whole = path.read_bytes()
    path.write_bytes(whole[:100] + b"\x55" * (len(whole) - 100))
    assert "is damaged. Put a copy of it back" in refused(path)


def test_another_programs_database(store_address):
    with create_engine(store_address).begin() as other:
        other.execute(text("CREATE TABLE recipe (name TEXT)"))
    assert "holds another program's tables" in refused(store_address)
    with create_engine(store_address).begin() as other:
        assert inspect(other).get_table_names() == ["recipe"]


def test_a_store_made_by_a_newer_version(store_address):
    Store.open(store_address).close()
    with create_engine(store_address).begin() as newer:
        newer.execute(update(schema_version).values(version_num="9999"))
    assert "was made by a newer version of Cold Morning. Update with 'pip install --upgrade" in refused(store_address)
    with create_engine(store_address).begin() as newer:
        assert newer.scalars(select(schema_version.c.version_num)).all() == ["9999"]


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").touch()
    message = refused(tmp_path / "file" / "below" / "store.sqlite3")
    assert f"The store's folder {tmp_path / 'file' / 'below'} cannot be made (Not a directory)" in message


def test_a_folder_in_place_of_a_file(tmp_path):
    assert "cannot be opened. Change the permissions of its folder, or name another place" in refused(tmp_path)


def test_a_store_that_cannot_be_written(path):
    Store.open(str(path)).close()
    assert "cannot be written. Change its permissions" in refused(f"sqlite:///file:{path}?mode=ro&uri=true")


def test_a_store_that_another_program_holds(path):
    Store.open(str(path)).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert "is being written by another program" in refused(f"sqlite:///{path}?timeout=0.05")


def test_a_full_disk_is_told_at_the_write(path):
    """SQLite's own page limit (sqlite.org/pragma.html#pragma_max_page_count) fails as a full disk does."""

    def fill(connection):
        connection.exec_driver_sql("PRAGMA max_page_count=1")
        connection.execute(insert(setting).values(learner_id=1, name="notes", value="x" * 100_000))

    with closing(Store.open(str(path))) as store, pytest.raises(StoreError, match="has no room left on its disk"):
        store.write(fill)


@pytest.mark.parametrize("where", ["sqlite://", "sqlite:///:memory:", "sqlite:///file:x?mode=memory&uri=true"])
def test_memory_keeps_nothing(where):
    assert "A store in memory keeps nothing" in refused(where)


@pytest.mark.parametrize(
    ("where", "sentence"),
    [
        ("nonesuch://host/name", "A store cannot be kept in 'nonesuch'. Give a file's path or a postgresql URL."),
        ("postgresql+nonesuch://host/name", "No driver is called 'postgresql+nonesuch'"),
        ("postgresql://host:port/name", "The store's address cannot be read"),
        ("://", "The store's address cannot be read"),
    ],
)
def test_an_address_that_leads_nowhere(where, sentence):
    assert sentence in refused(where)


def test_a_missing_driver_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    sentence = "The driver 'postgresql+psycopg' is not installed. Install the usual one with 'pip install psycopg[bin"
    assert sentence in refused("postgresql://host/name")


def test_a_fresh_store_has_the_current_schema(store_address):
    Store.open(store_address).close()
    with create_engine(store_address).begin() as plain:
        assert plain.scalars(select(schema_version.c.version_num)).all() == [SCHEMA]


def test_a_time_without_a_zone_is_refused(store_address):
    def add(connection):
        connection.execute(insert(learner).values(token_hash="hash", made_at=datetime(2026, 1, 1)))

    with closing(Store.open(store_address)) as store, pytest.raises(StatementError, match="has no time zone"):
        store.write(add)
