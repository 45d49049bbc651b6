"""The sentence for each thing that can go wrong with a database, in place of the database's own words."""

from sqlalchemy.exc import DBAPIError

ELSEWHERE = "name another place for the store"

_READ_ONLY = f"cannot be written. Change its permissions, or {ELSEWHERE}."
_HELD = "is being written by another program. Close that program, or wait a moment, and try again."
_FULL = "has no room left on its disk. Free some space and try again."
_TOO_BUSY = "is too busy. Wait a moment and try again."
_NOT_LET_IN = "refuses the user or the password in its address. Correct them, or ask whoever keeps the database."
_NOT_THERE = f"is not there. Make the database with 'createdb', or {ELSEWHERE}."
_OUT_OF_REACH = (
    "cannot be reached. Wait a moment and try again; if that does not help, check that its address is right and its "
    "server runs."
)

# A fragment of the first line of the database's message, in the order in which they are looked for.
_SENTENCES = {
    "sqlite": {
        "not a database": f"is not a Cold Morning store. Check its name, or {ELSEWHERE}.",
        "malformed": "is damaged. Put a copy of it back, or move it away so that a new one is made.",
        "locked": _HELD,
        "readonly": _READ_ONLY,
        "unable to open": f"cannot be opened. Change the permissions of its folder, or {ELSEWHERE}.",
        "full": _FULL,
    },
    "postgresql": {
        "permission denied": _READ_ONLY,
        "read-only": _READ_ONLY,
        "lock timeout": _HELD,
        "No space left": _FULL,
        "too many clients": _TOO_BUSY,
        "too many connections": _TOO_BUSY,
        "connection slots": _TOO_BUSY,
        "authentication failed": _NOT_LET_IN,
        "no password supplied": _NOT_LET_IN,
        "pg_hba.conf": _NOT_LET_IN,
        'role "': _NOT_LET_IN,
        'database "': _NOT_THERE,
        "connection failed": _OUT_OF_REACH,
        "connection timeout": _OUT_OF_REACH,
    },
}


def told(error: DBAPIError, backend: str) -> str:
    """Say what is wrong with a store and how to mend it: the rest of a sentence that begins with the store's name."""
    reason = str(error.orig).strip().partition("\n")[0]
    for fragment, sentence in _SENTENCES.get(backend, {}).items():
        if fragment in reason:
            return sentence
    if error.connection_invalidated:
        return _OUT_OF_REACH
    return f"failed: {reason.rstrip('.')}. Check that its address is right and its server runs."


def told_busy() -> str:
    """Say that all connections are in use."""
    return _TOO_BUSY
