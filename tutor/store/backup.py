"""One file that holds a whole store, the same for every database: a class can move from SQLite to PostgreSQL by it.

The file is a zip archive: for each table TABLE.jsonl, one row a line as a JSON object, and contents.json, which names
the revision of the tables and gives each table's number of rows and the SHA-256 of its lines.
"""

import json
import os
import zlib
from base64 import b64encode
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import IO, Any
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile

from pydantic import BaseModel
from sqlalchemy import Connection, DateTime, MetaData, Table, create_engine, func, select, text
from sqlalchemy.exc import StatementError

from tutor.base.errors import FaultyRequestError
from tutor.base.whole_file import whole_file
from tutor.store.database import Store
from tutor.store.row_checks import RowError, RowModels, add_rows, check_row, row_of
from tutor.store.tables import SCHEMA, UtcTime, metadata, schema_version

FORMAT = 1
_CONTENTS = "contents.json"
_ROWS_AT_ONCE = 500
LARGEST_CONTENTS = 1_000_000  # bytes
LARGEST = 2_000_000_000  # bytes of all rows: some four million answers
_LONGEST_DIRECTORY = 100_000  # bytes, for the names of the tables
LONGEST_ROW = 4_000_000  # bytes


_OF_DAMAGED_BYTES = (
    BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    RuntimeError,
    KeyError,
    ValueError,
    TypeError,
    OverflowError,
    StatementError,
)


class BackupError(FaultyRequestError):
    """A backup cannot be made or read; the message says why and what to do."""


class _Lines(BaseModel):
    rows: int
    sha256: str


class _Contents(BaseModel):
    """What contents.json says."""

    format: int
    schema_revision: str
    made_at: datetime
    tables: dict[str, _Lines]


def back_up(store: Store, path: Path, *, replace: bool = True) -> int:
    """Write all of the store, as it is at one moment, to a file, and give the number of rows.

    The file is there whole or not at all. Only its owner may read it.
    Raises BackupError if the store is empty, OutputError if the file cannot or must not be written, StoreError if the
    store cannot be read.
    """
    with (
        whole_file(path, replace=replace) as file,
        ZipFile(file, "w", ZIP_DEFLATED) as archive,
        store.reading() as connection,
    ):
        tables = {table.name: _write_rows(connection, table, archive) for table in _tables(connection)}
        rows = sum(lines.rows for lines in tables.values())
        if not rows:
            raise BackupError(f"{store.name} is empty: there is nothing to back up. Name the right one with --store.")
        contents = _Contents(format=FORMAT, schema_revision=SCHEMA, made_at=datetime.now(UTC), tables=tables)
        archive.writestr(_CONTENTS, contents.model_dump_json(indent=2))
        _check_size(archive, path)
    return rows


def restore(store: Store, path: Path, *, replace: bool = False, models: RowModels | None = None) -> int:
    """Put what a backup holds into an empty store, or in place of all that is there, and give the number of rows.

    A backup of an earlier version is brought up to date. Every row is proved, also by `models` where its table has the
    columns of today, before the store is touched; if anything fails the store stays as it was.
    Raises BackupError if the file is damaged, too large, from a newer version or no backup, or if the store holds work
    and `replace` is False; StoreError if the store fails.
    """
    from tutor.store.migrations import migrate  # noqa: PLC0415 - slow to import

    with _reading(path) as archive:
        contents = _checked(archive, path)
        shapes = _shapes(contents.schema_revision)
        if shapes.keys() != contents.tables.keys():
            raise _damaged(path)
        for shape in shapes.values():
            _check_rows(shape, archive, models or {})

        def work(connection: Connection) -> None:
            if not replace and any(connection.execute(select(table).limit(1)).first() for table in _tables(connection)):
                raise BackupError(
                    f"{store.name} holds work already. Name an empty one with --store, or let the backup take the "
                    "place of all that is there with --replace."
                )
            _remove_tables(connection)
            migrate(connection, contents.schema_revision)
            for table in _tables(connection):
                _read_rows(connection, table, shapes[table.name], archive)
            migrate(connection)

        store.write(work)
    store.clear_leftovers()
    return sum(lines.rows for lines in contents.tables.values())


def _tables(connection: Connection) -> list[Table]:
    """The tables that are there, whatever their revision; those referred to come before those that refer to them."""
    schema = MetaData()
    schema.reflect(connection)
    for table in schema.tables.values():
        for column in table.c:
            if isinstance(column.type, DateTime):
                column.type = UtcTime()
    return [table for table in schema.sorted_tables if table.name != schema_version.name]


def _remove_tables(connection: Connection) -> None:
    schema = MetaData()
    schema.reflect(connection)
    schema.drop_all(connection)


def _write_rows(connection: Connection, table: Table, archive: ZipFile) -> _Lines:
    digest, rows = sha256(), 0
    cursor = connection.execution_options(yield_per=_ROWS_AT_ONCE).execute(select(table).order_by(*table.primary_key))
    with archive.open(_member(table.name), "w", force_zip64=True) as member:
        for row in cursor.mappings():
            line = json.dumps({column.name: _plain(row[column.name]) for column in table.c}) + "\n"
            member.write(line.encode("ascii"))
            digest.update(line.encode("ascii"))
            rows += 1
    return _Lines(rows=rows, sha256=digest.hexdigest())


