"""Text that a learner has typed into a class's problem and not sent: kept while they type, without a run of the page.

Streamlit sends nothing of a form before its button is pressed. So a script (static/class-work.js) sends what is typed
to a route of its own; the learner's cookie says whose it is.
"""

import asyncio
from weakref import WeakValueDictionary

from pydantic import BaseModel, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from tutor.app.config import tokens
from tutor.app.server.middleware import token
from tutor.base.errors import FaultyRequestError
from tutor.store.database import StoreError

ADDRESS = "/coldmorning/draft"
MOST_BYTES = 16_000
LONGEST = 2000


# A browser has one draft kept at a time: many sent at once would take all threads, and keep others from the store.
_turns: WeakValueDictionary[str, asyncio.Lock] = WeakValueDictionary()


class Draft(BaseModel):
    """Unsent text: the set's code, the place, the field and what is in its box."""

    code: str = Field(max_length=20)
    place: int = Field(ge=1, le=1000)
    field: str = Field(max_length=80)
    text: str = Field(max_length=LONGEST)


def key(code: str, place: int, field: str) -> str:
    """The key of a box by which the script knows what is typed there."""
    return f"draft {code} {place} {field}"


async def keep_draft(request: Request) -> Response:
    """Keep a draft of the member whose browser asks; whoever is no member of the set's class keeps nothing."""
    sent_by = token(request.cookies, tokens())
    if sent_by is None or request.headers.get("content-type") != "application/json":
        return PlainTextResponse("Open the class work page first.", 403)
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > MOST_BYTES:
            return PlainTextResponse("This is too long to be kept.", 413)
    try:
        draft = Draft.model_validate_json(bytes(body))
        async with _turns.setdefault(sent_by, asyncio.Lock()):
            await run_in_threadpool(_keep_draft, sent_by, draft)
    except ValidationError:
        return PlainTextResponse("This is no draft.", 400)
    except StoreError:
        return PlainTextResponse("The store does not answer just now.", 503)
    except FaultyRequestError as error:
        return PlainTextResponse(str(error), 409)
    return Response(status_code=204)


def _keep_draft(sent_by: str, draft: Draft) -> None:
    from tutor.app import session  # noqa: PLC0415 - it reads the settings of the module that starts the server
    from tutor.classroom.errors import ClassError  # noqa: PLC0415
    from tutor.classroom.roster.claims import Claims  # noqa: PLC0415 - sympy is loaded while the server answers already
    from tutor.classroom.roster.register import Register  # noqa: PLC0415
    from tutor.classroom.sets.work import ClassWork  # noqa: PLC0415

    practice_set = Register(session.store()).set_of_code(draft.code)
    member = Claims(session.store(), practice_set).member(sent_by)
    if member is None:
        raise ClassError("Take your name on the class list first.")
    ClassWork(session.store(), session.engine(), practice_set, member).keep_draft(draft.place, draft.field, draft.text)


ROUTE = Route(ADDRESS, keep_draft, methods=["POST"])
