"""The one way to write a file for a person: whole or not at all, and never over a database or another's work."""

import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from tutor.base.errors import FaultyRequestError

# How a database and its log begin: sqlite.org/fileformat2.html, sections 1.3.1 and 4.1.
_OF_DATABASES = (b"SQLite format 3\0", b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")
_COMPANIONS = ("-wal", "-shm", "-journal")


class OutputError(FaultyRequestError):
    """A file cannot or must not be written; the message says why and what to do."""


def check_output(path: Path, *, replace: bool) -> None:
    """Refuse what a file must not be written to, before a byte is. Raises OutputError.

    That is a file that is there, unless `replace` is set; and in any case a database, which may be the store, or a file
    that belongs to one, whatever the name by which it is reached; and what is no file, such as a folder or a pipe.
    """
    if re.match(r"[A-Za-z][\w+.-]+:/", path.as_posix()):
        raise OutputError(f"{path} is an address. Name a file.")
    target = Path(os.path.realpath(path))
    try:
        if path.exists() and not path.is_file():
            raise OutputError(f"{path} is a folder, a device, or a pipe. Name a file.")
        if _is_of_a_database(target):
            raise OutputError(f"{path} is a database, or a part of one: work may be kept in it. Name another file.")
        target.parent.stat()
        if os.path.lexists(path) and not replace:
            raise OutputError(f"{path} is there already. Name another file, or add --replace to write over it.")
    except OSError as error:
        raise _unwritable(path, error) from error


@contextmanager
def whole_file(path: Path, *, replace: bool = False) -> Iterator[IO[bytes]]:
    """Give a file to write to, which takes its name when it is whole and on the disk. Only its owner may read it.

    A link stays a link: what it leads to is written. Raises OutputError, also for what `check_output` refuses.
    """
    check_output(path, replace=replace)
    target = Path(os.path.realpath(path))
    try:
        handle, name = tempfile.mkstemp(prefix=".unfinished-", dir=target.parent)
        unfinished = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(target)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise _unwritable(path, error) from error


def _is_of_a_database(path: Path) -> bool:
    """Whether a file is a database, or has the name of a log that SQLite lays beside one."""
    stems = [path.name[: -len(kind)] for kind in _COMPANIONS if path.name.lower().endswith(kind)]
    return any(_is_database(path.with_name(stem)) for stem in (path.name, *filter(None, stems)))


def _is_database(path: Path) -> bool:
    if path.with_name(f"{path.name}-wal").exists():
        return True
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(16).startswith(_OF_DATABASES)


def _unwritable(path: Path, error: OSError) -> OutputError:
    return OutputError(f"{path} cannot be written ({error.strerror}). Name another file.")
