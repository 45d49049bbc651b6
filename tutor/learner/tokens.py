"""The tokens that learners' browsers hold: the store signs them, and a browser gets another when a name changes hands.

A token is a random name and the store's signature of it (HMAC with SHA-256, RFC 2104). So only what this store issued
counts, and nothing is kept of those who only look in. Whoever noted a token before a renewal holds one that opens
nothing.
"""

import base64
import hashlib
import hmac
import re
import secrets
from datetime import UTC, datetime, timedelta

from sqlalchemy import Connection, and_, delete, insert, or_, select, update

from tutor.learner.record import hash_of
from tutor.store.database import Store
from tutor.store.tables import learner, renewal, token_secret

SOON = timedelta(minutes=1)
"""How long a browser has to fetch its new token; till then it may open pages with the earlier one."""
_ROW = 1
_UNSIGNED = re.compile(r"[A-Za-z0-9_-]{43}")  # as they were before tokens were signed


def renew(connection: Connection, earlier: str, renewed: str) -> None:
    """Put a token in the place of a learner's earlier one; all that is kept of the learner goes along."""
    me = connection.scalar(select(learner.c.id).where(learner.c.token_hash == hash_of(earlier)))
    if me is None:
        return
    connection.execute(update(learner).where(learner.c.id == me).values(token_hash=hash_of(renewed)))
    connection.execute(delete(renewal).where(renewal.c.learner_id == me))
    row = {"learner_id": me, "earlier_hash": hash_of(earlier), "at": datetime.now(UTC), "fetched": False}
    connection.execute(insert(renewal).values(row))


class Tokens:
    """The tokens of one store, which several servers may share; every method may raise StoreError."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._secret = bytes.fromhex(store.write(_secret))

    def issue(self) -> str:
        """Make a token that nobody holds."""
        return self._signed(secrets.token_urlsafe(16))

    def is_issued(self, token: str) -> bool:
        """Whether the store signed a token."""
        return token.isascii() and hmac.compare_digest(self._signed(token.partition(".")[0]), token)

    def is_superseded(self, token: str, before: datetime | None = None) -> bool:
        """Whether another token has taken the place of this one (before a moment)."""
        its = and_(renewal.c.earlier_hash == hash_of(token), renewal.c.at <= (before or datetime.now(UTC)))
        with self._store.reading() as connection:
            return connection.scalar(select(renewal.c.learner_id).where(its)) is not None

    def for_page(self, token: str, moment: datetime | None = None) -> str | None:
        """The token that a browser is to hold from now on when it opens a page; None if it holds the right one.

        One from before tokens were signed is exchanged, once, and the work goes along.
        """
        moment = moment or datetime.now(UTC)
        if self.is_issued(token):
            return self.issue() if self.is_superseded(token, moment - SOON) else None
        return self._exchanged(token, moment) if _UNSIGNED.fullmatch(token) else self.issue()

    def fetch(self, handle: str, earlier: str, moment: datetime | None = None) -> str | None:
        """The new token of a handle: once, soon after the renewal, and to the browser that holds the earlier one."""
        renewed, moment = self._signed(handle), moment or datetime.now(UTC)
        me = select(learner.c.id).where(learner.c.token_hash == hash_of(renewed)).scalar_subquery()
        due = and_(
            renewal.c.learner_id == me,
            renewal.c.earlier_hash == hash_of(earlier),
            renewal.c.fetched.is_(False),
            renewal.c.at > moment - SOON,
        )
        fetched = self._store.write(
            lambda connection: connection.execute(update(renewal).where(due).values(fetched=True)).rowcount
        )
        return renewed if fetched else None

    def _exchanged(self, token: str, moment: datetime) -> str:
        """What takes the place of an unsigned token: the same for several pages that are opened at once."""
        renewed = self._signed(hash_of(f"exchanged {token}")[:32])
        recent = and_(renewal.c.earlier_hash == hash_of(token), renewal.c.at > moment - SOON)
        with self._store.reading() as connection:
            query = select(learner.c.token_hash).outerjoin(renewal)
            stored = connection.scalar(query.where(or_(learner.c.token_hash == hash_of(token), recent)))
        if stored == hash_of(token):
            self._store.write(lambda connection: renew(connection, token, renewed))
        return self.issue() if stored is None else renewed

    def _signed(self, name: str) -> str:
        code = hmac.digest(self._secret, name.encode("utf-8", "surrogatepass"), hashlib.sha256)
        return f"{name}.{base64.urlsafe_b64encode(code).rstrip(b'=').decode()}"


def renewal_handle(renewed: str) -> str:
    """What stands in the address at which a browser fetches a token: its name, which tells nothing of the signature."""
    return renewed.partition(".")[0]


def _secret(connection: Connection) -> str:
    """The store's secret, which is made at the first call."""
    stored = connection.scalar(select(token_secret.c.value).where(token_secret.c.id == _ROW))
    secret = stored or secrets.token_hex(32)
    if stored is None:
        connection.execute(insert(token_secret).values(id=_ROW, value=secret))
    return str(secret)
