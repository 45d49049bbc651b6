"""The way to the desk: a passphrase kept as a scrypt hash, waits that grow with wrong tries, sessions that end.

The tries are counted in the store, so that several processes, and a restart, count together. A try is counted before it
is looked at: many at once gain nothing. A browser that has been inside counts for itself, so that nobody's wrong tries
keep its instructor out; all others count together.
"""

import hashlib
import hmac
import secrets
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, delete, insert, select, update

from tutor.classroom.errors import ClassError
from tutor.store.database import Store
from tutor.store.tables import desk, desk_browser, desk_session

SESSION = timedelta(hours=12)
SET_UP_CODE = timedelta(hours=24)
LONGEST_WAIT = timedelta(minutes=1)
FEWEST_CHARACTERS = 10
MOST_CHARACTERS = 1000
_ROW = 1
_DESK, _SET_UP = "desk", "set-up"


class DeskError(ClassError):
    """The desk stays shut; a sentence that says why."""


class Desk:
    """The desk of a store, seen from a browser by the token that it holds; every method may raise StoreError."""

    def __init__(self, store: Store, browser: str = "") -> None:
        self._store, self._browser = store, _token_hash(browser)

    def has_passphrase(self) -> bool:
        """Whether a passphrase was set."""
        with self._store.reading() as connection:
            return connection.scalar(select(desk.c.passphrase_hash).where(desk.c.id == _ROW)) is not None

    def new_set_up_code(self, now: datetime | None = None) -> str:
        """A code for the terminal of the server: whoever reads it there may set the first passphrase, for a day."""
        now = now or datetime.now(UTC)
        code = secrets.token_hex(8)
        self._store.write(lambda connection: _keep(connection, _SET_UP, code, now, now + SET_UP_CODE))
        return code

    def set_first(self, passphrase: str, set_up_code: str, now: datetime | None = None) -> str:
        """Set the first passphrase and begin a session; gives the session's token.

        The code is too long to be guessed, so that wrong ones need no wait. Raises DeskError for a wrong code, for a
        poor passphrase, or if one is set.
        """
        now = now or datetime.now(UTC)
        _check(passphrase)
        if self.has_passphrase():
            raise DeskError("The desk has a passphrase already. Enter with it, or set another in the server's shell.")
        if not self._is_kept(_SET_UP, set_up_code.strip().lower(), now):
            raise DeskError("This is not the set-up code. The server printed it in its terminal when it started.")
        self.set_passphrase(passphrase, now)
        return self._begin(now)

    def set_passphrase(self, passphrase: str, now: datetime | None = None) -> None:
        """Set the passphrase, for who has the server's shell; all sessions and set-up codes end, and all waiting.

        Raises DeskError for a poor passphrase.
        """
        _check(passphrase)
        salt = secrets.token_hex(16)
        values = {"salt": salt, "passphrase_hash": _hashed(passphrase, salt), "set_at": now or datetime.now(UTC)}

        def work(connection: Connection) -> None:
            _row(connection)
            free = {"wrong_tries": 0, "wait_until": None}
            connection.execute(update(desk).where(desk.c.id == _ROW).values(**values, **free))
            connection.execute(delete(desk_session))
            connection.execute(delete(desk_browser))

        self._store.write(work)

    def enter(self, passphrase: str, now: datetime | None = None) -> str:
        """Begin a session; gives its token. Raises DeskError for a wrong passphrase and while waiting after one."""
        now = now or datetime.now(UTC)
        row, tries = self._store.write(lambda connection: self._count_try(connection, now))
        if row.passphrase_hash is None:
            raise DeskError("The desk has no passphrase yet. Set one with the code that the server printed.")
        given = _hashed(passphrase[:MOST_CHARACTERS], row.salt)
        if not hmac.compare_digest(given, row.passphrase_hash):
            seconds = _wait(tries).seconds
            raise DeskError(f"This is not the passphrase. Wait {seconds} s before the next try.")
        return self._begin(now)

    def begin_for_owner(self, since: datetime, now: datetime | None = None) -> str:
        """Begin a session for somebody whom an identity provider let in at a moment, from which on it lasts.

        Gives its token.
        """
        return self._begin(now or datetime.now(UTC), since)

    def is_inside(self, token: str, now: datetime | None = None) -> bool:
        """Whether a token is that of a session that has not ended."""
        return bool(token) and self._is_kept(_DESK, token, now or datetime.now(UTC))

    def leave(self, token: str) -> None:
        """End a session."""
        gone = desk_session.c.token_hash == _token_hash(token)
        self._store.write(lambda connection: connection.execute(delete(desk_session).where(gone)))

    def _counter(self, connection: Connection) -> tuple[Table, ColumnElement[bool]]:
        """Where this browser's wrong tries are counted, and in which row."""
        _row(connection)
        own = desk_browser.c.token_hash == self._browser
        if connection.scalar(select(desk_browser.c.token_hash).where(own)) is not None:
            return desk_browser, own
        return desk, desk.c.id == _ROW

    def _count_try(self, connection: Connection, now: datetime) -> tuple[Any, int]:
        """Count one more try as wrong until it proves right; gives the passphrase's row and how many tries that makes.

        Raises DeskError while waiting.
        """
        counter, which = self._counter(connection)
        counted = connection.execute(select(counter.c.wrong_tries, counter.c.wait_until).where(which)).one()
        wait_until = counted.wait_until
        # A longer one was set before the clock was set back; twice as long, for tries at once may come in any order.
        if wait_until is not None and now < wait_until <= now + 2 * LONGEST_WAIT:
            seconds = max(1, round((wait_until - now).total_seconds()))
            raise DeskError(f"There was a wrong try just now. Wait {seconds} s and try again.")
        tries = counted.wrong_tries + 1
        values = {"wrong_tries": tries, "wait_until": now + _wait(tries)}
        connection.execute(update(counter).where(which).values(**values))
        return connection.execute(select(desk.c.salt, desk.c.passphrase_hash).where(desk.c.id == _ROW)).one(), tries

    def _begin(self, now: datetime, since: datetime | None = None) -> str:
        token = secrets.token_urlsafe(32)

        def work(connection: Connection) -> None:
            counter, which = self._counter(connection)
            connection.execute(update(counter).where(which).values(wrong_tries=0, wait_until=None))
            if counter is desk:
                connection.execute(insert(desk_browser).values(token_hash=self._browser, wrong_tries=0))
            connection.execute(delete(desk_session).where(desk_session.c.ends_at <= now))
            _keep(connection, _DESK, token, now, (since or now) + SESSION)

        self._store.write(work)
        return token

    def _is_kept(self, kind: str, token: str, now: datetime) -> bool:
        query = select(desk_session.c.ends_at).where(
            desk_session.c.token_hash == _token_hash(token), desk_session.c.kind == kind
        )
        with self._store.reading() as connection:
            ends_at = connection.scalar(query)
        return ends_at is not None and now < ends_at


