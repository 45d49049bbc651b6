"""Opens the store, brings its schema up to date, and runs reads and writes on it.

SQLite runs in WAL mode with synchronous=FULL. A killed server loses no acknowledged answer in either FULL or NORMAL,
because a committed page is already with the operating system; only FULL also waits for the disk, so that a power cut
loses none. The people served here live with power cuts, and the wait is a few milliseconds at each answer.
"""

import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TypeVar

from platformdirs import user_data_path
from sqlalchemy import Connection, Engine, create_engine, event, insert, inspect, select, update
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from tutor.errors import FaultyRequestError
from tutor.store import failures
from tutor.store.failures import ELSEWHERE
from tutor.store.tables import SCHEMA, metadata, schema_version

PATIENCE = "10"
"""Seconds that a write waits for another one; an SQLite URL may say otherwise (?timeout=30)."""

# What begins a transaction. A read sees one moment throughout; a write is alone from its first statement on, so that
# what it reads still holds when it commits.
_READ = {"sqlite": ["BEGIN"], "postgresql": ["SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"]}
_WRITE = {
    "sqlite": ["BEGIN IMMEDIATE"],
    "postgresql": [f"SET LOCAL lock_timeout = '{PATIENCE}s'", "SELECT pg_advisory_xact_lock(6029114)"],
}

Result = TypeVar("Result")


class StoreError(FaultyRequestError):
    """The store cannot be used; the message is a sentence that says why and how to mend it."""


