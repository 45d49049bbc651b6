"""The way to the desk: a passphrase kept as a scrypt hash, waits that grow with wrong tries, sessions that end.

A try is counted before it is looked at: many at once gain nothing. A browser that has been inside waits for its own
tries only, so that nobody's wrong ones keep its instructor out; a code from the server's shell waits for none.
"""

import hashlib
import hmac
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from threading import Lock
from typing import NamedTuple

from sqlalchemy import Connection, delete, insert, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.roster.tries import DESK, NAMES, Tries
from tutor.store.database import Store
from tutor.store.tables import desk, desk_session, tries

SESSION = timedelta(hours=12)
SET_UP_CODE = timedelta(hours=24)
ENTRY_CODE = timedelta(minutes=10)
FEWEST_CHARACTERS = 10
MOST_CHARACTERS = 1000
_ROW = 1
_DESK, _SET_UP, _ENTRY, _LEFT = "desk", "set-up", "entry", "login that has left"
_BUSY = 30.0  # seconds that a try waits for those before it to be looked at
_hashing = Lock()
# A button pressed twice at once is no second try: a browser's tries are looked at one after the other.
_of_a_browser = tuple(Lock() for _ in range(64))


class DeskError(ClassError):
    """The desk stays shut; a sentence that says why."""


class _Cost(NamedTuple):
    """What a hash costs (RFC 7914): memory is 128 * r * 2^log_n bytes, time grows with r * p * 2^log_n."""

    log_n: int
    r: int
    p: int


# 64 MB, and a quarter of a second of processor time for each try (0.26 s measured on one core of a rented server). More
# memory would be harder on thieves of the store, and on the small machines that serve classes.
COST = _Cost(16, 8, 2)
_NAMED = "-".join(map(str, COST))
_COSTS = {_NAMED: COST, "": _Cost(15, 8, 3)}  # by the name before a kept hash; earlier ones have none