def _wait(tries: int) -> timedelta:
    """1, 2, 4, ... seconds, at most a minute."""
    return min(LONGEST_WAIT, timedelta(seconds=2 ** min(tries - 1, 10)))


def _row(connection: Connection) -> None:
    if connection.scalar(select(desk.c.id).where(desk.c.id == _ROW)) is None:
        connection.execute(insert(desk).values(id=_ROW, wrong_tries=0))


def _keep(connection: Connection, kind: str, token: str, now: datetime, ends_at: datetime) -> None:
    row = {"token_hash": _token_hash(token), "kind": kind, "made_at": now, "ends_at": ends_at}
    connection.execute(insert(desk_session).values(row))


def _token_hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def _hashed(passphrase: str, salt: str) -> str:
    """RFC 7914 with N = 2^15, r = 8, p = 3: a third of a second and 32 MB for each try."""
    text = passphrase.encode("utf-8", "surrogatepass")
    return hashlib.scrypt(text, salt=bytes.fromhex(salt), n=2**15, r=8, p=3, maxmem=2**26, dklen=32).hex()


def _check(passphrase: str) -> None:
    if not FEWEST_CHARACTERS <= len(passphrase.strip()) <= MOST_CHARACTERS:
        raise DeskError(f"Take a passphrase of at least {FEWEST_CHARACTERS} characters, such as four words.")