class Store:
    """The tables of all learners. Threads may share one: each read or write has its own pooled connection."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writer = engine.execution_options(begin=_WRITE[engine.dialect.name])

    @classmethod
    def open(cls, where: str | None = None) -> "Store":
        """Open the store at a path or a SQLAlchemy URL (default: the user's data folder) and bring it up to date.

        Raises StoreError if it cannot be reached or written, is no store, or was made by a newer version.
        """
        store = cls(_engine(_address(where)))
        try:
            store.write(store._bring_up_to_date)
        except BaseException:
            store.close()
            raise
        return store

    def close(self) -> None:
        """Let go of all connections."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection on which all reads see the same moment; raises StoreError if the store fails."""
        with self._failing_in_words(), self._engine.begin() as connection:
            yield connection

    def write(self, work: Callable[[Connection], Result]) -> Result:
        """Run `work` in one transaction, alone; what it returns is on the disk. Raises StoreError if the store fails.

        If a database server is lost during the commit, the write may be there in spite of the error: whatever must not
        be there twice carries a key of its own, by which a second call finds it.
        """
        with self._failing_in_words(), self._writer.begin() as connection:
            return work(connection)

    def clear_leftovers(self) -> None:
        """Remove deleted text from SQLite's write-ahead log too (a busy log is removed when the store closes)."""
        if self._engine.dialect.name == "sqlite":
            outside_transactions = self._engine.execution_options(begin=[])
            with self._failing_in_words(), outside_transactions.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")

    def _bring_up_to_date(self, connection: Connection) -> None:
        tables = inspect(connection).get_table_names()
        if not tables:
            metadata.create_all(connection)
            schema_version.create(connection)
            connection.execute(insert(schema_version).values(version_num=SCHEMA))
        elif schema_version.name not in tables:
            raise StoreError(f"{self.name} holds another program's tables. Check its name, or {ELSEWHERE}.")
        elif connection.scalar(select(schema_version.c.version_num)) != SCHEMA:
            self._migrate(connection)
        else:
            _prove_writable(connection)

    def _migrate(self, connection: Connection) -> None:
        from tutor.store.migrations import UnknownRevisionError, migrate  # noqa: PLC0415 (slow to import, rarely needed)

        try:
            migrate(connection)
        except UnknownRevisionError as error:
            raise StoreError(
                f"{self.name} was made by a newer version of Cold Morning. "
                f"Update with 'pip install --upgrade coldmorning', or {ELSEWHERE}."
            ) from error

    @property
    def place(self) -> str:
        """Where the store is, without a password."""
        url = self._engine.url
        if url.get_backend_name() == "sqlite":
            return str(url.database)
        return url.set(drivername="postgresql", query={}).render_as_string(hide_password=True)

    @property
    def name(self) -> str:
        """The store's name at the beginning of a sentence."""
        return f"The store {self.place}"

    @contextmanager
    def _failing_in_words(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise StoreError(f"{self.name} {failures.told(error, self._engine.dialect.name)}") from error
        except PoolTimeout as error:
            raise StoreError(f"{self.name} {failures.told_busy()}") from error


def _prove_writable(connection: Connection) -> None:
    """Tell a store that cannot be written at its opening, not at the first answer."""
    connection.execute(update(schema_version).values(version_num=SCHEMA))


def _address(where: str | None) -> URL:
    if where is not None and "://" in where:
        try:
            url = make_url(where)
        except (ArgumentError, ValueError) as error:
            raise StoreError(
                "The store's address cannot be read. Give a file's path, or a URL such as 'postgresql://HOST/DATABASE'."
            ) from error
    else:
        path = Path(where).expanduser() if where is not None else default_path()
        url = URL.create("sqlite", database=str(path))
    match url.get_backend_name():
        case "sqlite":
            return _file_address(url)
        case "postgresql":
            return _server_address(url)
    raise StoreError(f"A store cannot be kept in '{url.drivername}'. Give a file's path or a postgresql URL.")


def default_path() -> Path:
    """Where the store is unless told otherwise."""
    return user_data_path("coldmorning", appauthor=False) / "coldmorning.sqlite3"


def _file_address(url: URL) -> URL:
    if not url.database or url.database == ":memory:" or url.query.get("mode") == "memory":
        raise StoreError("A store in memory keeps nothing. Give the path of a file.")
    if not url.database.startswith("file:"):
        folder = Path(url.database).parent
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            Path(url.database).touch(mode=0o600)  # its owner's alone: names, answers and secrets of classes are in it
        except OSError as error:
            raise StoreError(
                f"The store's folder {folder} cannot be made ({error.strerror}). "
                f"Change the permissions above it, or {ELSEWHERE}."
            ) from error
    return url if "timeout" in url.query else url.update_query_dict({"timeout": PATIENCE})


def _server_address(url: URL) -> URL:
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    return url if "connect_timeout" in url.query else url.update_query_dict({"connect_timeout": PATIENCE})


def _engine(url: URL) -> Engine:
    on_sqlite = url.get_backend_name() == "sqlite"
    try:
        engine = create_engine(url, json_serializer=partial(json.dumps, allow_nan=False), pool_pre_ping=not on_sqlite)
    except NoSuchModuleError as error:
        raise StoreError(f"No driver is called '{url.drivername}'. Give a file's path or a postgresql URL.") from error
    except ImportError as error:
        raise StoreError(
            f"The driver '{url.drivername}' is not installed. Install the usual one with 'pip install psycopg[binary]'."
        ) from error
    if on_sqlite:
        event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(driver: sqlite3.Connection, _record: object) -> None:
    """Leave transactions to `_begin`, wait for the disk at each commit, overwrite what is deleted.

    Foreign keys stay off because a migration that remakes a table would delete the rows that refer to it.
    """
    driver.isolation_level = None
    _turn_on_wal(driver)
    for pragma in ("synchronous=FULL", "secure_delete=ON", "foreign_keys=OFF"):
        driver.execute(f"PRAGMA {pragma}")


def _turn_on_wal(driver: sqlite3.Connection) -> None:
    """Keep trying for as long as a write would: SQLite does not wait where two programs change the mode at once."""
    milliseconds = driver.execute("PRAGMA busy_timeout").fetchone()[0]
    deadline = time.monotonic() + milliseconds / 1000
    while True:
        try:
            driver.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.01)
        else:
            return


def _begin(connection: Connection) -> None:
    for statement in connection.get_execution_options().get("begin", _READ[connection.dialect.name]):
        connection.exec_driver_sql(statement)
