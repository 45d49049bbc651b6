"""Wrong tries at a door of the class, and how long the next one waits: by browser, by address, and in all.

They are counted in the store: a restart forgives nothing, and several servers on one database count together.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address
from math import ceil

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from tutor.store.tables import tries

LONGEST_WAIT = timedelta(minutes=1)
# Half as fast as the longest wait lets tries in, so that a wait holds against who uses it up each time.
ONE_FORGOTTEN = timedelta(minutes=2)
# Tries that count beyond the free ones: they reach the longest wait, and are forgotten in a quarter of an hour.
MOST_COUNTED = 8
KEPT = timedelta(days=1)  # longer than it takes to forget the most tries of any door
KNOWN = timedelta(days=180)  # a half-year of school
MOST_ROWS = 5000


@dataclass(frozen=True)
class Door:
    """Where tries are made, and how many wrong ones are free of waiting, for an address and for everybody together."""

    name: str
    free_of_address: int
    free_of_all: int


DESK = Door("desk", 0, 20)
# A class of thirty behind one address may err twice each; guesses at a code of 31^8 gain nothing by them. In all, five
# such classes at once.
NAMES = Door("names", 60, 300)


def network_of(address: str) -> str:
    """What counts as one address: of IPv6 the first 64 bits, which a single household or school has to itself."""
    try:
        parsed = ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, IPv6Address):
        return str(parsed.ipv4_mapped or IPv6Address(int(parsed) >> 64 << 64))
    return address


class Tries:
    """The tries of one browser at one address; without a browser the address's alone are looked at.

    A browser that has entered waits for its own wrong tries only, an address from which somebody has entered for its
    own: what strangers do elsewhere slows strangers. Each method runs in a transaction of the caller.
    """

    def __init__(self, door: Door, address: str, browser: str = "") -> None:
        self._browser = hashlib.sha256(browser.encode("utf-8", "surrogatepass")).hexdigest() if browser else ""
        self._address = hashlib.sha256(f"{door.name} {network_of(address)}".encode()).hexdigest()
        self._all = f"all at {door.name}"
        self._free = {self._browser: 0, self._address: door.free_of_address, self._all: door.free_of_all}

    def wait(self, connection: Connection, moment: datetime) -> int:
        """How many seconds the next try has to wait; 0 if it may be made."""
        longest = timedelta(0)
        for caller, (wrong, last_at) in self._counted(connection, moment).items():
            waits = _wait(wrong - self._free[caller])
            # A count from long after `moment` is from before the clock was set back; tries at once come in any order.
            if waits and last_at + waits <= moment + 2 * LONGEST_WAIT:
                longest = max(longest, last_at + waits - moment)
        return ceil(longest.total_seconds())

    def count(self, connection: Connection, moment: datetime) -> int:
        """Count one more wrong try; gives how many seconds the next one has to wait."""
        longest = timedelta(0)
        for caller, (wrong, last_at) in self._counted(connection, moment).items():
            left = max(0.0, wrong - max(timedelta(0), moment - last_at) / ONE_FORGOTTEN)
            raised = min(left + 1, self._free[caller] + MOST_COUNTED)
            _write(connection, caller, moment, wrong=raised, at=moment)
            longest = max(longest, _wait(raised - self._free[caller]))
        _forget(connection, moment)
        return ceil(longest.total_seconds())

    def take_back(self, connection: Connection, moment: datetime) -> None:
        """Take back a try that was counted before it proved right, and all of this browser and address."""
        for caller, (wrong, _) in self._counted(connection, moment).items():
            _write(connection, caller, moment, wrong=max(0.0, wrong - 1) if caller == self._all else 0.0)

    def entered(self, connection: Connection, moment: datetime) -> None:
        """Know the browser and the address from now on."""
        for caller in filter(None, (self._browser, self._address)):
            _write(connection, caller, moment, entered_at=moment)

    def _counted(self, connection: Connection, moment: datetime) -> dict[str, tuple[float, datetime]]:
        """The counts that a try waits for and adds to: how many, and when the last one came."""
        rows = {row.who: row for row in connection.execute(select(tries).where(tries.c.who.in_(self._free)))}
        wide: list[str] = []
        for caller in filter(None, (self._browser, self._address, self._all)):
            wide.append(caller)
            entered_at = rows[caller].entered_at if caller in rows else None
            if entered_at is not None and moment - entered_at < KNOWN:
                break
        return {caller: (rows[caller].wrong, rows[caller].at) if caller in rows else (0.0, moment) for caller in wide}


def _wait(over: float) -> timedelta:
    """1, 2, 4, ... seconds, at most a minute, after tries over the free ones."""
    return min(LONGEST_WAIT, timedelta(seconds=2 ** (ceil(over) - 1))) if over > 0 else timedelta(0)


def _write(connection: Connection, caller: str, moment: datetime, **values: float | datetime) -> None:
    changed = connection.execute(update(tries).where(tries.c.who == caller).values(values))
    if changed.rowcount == 0:
        connection.execute(insert(tries).values({"who": caller, "wrong": 0.0, "at": moment, **values}))


def _forget(connection: Connection, moment: datetime) -> None:
    """Drop what counts no more and, of too many, those that were never inside and are longest quiet."""
    strange = or_(tries.c.entered_at.is_(None), tries.c.entered_at < moment - KNOWN)
    connection.execute(delete(tries).where(tries.c.at < moment - KEPT, strange))
    surplus = (connection.scalar(select(func.count()).select_from(tries)) or 0) - MOST_ROWS
    if surplus > 0:
        oldest = select(tries.c.who).order_by(tries.c.entered_at.is_not(None), tries.c.at).limit(surplus)
        connection.execute(delete(tries).where(tries.c.who.in_(oldest)))