def _shapes(revision: str) -> dict[str, Table]:
    """The tables as they were at a revision, by name."""
    from tutor.store.migrations import migrate  # noqa: PLC0415 - slow to import

    scratch = create_engine("sqlite://")
    with closing(scratch.connect()) as connection:
        migrate(connection, revision)
        return {table.name: table for table in _tables(connection)}


def _check_rows(shape: Table, archive: ZipFile, models: RowModels) -> None:
    as_today = shape.name in metadata.tables and shape.c.keys() == metadata.tables[shape.name].c.keys()
    with archive.open(_member(shape.name)) as member:
        for number, line in enumerate(member, start=1):
            check_row(shape, number, line, models if as_today else {})


def _read_rows(connection: Connection, table: Table, shape: Table, archive: ZipFile) -> None:
    number = 1
    with archive.open(_member(table.name)) as member:
        for lines in batches(member):
            add_rows(connection, table, number, [row_of(shape, line) for line in lines])
            number += len(lines)
    if connection.dialect.name == "postgresql" and (numbered := table.autoincrement_column) is not None:
        _number_on(connection, table, numbered.name)


def batches(lines: Iterable[bytes]) -> Iterator[list[bytes]]:
    """Lines in parts that can be held at once, each shorter than the longest row or a row of its own."""
    part: list[bytes] = []
    size = 0
    for line in lines:
        if len(part) == _ROWS_AT_ONCE or (part and size + len(line) > LONGEST_ROW):
            yield part
            part, size = [], 0
        part.append(line)
        size += len(line)
    if part:
        yield part


def _number_on(connection: Connection, table: Table, column: str) -> None:
    """Let the database number new rows after those that came with their numbers."""
    highest = connection.scalar(select(func.max(table.c[column])))
    if highest is not None:
        setting = text("SELECT setval(pg_get_serial_sequence(:table, :column), :highest)")
        connection.execute(setting, {"table": table.name, "column": column, "highest": highest})


def _plain(value: Any) -> Any:
    match value:
        case datetime():
            return value.isoformat()
        case bytes():
            return b64encode(value).decode("ascii")
    return value


def _member(table: str) -> str:
    return f"{table}.jsonl"


def _checked(archive: ZipFile, path: Path) -> _Contents:
    """Read the contents and prove every table's lines against them."""
    from tutor.store.migrations import revisions  # noqa: PLC0415 - slow to import

    _check_size(archive, path)
    with archive.open(_CONTENTS) as member:
        contents = _Contents.model_validate_json(member.read(LARGEST_CONTENTS))
    if contents.format > FORMAT or contents.schema_revision not in revisions():
        raise BackupError(
            f"The backup {path} was made by a newer version of Cold Morning. "
            "Update with 'pip install --upgrade coldmorning' and try again."
        )
    for name, lines in contents.tables.items():
        digest, rows = sha256(), 0
        with archive.open(_member(name)) as member:
            while line := member.readline(LONGEST_ROW + 1):
                if len(line) > LONGEST_ROW:
                    raise _damaged(path)
                digest.update(line)
                rows += 1
        if (rows, digest.hexdigest()) != (lines.rows, lines.sha256):
            raise _damaged(path)
    return contents


def _check_size(archive: ZipFile, path: Path) -> None:
    size = sum(member.file_size for member in archive.infolist())
    if size > LARGEST:
        raise BackupError(
            f"The backup {path} holds {size / 1e9:.1f} GB, more than the {LARGEST / 1e9:.1f} GB that can be put back. "
            "Move a store of that size with the programs of its database."
        )


@contextmanager
def _reading(path: Path) -> Iterator[ZipFile]:
    """Open a backup; whatever may be wrong with its bytes is told in one sentence."""
    if path.exists() and not path.is_file():
        raise BackupError(
            f"{path} is a folder, a device, or a pipe. Name a file that 'coldmorning backup' has written."
        )
    try:
        with path.open("rb") as file:
            if not _has_short_directory(file):
                raise _damaged(path)
            with ZipFile(file) as archive:
                yield archive
    except RowError as error:
        raise BackupError(
            f"Row {error.row_number} of the table '{error.table}' in {path} is faulty: {error}. Nothing was changed. "
            "Restore another backup, or another copy of this one."
        ) from error
    except OSError as error:
        raise BackupError(f"The backup {path} cannot be read ({error.strerror}). Check its name.") from error
    except _OF_DAMAGED_BYTES as error:
        raise _damaged(path) from error


def _has_short_directory(file: IO[bytes]) -> bool:
    """Whether the archive's list of members is short enough to be read; all of it is held at once.

    The end of an archive is as in PKWARE's APPNOTE 6.3.9, sections 4.3.15 and 4.3.16. A backup has no comment after it,
    and needs no list for large archives before it.
    """
    file.seek(-min(42, file.seek(0, os.SEEK_END)), os.SEEK_END)
    end = file.read().rjust(42, b"\0")
    length = int.from_bytes(end[-10:-6], "little")
    return end[20:24] == b"PK\5\6" and end[:4] != b"PK\6\7" and length <= _LONGEST_DIRECTORY


def _damaged(path: Path) -> BackupError:
    return BackupError(f"{path} is no backup of a Cold Morning store, or is damaged. Take another copy of it.")
