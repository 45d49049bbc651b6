"""The way to a new token: a page's connection can set no cookie, so the page sends its browser to an address that does.

The handle in that address is good once, for a minute, and for the browser that holds the earlier token; it tells
nothing of the new one to who reads it in a log, and leads nowhere but to the set's page.
"""

from collections.abc import Mapping
from urllib.parse import urlencode

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime.scriptrunner import get_script_run_ctx

from tutor.app.config import tokens
from tutor.app.server.middleware import COOKIE, cookie
from tutor.learner.tokens import renewal_handle
from tutor.store.database import StoreError

ADDRESS = "/coldmorning/renewed"
FIRST = "first"
"""The query parameter of who has taken a name for the first time, and is shown its personal code."""
_KEPT = ("set", "place", FIRST)
_WAY = "way to the new token"


def lead(renewed: str, query: Mapping[str, str]) -> None:
    """Send the browser to fetch its new token, and from there to class work with some of `_KEPT` in the address."""
    st.session_state[_WAY] = f"{ADDRESS}?{urlencode({**query, 'handle': renewal_handle(renewed)})}"
    _reload()


def tell_superseded() -> None:
    """Say what a page can do whose token counts no more; the one that led the way is led once more."""
    if _WAY in st.session_state:
        _reload()
    st.info("Somebody took or left a name in this browser. Load this page again to go on. All that was saved is kept.")


def _reload() -> None:
    context = get_script_run_ctx()
    if context is not None:
        message = ForwardMsg()
        message.auth_redirect.url = st.session_state[_WAY]
        context.enqueue(message)


async def fetch(request: Request) -> Response:
    """Give the browser its new token as a cookie, and lead it back to the set."""
    params = request.query_params
    try:
        renewed = await run_in_threadpool(tokens().fetch, params.get("handle", ""), request.cookies.get(COOKIE, ""))
    except StoreError:
        return PlainTextResponse("The database does not answer just now. Load this page again in a moment.", 503)
    query = {name: params[name] for name in _KEPT if name in params}
    response = RedirectResponse(f"/class-work?{urlencode(query)}", 303, {"cache-control": "no-store"})
    if renewed is not None:
        response.headers.append("set-cookie", cookie(renewed, secure=request.url.scheme == "https"))
    return response


ROUTE = Route(ADDRESS, fetch, methods=["GET"])
