"""Sends statements to a learning record store: tried again with growing waits, nothing lost, nothing there twice."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Literal
from urllib.parse import urlsplit

from requests import RequestException, Response, Session
from requests.adapters import HTTPAdapter, Retry
from urllib3.exceptions import HTTPError

from tutor.base.errors import FaultyRequestError
from tutor.classroom.exports.outbox import Outbox
from tutor.classroom.exports.xapi import Told

Version = Literal["1.0.3", "2.0.0"]

BATCH = 50
TRIES = 6
FIRST_WAIT = 1.0  # seconds, doubled with each try
LONGEST_WAIT = 60  # seconds
TIMEOUT = 20.0  # seconds
TRIED_AGAIN = [HTTPStatus.REQUEST_TIMEOUT, HTTPStatus.TOO_MANY_REQUESTS, *range(500, 600)]
LARGEST_ANSWER = 1_000_000  # bytes
LONGEST_REASON = 300


class RecordStoreError(FaultyRequestError):
    """Statements could not be sent; they wait in the outbox, and the message says what to do."""


@dataclass(frozen=True)
class Delivery:
    """What became of a delivery: how many the record store has taken, and those that it refused, with its reasons."""

    sent: int
    refused: list[tuple[str, str]]


class _RefusedError(Exception):
    """The record store will not have what was sent."""


class _PartedError(Exception):
    """The record store would have it only in smaller parts, or has a part of it already."""


class _Patience(Retry):  # type: ignore[misc] # without types
    """Waits from the first failure on; urllib3's own waits from the second."""

    def get_backoff_time(self) -> float:
        """How many seconds to wait."""
        return float(min(LONGEST_WAIT, FIRST_WAIT * 2 ** (len(self.history) - 1)))


class RecordStore:
    """A record store by its address (that above '/statements'), with the name and password it gave for this."""

    def __init__(
        self, url: str, user: str = "", password: str = "", *, version: Version = "1.0.3", timeout: float = TIMEOUT
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
        self._url, self._timeout = f"{url.strip().rstrip('/')}/statements", timeout
        self._session = Session()
        # A callable keeps the session from looking for credentials of its own in the user's .netrc.
        self._session.auth = (user.encode(), password.encode()) if user or password else lambda request: request
        self._session.headers.update({"Content-Type": "application/json", "X-Experience-API-Version": version})
        patience = _Patience(
            TRIES - 1,
            allowed_methods=None,  # a statement carries its id, so that sending it twice is harmless
            status_forcelist=TRIED_AGAIN,
            raise_on_status=False,
            retry_after_max=LONGEST_WAIT,
        )
        self._session.mount(f"{parts.scheme}://", HTTPAdapter(max_retries=patience))

    def deliver(self, outbox: Outbox) -> Delivery:
        """Send all that waits in the outbox.

        Raises RecordStoreError if the record store stays out of reach or lets nobody in; what was not sent waits on.
        """
        waiting = outbox.waiting()
        batches = (waiting[start : start + BATCH] for start in range(0, len(waiting), BATCH))
        return Delivery(sum(self._deliver(outbox, batch) for batch in batches), outbox.refused())

    def _deliver(self, outbox: Outbox, batch: Sequence[Told]) -> int:
        try:
            self._post(batch)
        except (_RefusedError, _PartedError) as error:
            if len(batch) > 1:
                middle = len(batch) // 2
                return self._deliver(outbox, batch[:middle]) + self._deliver(outbox, batch[middle:])
            if isinstance(error, _RefusedError):
                outbox.refuse(batch[0].id, str(error))
                return 0
        outbox.sent([statement.id for statement in batch])
        return len(batch)

    def _post(self, batch: Sequence[Told]) -> None:
        """Send a batch; returns when the record store has said that it has all of it. No redirect is followed."""
        body = json.dumps([statement.statement for statement in batch], ensure_ascii=False).encode("utf-8", "replace")
        try:
            with self._session.post(
                self._url, body, timeout=self._timeout, allow_redirects=False, stream=True
            ) as response:
                answer = response.raw.read(LARGEST_ANSWER, decode_content=True)
        except (RequestException, HTTPError, OSError) as error:
            raise _not_taken(_cause(error)) from error
        if response.status_code == HTTPStatus.OK:
            _check_taken(answer, batch)
        else:
            self._judge(response, answer, alone=len(batch) == 1)

    def _judge(self, response: Response, answer: bytes, *, alone: bool) -> None:
        """What an answer other than 200 means.

        A conflict on one statement says that the store has its id, and with it all that it says; on several, that it
        may have some of them.
        """
        code = response.status_code
        reason = f"{code} {' '.join(answer.decode('utf-8', 'replace').split())[:LONGEST_REASON]}".strip()
        if code in (HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN):
            raise RecordStoreError(f"The record store lets nobody in with this user and password ({reason}).")
        if code in (HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED):
            raise RecordStoreError(
                f"The record store takes no statements at {self._url} ({reason}). Check its address."
            )
        if response.is_redirect or 300 <= code < 400:
            raise RecordStoreError(f"The record store has moved ({reason}). Give its new address.")
        if code in TRIED_AGAIN:
            raise _not_taken(reason)
        if code == HTTPStatus.CONFLICT or (code == HTTPStatus.REQUEST_ENTITY_TOO_LARGE and not alone):
            raise _PartedError(reason)
        raise _RefusedError(reason)


def _check_taken(answer: bytes, batch: Sequence[Told]) -> None:
    """A record store answers with the ids that it took; whatever else answers so is none."""
    try:
        ids_taken = json.loads(answer)
    except ValueError:
        ids_taken = None
    if not isinstance(ids_taken, list) or not {statement.id for statement in batch} <= set(map(str, ids_taken)):
        raise _not_taken("what answers there is no record store: it did not name the statements that it took", tries="")


def _not_taken(reason: str, tries: str = f", tried {TRIES} times") -> RecordStoreError:
    return RecordStoreError(
        f"The record store did not take the statements ({reason}){tries}. "
        "They wait in the outbox: check its address and try again later."
    )


def _cause(error: Exception) -> str:
    """What lies under the words of the libraries."""
    cause: BaseException = getattr(error.args[0] if error.args else None, "reason", None) or error
    cause = cause.__cause__ or cause
    return str(cause) or type(cause).__name__