class InstructorAuth:
    """The desk of a store, seen from a browser by the token that it holds, at the address that it comes from.

    Every method may raise StoreError.
    """

    def __init__(self, store: Store, browser: str = "", address: str = "") -> None:
        self._store, self._browser = store, browser
        self._tries = Tries(DESK, address, browser)
        self._tries_at_names = Tries(NAMES, address)

    def has_passphrase(self) -> bool:
        """Whether a passphrase was set."""
        with self._store.reading() as connection:
            return connection.scalar(select(desk.c.passphrase_hash).where(desk.c.id == _ROW)) is not None

    def new_set_up_code(self, moment: datetime | None = None) -> str:
        """A code for the terminal of the server: whoever reads it there may set the first passphrase, for a day."""
        moment = moment or datetime.now(UTC)
        code = secrets.token_hex(8)
        self._store.write(lambda connection: _store_token(connection, _SET_UP, code, moment, moment + SET_UP_CODE))
        return code

    def new_entry_code(self, moment: datetime | None = None) -> str:
        """A code for the server's shell: whoever reads it there may enter once, soon, however long others wait.

        An earlier one is good no more.
        """
        moment = moment or datetime.now(UTC)
        code = secrets.token_hex(8)

        def work(connection: Connection) -> None:
            connection.execute(delete(desk_session).where(desk_session.c.kind == _ENTRY))
            _store_token(connection, _ENTRY, code, moment, moment + ENTRY_CODE)

        self._store.write(work)
        return code

    def set_first(self, passphrase: str, set_up_code: str, moment: datetime | None = None) -> str:
        """Set the first passphrase and begin a session; gives the session's token.

        The code is too long to be guessed, so that wrong ones need no wait. Raises DeskError for a wrong code, for a
        poor passphrase, or if one is set.
        """
        moment = moment or datetime.now(UTC)
        _check(passphrase)
        if self.has_passphrase():
            raise DeskError("The desk has a passphrase already. Enter with it, or set another in the server's shell.")
        if not self._is_kept(_SET_UP, set_up_code.strip().lower(), moment):
            raise DeskError("This is not the set-up code. The server printed it in its terminal when it started.")
        self.set_passphrase(passphrase, moment)
        return self._begin(moment)

    def set_passphrase(self, passphrase: str, moment: datetime | None = None) -> None:
        """Set the passphrase, for who has the server's shell; all sessions and set-up codes end, and all waiting.

        Raises DeskError for a poor passphrase.
        """
        _check(passphrase)
        values = {**_new_hash(passphrase), "set_at": moment or datetime.now(UTC)}

        def work(connection: Connection) -> None:
            if connection.scalar(select(desk.c.id).where(desk.c.id == _ROW)) is None:
                connection.execute(insert(desk).values(id=_ROW))
            connection.execute(update(desk).where(desk.c.id == _ROW).values(values))
            connection.execute(delete(desk_session))
            connection.execute(delete(tries))

        self._store.write(work)

    def enter(self, passphrase: str, moment: datetime | None = None) -> str:
        """Begin a session; gives its token. Takes the passphrase, or a code from the server's shell.

        Raises DeskError for a wrong passphrase and while waiting after one.
        """
        moment = moment or datetime.now(UTC)
        if self._uses_entry_code(passphrase, moment):
            return self._begin(moment)
        with _of_a_browser[hash(self._browser) % len(_of_a_browser)]:
            return self._enter_by_passphrase(passphrase, moment)

    def _enter_by_passphrase(self, passphrase: str, moment: datetime) -> str:
        with self._store.reading() as connection:  # most of a flood ends here, without a turn at writing
            self._check_wait(connection, moment)
            stored = connection.execute(select(desk.c.salt, desk.c.passphrase_hash).where(desk.c.id == _ROW)).first()
        if stored is None or stored.passphrase_hash is None:
            raise DeskError("The desk has no passphrase yet. Set one with the code that the server printed.")
        seconds = self._store.write(lambda connection: self._count_try(connection, moment))
        passphrase = passphrase[:MOST_CHARACTERS]
        if not _is_hash_of(passphrase, stored.salt, stored.passphrase_hash):
            raise DeskError(f"This is not the passphrase. Wait {seconds} s before the next try.")
        if not stored.passphrase_hash.startswith(f"{_NAMED}:"):
            self._renew_hash(passphrase, stored.passphrase_hash)
        return self._begin(moment)

    def begin_for_owner(self, since: datetime, moment: datetime | None = None) -> str:
        """Begin a session for somebody whom an identity provider let in at a moment, from which on it lasts.

        Gives its token.
        """
        return self._begin(moment or datetime.now(UTC), since)

    def is_inside(self, token: str, moment: datetime | None = None) -> bool:
        """Whether a token is that of a session that has not ended."""
        return bool(token) and self._is_kept(_DESK, token, moment or datetime.now(UTC))

    def leave(self, token: str) -> None:
        """End a session."""
        session_row = desk_session.c.token_hash == _token_hash(token)
        self._store.write(lambda connection: connection.execute(delete(desk_session).where(session_row)))

    def end_login(self, login: str, since: datetime, moment: datetime | None = None) -> None:
        """Let a login of `since` in no more: its cookie lasts longer than the desk's session, and can be copied."""

        def work(connection: Connection) -> None:
            connection.execute(delete(desk_session).where(desk_session.c.token_hash == _token_hash(login)))
            _store_token(connection, _LEFT, login, moment or datetime.now(UTC), since + SESSION)

        self._store.write(work)

    def has_left(self, login: str, moment: datetime | None = None) -> bool:
        """Whether somebody has left the desk who came in by a login."""
        return self._is_kept(_LEFT, login, moment or datetime.now(UTC))

    def _uses_entry_code(self, typed: str, moment: datetime) -> bool:
        """Whether a text is the code that was made last and nobody has used; uses it up."""
        given = _token_hash(typed.strip().lower())
        codes = select(desk_session.c.token_hash).where(desk_session.c.kind == _ENTRY, desk_session.c.ends_at > moment)
        with self._store.reading() as connection:
            stored = connection.scalar(codes) or ""
        if not hmac.compare_digest(given, stored):
            return False
        used = delete(desk_session).where(desk_session.c.token_hash == stored)
        return self._store.write(lambda connection: connection.execute(used).rowcount) == 1

    def _check_wait(self, connection: Connection, moment: datetime) -> None:
        """Raises DeskError while waiting."""
        if seconds := self._tries.wait(connection, moment):
            raise DeskError(f"There was a wrong try just now. Wait {seconds} s and try again.")

    def _count_try(self, connection: Connection, moment: datetime) -> int:
        """Count one more try as wrong until it proves right; gives how many seconds the next one waits."""
        self._check_wait(connection, moment)
        return self._tries.count(connection, moment)

    def _renew_hash(self, passphrase: str, earlier: str) -> None:
        """Keep the passphrase at today's cost, unless another was set meanwhile."""
        unchanged = (
            update(desk).where(desk.c.id == _ROW, desk.c.passphrase_hash == earlier).values(_new_hash(passphrase))
        )
        self._store.write(lambda connection: connection.execute(unchanged))

    def _begin(self, moment: datetime, since: datetime | None = None) -> str:
        token = secrets.token_urlsafe(32)

        def work(connection: Connection) -> None:
            self._tries.take_back(connection, moment)
            self._tries.entered(connection, moment)
            self._tries_at_names.entered(connection, moment)  # the class's learners come from here
            connection.execute(delete(desk_session).where(desk_session.c.ends_at <= moment))
            _store_token(connection, _DESK, token, moment, (since or moment) + SESSION)

        self._store.write(work)
        return token

    def _is_kept(self, kind: str, token: str, moment: datetime) -> bool:
        query = select(desk_session.c.ends_at).where(
            desk_session.c.token_hash == _token_hash(token), desk_session.c.kind == kind
        )
        with self._store.reading() as connection:
            ends_at = connection.scalar(query)
        return ends_at is not None and moment < ends_at


