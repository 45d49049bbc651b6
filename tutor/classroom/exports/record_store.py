"""Sends statements to a learning record store: tried again with growing waits, nothing lost, nothing there twice."""

import base64
import http.client
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit
from urllib.request import HTTPRedirectHandler, Request, build_opener

from tutor.classroom.exports.outbox import Outbox
from tutor.classroom.exports.xapi import Told
from tutor.errors import FaultyRequestError

Version = Literal["1.0.3", "2.0.0"]

BATCH = 50
TRIES = 6
FIRST_WAIT = 1.0
LONGEST_WAIT = 60.0
TIMEOUT = 20.0
CONFLICT, TOO_LARGE, TOO_MANY = 409, 413, 429
LARGEST_ANSWER = 1_000_000  # bytes
LONGEST_REASON = 300


class RecordStoreError(FaultyRequestError):
    """Statements could not be sent; they wait in the outbox, and the message says what to do."""


@dataclass(frozen=True)
class Delivery:
    """What became of a delivery: how many the record store has taken, and those that it refused, with its reasons."""

    sent: int
    refused: list[tuple[str, str]]


class _UnreachableError(Exception):
    """No answer that could be understood; `after` is how long the record store asks to wait."""

    def __init__(self, reason: str, after: float | None = None) -> None:
        super().__init__(reason)
        self.after = after


class _RefusedError(Exception):
    """The record store will not have what was sent."""


class _PartedError(Exception):
    """The record store would have it only in smaller parts, or has a part of it already."""


class _NoRedirects(HTTPRedirectHandler):
    """A password is not carried to another address."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


class RecordStore:
    """A record store by its address (that above '/statements'), with the name and password it gave for this."""

    def __init__(
        self,
        url: str,
        user: str = "",
        password: str = "",
        *,
        version: Version = "1.0.3",
        timeout: float = TIMEOUT,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        try:
            parts = urlsplit(url.strip())
        except ValueError:
            parts = urlsplit("")
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise RecordStoreError(f"'{url[:60]}' is no record store's address. It begins with 'https://'.")
        if parts.username or parts.password:
            raise RecordStoreError("Leave the password out of the address, and give user and password beside it.")
        local = parts.hostname in ("localhost", "127.0.0.1", "::1")
        if password and parts.scheme == "http" and not local:
            raise RecordStoreError("A password would go over the network for all to read. Use an 'https://' address.")
        self._url = f"{url.strip().rstrip('/')}/statements"
        self._headers = {"Content-Type": "application/json", "X-Experience-API-Version": version}
        if user or password:
            pair = base64.b64encode(f"{user}:{password}".encode()).decode()
            self._headers["Authorization"] = f"Basic {pair}"
        self._timeout, self._sleep = timeout, sleep
        self._opener = build_opener(_NoRedirects)

    def deliver(self, outbox: Outbox) -> Delivery:
        """Send all that waits in the outbox.

        Raises RecordStoreError if the record store stays out of reach or lets nobody in; what was not sent waits on.
        """
        sent = 0
        while batch := outbox.waiting(BATCH):
            sent += self._deliver(outbox, batch)
        return Delivery(sent, outbox.refused())

    def _deliver(self, outbox: Outbox, batch: Sequence[Told]) -> int:
        try:
            self._post_patiently(batch)
        except (_RefusedError, _PartedError) as error:
            if len(batch) > 1:
                middle = len(batch) // 2
                return self._deliver(outbox, batch[:middle]) + self._deliver(outbox, batch[middle:])
            if isinstance(error, _RefusedError):
                outbox.refuse(batch[0].id, str(error))
                return 0
        outbox.sent([statement.id for statement in batch])
        return len(batch)

    def _post_patiently(self, batch: Sequence[Told]) -> None:
        wait = FIRST_WAIT
        for tried in range(1, TRIES + 1):
            try:
                self._post(batch)
            except _UnreachableError as error:
                if tried == TRIES:
                    raise RecordStoreError(
                        f"The record store did not take the statements ({error}), tried {TRIES} times. "
                        "They wait in the outbox: check its address and try again later."
                    ) from error
                self._sleep(min(LONGEST_WAIT, max(wait, error.after or 0.0)))
                wait *= 2
            else:
                return

    def _post(self, batch: Sequence[Told]) -> None:
        """Send a batch once; returns when the record store has said that it has all of it."""
        body = json.dumps([statement.statement for statement in batch], ensure_ascii=False).encode("utf-8", "replace")
        request = Request(self._url, body, self._headers, method="POST")
        try:
            with self._opener.open(request, timeout=self._timeout) as answer:
                _check_taken(answer.read(LARGEST_ANSWER), batch)
        except HTTPError as error:
            with error:
                self._judge(error, alone=len(batch) == 1)
        except (URLError, TimeoutError, http.client.HTTPException, OSError) as error:
            raise _UnreachableError(str(getattr(error, "reason", error)) or type(error).__name__) from error

    def _judge(self, error: HTTPError, *, alone: bool) -> None:
        """What an answer other than 200 means.

        A conflict on one statement says that the store has its id, and with it all that it says; on several, that it
        may have some of them.
        """
        reason = f"{error.code} {_reason(error)}".strip()
        if error.code in (401, 403):
            raise RecordStoreError(f"The record store lets nobody in with this user and password ({reason}).")
        if error.code in (404, 405):
            raise RecordStoreError(
                f"The record store takes no statements at {self._url} ({reason}). Check its address."
            )
        if 300 <= error.code < 400:
            raise RecordStoreError(f"The record store has moved ({reason}). Give its new address.")
        if error.code == CONFLICT:
            raise _PartedError(reason)
        if error.code == TOO_LARGE and not alone:
            raise _PartedError(reason)
        if error.code >= 500 or error.code in (408, TOO_MANY):
            raise _UnreachableError(reason, _retry_after(error))
        raise _RefusedError(reason)


def _check_taken(answer: bytes, batch: Sequence[Told]) -> None:
    """A record store answers with the ids that it took; whatever else answers so is none."""
    try:
        ids = json.loads(answer)
    except ValueError:
        ids = None
    if not isinstance(ids, list) or not {told.id for told in batch} <= {str(id_) for id_ in ids}:
        raise _UnreachableError("what answers there is no record store: it did not name the statements that it took")


def _reason(error: HTTPError) -> str:
    try:
        reason = error.read(4096).decode("utf-8", "replace")
    except (OSError, http.client.HTTPException):
        return ""
    return " ".join(reason.split())[:LONGEST_REASON]


def _retry_after(error: HTTPError) -> float | None:
    seconds = error.headers.get("Retry-After", "")
    return float(seconds) if seconds.isdecimal() else None
