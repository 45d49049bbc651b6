"""Files to download: each made when its link is followed, for the browser whose page shows the link, and for no other.

The framework's own button keeps the file among those of all sessions, and another session's run may take it away first.
"""

import asyncio
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from urllib.parse import quote
from weakref import WeakValueDictionary

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from streamlit.runtime import get_instance
from streamlit.runtime.scriptrunner import get_script_run_ctx

from tutor.app.config import tokens
from tutor.app.server.middleware import token
from tutor.base.errors import FaultyRequestError
from tutor.store.database import StoreError

ADDRESS = "/coldmorning/download"
_KEPT = "desk downloads"  # the desk forgets what begins with its name when it is left
MOST_OF_PAGE = 20  # the desk's tabs offer a dozen
# A page's downloads live in its session's state, and go with it.
_offered: WeakValueDictionary[str, "Download"] = WeakValueDictionary()
# One file of a browser is made at a time: many at once would take all threads.
_turns: WeakValueDictionary[str, asyncio.Lock] = WeakValueDictionary()


@dataclass(eq=False)
class Download:
    """A file that a page offers: who may have it, and how it is made."""

    key: str
    session: str
    learner: str
    make: Callable[[], bytes | str]
    file_name: str
    kind: str


def offer(label: str, make: Callable[[], bytes | str], file_name: str, kind: str, *, first: bool = False) -> None:
    """Show a link that downloads what `make` gives, of the media type `kind`; `first`: it is what to do next."""
    offers: dict[str, Download] = st.session_state.setdefault(_KEPT, {})
    context = get_script_run_ctx()
    session = context.session_id if context else ""
    key = offers[label].key if label in offers else secrets.token_urlsafe(32)
    download = Download(key, session, st.session_state.get("learner", ""), make, file_name, kind)
    offers.pop(label, None)
    offers[label] = _offered[key] = download
    for label_ in list(offers)[:-MOST_OF_PAGE]:
        del offers[label_]
    look = "download first" if first else "download"
    st.html(f'<a class="{look}" role="button" href="{ADDRESS}/{key}" download>{escape(label)}</a>')


async def send(request: Request) -> Response:
    """Send a file to the browser whose page offers it, as long as the page is open."""
    offered = _offered.get(request.path_params["key"])
    if offered is None or not get_instance().is_active_session(offered.session):
        return _refusal("This file is not offered any more. Open its page again.", 404)
    if token(request.cookies, tokens()) != offered.learner:
        return _refusal("This file belongs to another browser. Allow cookies, and open its page in this browser.", 403)
    try:
        async with _turns.setdefault(offered.learner, asyncio.Lock()):
            content = await run_in_threadpool(offered.make)
    except StoreError as error:
        return _refusal(error.page or "The database does not answer just now. Wait a moment and try again.", 503)
    except FaultyRequestError as error:
        return _refusal(str(error), 403)
    name = f"attachment; filename*=UTF-8''{quote(offered.file_name, safe='')}"
    return Response(
        content, media_type=offered.kind, headers={"content-disposition": name, "cache-control": "no-store"}
    )


def _refusal(sentence: str, status: int) -> Response:
    return PlainTextResponse(sentence, status, headers={"cache-control": "no-store"})


ROUTE = Route(ADDRESS + "/{key}", send, methods=["GET"])
