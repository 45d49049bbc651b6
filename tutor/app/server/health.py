"""A route that says whether the server can keep an answer now, for a front proxy or a script that watches it."""

import asyncio
import time

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from tutor.app.config import store
from tutor.store.database import StoreError

ADDRESS = "/coldmorning/health"
HELD_FOR = 1.0  # seconds; however many ask, the store is written once in that time

_turn = asyncio.Lock()
_state = (-HELD_FOR, True)  # when the store was last tried, and whether it could be written


async def health(_request: Request) -> Response:
    """Say 200 where an answer could be kept, else 503; why is for the log and the commands alone."""
    global _state  # noqa: PLW0603 - the server's one state of health
    async with _turn:
        if time.monotonic() - _state[0] >= HELD_FOR:
            _state = time.monotonic(), await run_in_threadpool(_can_write)
    headers = {"cache-control": "no-store"}
    if _state[1]:
        return PlainTextResponse("ok", headers=headers)
    return PlainTextResponse("Answers cannot be saved now.", 503, headers=headers)


def _can_write() -> bool:
    try:
        store().prove_writable()
    except StoreError:
        return False
    return True


ROUTE = Route(ADDRESS, health)
