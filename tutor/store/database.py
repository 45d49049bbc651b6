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

from tutor.base.errors import FaultyRequestError
from tutor.store import failures
from tutor.store.failures import ELSEWHERE, Failure
from tutor.store.file import FileError, StoreFile, address, path_of
from tutor.store.tables import SCHEMA, learner, metadata, schema_version, school_class

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
    """The store cannot be used; the message is a sentence that says why and how to mend it.

    `page` is what a page says of it, which names no place; "" where the usual words fit.
    """

    def __init__(self, message: str, page: str = "") -> None:
        super().__init__(message)
        self.page = page


class Store:
    """The tables of all learners. Threads may share one: each read or write has its own pooled connection."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writer = engine.execution_options(begin=_WRITE[engine.dialect.name])
        self._file = StoreFile(path_of(engine.url)) if engine.dialect.name == "sqlite" else None

    @classmethod
    def open(cls, where: str | None = None) -> "Store":
        """Open the store at a path or a SQLAlchemy URL (default: the user's data folder) and bring it up to date.

        Raises StoreError if it cannot be reached or written, is no store, or was made by a newer version.
        """
        store = cls(_engine(_address(where)))
        try:
            store.write(store._bring_up_to_date)
            if store._file is not None:
                store._file.remember()
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
        with self._in_its_place(), self._engine.begin() as connection:
            yield connection

    def write(self, work: Callable[[Connection], Result]) -> Result:
        """Run `work` in one transaction, alone; what it returns is on the disk, in the store's own file.

        Raises StoreError if the store fails, or if its file was removed, replaced or cut short since it was opened.
        If a database server is lost during the commit, the write may be there in spite of the error: whatever must not
        be there twice carries a key of its own, by which a second call finds it.
        """
        with self._in_its_place(), self._writer.begin() as connection:
            return work(connection)

    def is_empty(self) -> bool:
        """Whether there is neither a learner nor a class. Raises StoreError if the store fails."""
        with self.reading() as connection:
            return not any(connection.execute(select(table).limit(1)).first() for table in (learner, school_class))

    def prove_writable(self) -> None:
        """Write what is there already. Raises StoreError if an answer could not be kept now."""
        self.write(_prove_writable)

    def clear_leftovers(self) -> None:
        """Remove deleted text from SQLite's write-ahead log too (a busy log is removed when the store closes)."""
        if self._engine.dialect.name == "sqlite":
            outside_transactions = self._engine.execution_options(begin=[])
            with self._in_its_place(), outside_transactions.connect() as connection:
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
        elif missing := metadata.tables.keys() - set(tables):
            raise self._error(failures.lacks_table(min(missing)))
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
        if self._file is not None:
            return str(self._file.path)
        return self._engine.url.set(drivername="postgresql", query={}).render_as_string(hide_password=True)

    @property
    def name(self) -> str:
        """The store's name at the beginning of a sentence."""
        return f"The store {self.place}"

    @contextmanager
    def _in_its_place(self) -> Iterator[None]:
        """Turn what goes wrong with the database into words, and look before and after whether its file is there."""
        try:
            self._look_for_file()
            yield
            self._look_for_file()
        except DBAPIError as error:
            path = self._file.path if self._file else None
            raise self._error(failures.of_database(error, self._engine.dialect.name, path)) from error
        except PoolTimeout as error:
            raise self._error(failures.TOO_BUSY) from error

    def _look_for_file(self) -> None:
        if self._file is not None and not self._file.is_in_place():
            raise self._error(failures.LOST)

    def _error(self, failure: Failure) -> StoreError:
        return StoreError(f"{self.name} {failure.sentence}", failure.page)


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
    path = path_of(url)
    if "mode" not in url.query:
        try:
            StoreFile(path).make_file()
        except FileError as error:
            raise StoreError(str(error)) from error
    return address(url if "timeout" in url.query else url.update_query_dict({"timeout": PATIENCE}), path)


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