def _store_token(connection: Connection, kind: str, token: str, moment: datetime, ends_at: datetime) -> None:
    row = {"token_hash": _token_hash(token), "kind": kind, "made_at": moment, "ends_at": ends_at}
    connection.execute(insert(desk_session).values(row))


def _token_hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def _new_hash(passphrase: str) -> dict[str, str]:
    """What the store keeps of a passphrase: its hash, after what that costs, and the salt."""
    salt = secrets.token_hex(16)
    return {"salt": salt, "passphrase_hash": f"{_NAMED}:{_hashed(passphrase, salt, COST)}"}


def kept_hash(text: str) -> tuple[_Cost, str]:
    """What a kept hash cost, and the hash alone. Raises ValueError for a cost that is none of ours."""
    named, _, digest = text.rpartition(":")
    if named not in _COSTS:
        raise ValueError(f"no passphrase was hashed at a cost of '{named[:20]}'")
    return _COSTS[named], digest


def _is_hash_of(passphrase: str, salt: str, stored_hash: str) -> bool:
    cost, digest = kept_hash(stored_hash)
    return hmac.compare_digest(_hashed(passphrase, salt, cost), digest)


def _hashed(passphrase: str, salt: str, cost: _Cost) -> str:
    text = passphrase.encode("utf-8", "surrogatepass")
    with _turn():
        n, room = 2**cost.log_n, 2 * 128 * cost.r * 2**cost.log_n
        return hashlib.scrypt(text, salt=bytes.fromhex(salt), n=n, r=cost.r, p=cost.p, maxmem=room, dklen=32).hex()


@contextmanager
def _turn() -> Iterator[None]:
    """One hash at a time: however many try at once, they take one core and the memory of one."""
    if not _hashing.acquire(timeout=_BUSY):
        raise DeskError("Many are trying to enter just now. Wait a moment and try again.")
    try:
        yield
    finally:
        _hashing.release()


def _check(passphrase: str) -> None:
    if not FEWEST_CHARACTERS <= len(passphrase.strip()) <= MOST_CHARACTERS:
        raise DeskError(f"Take a passphrase of at least {FEWEST_CHARACTERS} characters, such as four words.")
