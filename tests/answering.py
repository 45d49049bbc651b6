"""A server process that takes learners' answers over HTTP: `python answering.py record|class PORT STORE`.

An answer is acknowledged (200) once it is kept; if the store fails, its sentence is the reply (503).
"""

import asyncio
import sys
from collections.abc import Callable
from functools import partial
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.work import ClassWork
from tutor.content.library import load
from tutor.learner.record import Attempt, Record
from tutor.problems.question import Engine
from tutor.store.database import Store, StoreError

PLACES = 2


def to_record(store: Store) -> Callable[[dict[str, Any]], None]:
    """Keep an answer as one of a learner who practises alone."""

    def keep(sent: dict[str, Any]) -> None:
        attempt = Attempt(exercise="e", version="1", number=1, ask="a", rulebook="us", entry="9", key=sent["key"])
        Record(store, sent["token"]).add(attempt)

    return keep


def to_class(store: Store) -> Callable[[dict[str, Any]], None]:
    """Mark and keep an answer to a problem of the one practice set in the store."""
    engine = Engine(load())
    (of,) = Register(store).sets()

    def keep(sent: dict[str, Any]) -> None:
        member = Claims(store, of).member(sent["token"])
        assert member is not None
        ClassWork(store, engine, of, member).answer(1 + sent["number"] % PLACES, "9", key=sent["key"])

    return keep


def app(keep: Callable[[dict[str, Any]], None]) -> Starlette:
    async def answer(request: Request) -> Response:
        try:
            await asyncio.to_thread(partial(keep, await request.json()))
        except StoreError as error:
            return PlainTextResponse(str(error), 503)
        return PlainTextResponse("kept")

    return Starlette(routes=[Route("/answer", answer, methods=["POST"]), Route("/", lambda _: Response())])


if __name__ == "__main__":
    kind, port, address = sys.argv[1:]
    keep = {"record": to_record, "class": to_class}[kind](Store.open(address))
    uvicorn.run(app(keep), host="127.0.0.1", port=int(port), log_level="warning")
