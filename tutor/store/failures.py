"""The sentence for each thing that can go wrong with a database, in place of the database's own words."""

import os
from pathlib import Path
from typing import NamedTuple

from sqlalchemy.exc import DBAPIError

ELSEWHERE = "name another place for the store"


class Failure(NamedTuple):
    """What went wrong: the rest of a sentence that begins with the store's name.

    `page` is what a page says, which names no place; "" where the usual words fit.
    """

    sentence: str
    page: str = ""


_STAYS = "What you typed stays in its box. Tell whoever runs the tutor, then press the button again."
_FULL = Failure(
    "has no room left on its disk. Free some space and try again.",
    f"The disk that keeps your work is full, so what you did last was not saved. {_STAYS}",
)
_READ_ONLY = Failure(
    f"cannot be written. Change its permissions or the write protection of its file, folder, or disk, or {ELSEWHERE}.",
    f"The file that keeps your work is write-protected, so what you did last was not saved. {_STAYS}",
)
_DISK = Failure(
    "met a fault of its disk. The disk may be failing, over its quota, or write-protected: check it and try again.",
    f"The disk that keeps your work does not accept it, so what you did last was not saved. {_STAYS}",
)
_LOST_PAGE = (
    "The file that keeps your work is missing or damaged, so what you did last was not saved, and earlier work may be "
    "missing too. Write your answer down and tell whoever runs the tutor: it must be stopped and the file put back."
)
LOST = Failure(
    "was removed, replaced, or cut short while it was in use, so nothing more is kept. Stop the tutor, put the file "
    "or a copy of it back, and start again.",
    _LOST_PAGE,
)
_HELD = Failure("is being written by another program. Close that program, or wait a moment, and try again.")
TOO_BUSY = Failure("is too busy. Wait a moment and try again.")
_NOT_LET_IN = Failure(
    "refuses the user or the password in its address. Correct them, or ask whoever keeps the database."
)
_NOT_THERE = Failure(f"is not there. Make the database with 'createdb', or {ELSEWHERE}.")
_OUT_OF_REACH = Failure(
    "cannot be reached. Wait a moment and try again; if that does not help, check that its address is right and its "
    "server runs."
)
_DAMAGED = Failure("is damaged. Put a copy of it back, or move it away so that a new one is made.", _LOST_PAGE)


def lacks_table(name: str = "") -> Failure:
    """A table is gone."""
    table_words = f"its table '{name}'" if name else "one of its tables"
    return Failure(f"has lost {table_words}. Put a copy back with 'coldmorning restore', or {ELSEWHERE}.", _LOST_PAGE)


# A fragment of the first line of the database's message, after a PostgreSQL server's code of five characters (see
# "PostgreSQL Error Codes" in its manual), in the order in which they are looked for.
_FAILURES = {
    "sqlite": {
        "not a database": Failure(f"is not a Cold Morning store. Check its name, or {ELSEWHERE}."),
        "malformed": _DAMAGED,
        "no such table": lacks_table(),
        "locked": _HELD,
        "readonly": _READ_ONLY,
        "unable to open": Failure(f"cannot be opened. Change the permissions of its folder, or {ELSEWHERE}."),
        "full": _FULL,
        "disk I/O": _DISK,
    },
    "postgresql": {
        "42501 ": _READ_ONLY,
        "25006 ": _READ_ONLY,
        "55P03 ": _HELD,
        "53100 ": _FULL,
        "53300 ": TOO_BUSY,
        "42P01 ": lacks_table(),
        "too many clients": TOO_BUSY,
        "too many connections": TOO_BUSY,
        "connection slots": TOO_BUSY,
        "authentication failed": _NOT_LET_IN,
        "no password supplied": _NOT_LET_IN,
        "pg_hba.conf": _NOT_LET_IN,
        'role "': _NOT_LET_IN,
        'database "': _NOT_THERE,
        "connection failed": _OUT_OF_REACH,
        "connection timeout": _OUT_OF_REACH,
    },
}


def of_database(error: DBAPIError, backend: str, path: Path | None = None) -> Failure:
    """What is wrong with a store, from its database's error; `path` is the file of one that is a file."""
    reason = str(error.orig).strip().partition("\n")[0]
    coded = f"{getattr(error.orig, 'sqlstate', None) or ''} {reason}"
    for fragment, failure in _FAILURES.get(backend, {}).items():
        if fragment in coded:
            of_disk = path and fragment in ("unable to open", "disk I/O") and _of_disk(path)
            return of_disk or failure
    if error.connection_invalidated:
        return _OUT_OF_REACH
    return Failure(f"failed: {reason.rstrip('.')}. Check that its address is right and its server runs.")


def _of_disk(path: Path) -> Failure | None:
    """SQLite has one word for whatever a disk refuses but a lack of room in the middle of a write: look what it was."""
    if not path.is_file():
        return None
    if hasattr(os, "statvfs") and os.statvfs(path).f_bavail == 0:
        return _FULL
    return None if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK) else _READ_ONLY
