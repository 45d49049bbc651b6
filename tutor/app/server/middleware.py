"""Who is let in, by the names and ways that pages use, and whose a session is; and what every answer carries."""

import re
from base64 import b64encode
from collections.abc import Callable, Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path, PurePath

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.file_util import get_static_dir
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime import get_instance
from streamlit.web.server.starlette.starlette_websocket import is_host_allowed

from tutor.learner.record import hash_of, new_token
from tutor.learner.tokens import Tokens
from tutor.store.database import StoreError

COOKIE = "coldmorning_learner"
TWO_YEARS = 2 * 365 * 24 * 3600
BROWSER = "x-coldmorning-browser"
"""The header, made here and taken from nobody, by which Streamlit and the pages know whose a connection is."""
_UPLOAD = "/_stcore/upload_file/"
_CONDITIONS = (b"if-none-match", b"if-modified-since")
CLOSED = "/_stcore/metrics"  # how many people are here, and how much memory they take, is nobody else's business
PAGES_SEND = {"rerun_script", "stop_script", "app_heartbeat", "file_urls_request"}

# The framework's page has a script of one line in itself; only that very text may run.
_PAGE = (Path(get_static_dir()) / "index.html").read_text(encoding="utf-8")
_SCRIPTS = [
    f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"
    for text in re.findall(r"<script>(.*?)</script>", _PAGE, re.DOTALL)
]
# Streamlit styles its elements in place and draws pictures from data addresses; nothing else needs more than 'self'.
CONTENT_POLICY = "; ".join(
    [
        "default-src 'self'",
        "script-src 'self'",
        " ".join(["script-src-elem 'self'", *_SCRIPTS]),
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self' blob:",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    ]
)
SECURITY_HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=()",
}


def token(cookies: Mapping[str, str], tokens: Tokens) -> str | None:
    """Read the learner's token from a request's cookies; None if there is none, or none that the store issued."""
    value = str(cookies.get(COOKIE, ""))  # Streamlit's test driver has other things than text there
    return value if tokens.is_issued(value) else None


class Door:
    """Turns away what no page of ours asks for, and takes out of the framework's messages what is the server's own.

    Another site's script may reach this server by a name that it has pointed here (so the Host is looked at), or from
    another port of this machine (so the whole Origin is). An Origin has a scheme, a name and a port (RFC 6454); a
    front proxy leaves the Host as it is.
    """

    def __init__(self, app: ASGIApp, program: str) -> None:
        """`program` is the path of the script that runs for each page."""
        self.app, self.program = app, program

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request or a websocket in, or answer it with a sentence."""
        if scope["type"] not in {"http", "websocket"}:
            await self.app(scope, receive, send)
        elif (refusal := _refusal(scope)) is None:
            live = scope["type"] == "websocket"
            await self.app(scope, _pages_own(receive) if live else receive, self._without_path(send) if live else send)
        elif scope["type"] == "http":
            await refusal(scope, receive, send)
        else:
            await send({"type": "websocket.close", "code": 1008})

    def _without_path(self, send: Send) -> Send:
        """Name the program to a browser by its last part: where it lies is no one's business."""
        told = self.program.encode()

        async def sent(message: Message) -> None:
            if told in (message.get("bytes") or b""):
                forward = ForwardMsg.FromString(message["bytes"])
                if forward.HasField("new_session"):
                    forward.new_session.main_script_path = PurePath(self.program).name
                    message = {**message, "bytes": forward.SerializeToString()}
            await send(message)

        return sent


def _refusal(scope: Scope) -> PlainTextResponse | None:
    hosts, origins = (_values(scope, name) for name in (b"host", b"origin"))
    if len(hosts) != 1 or not is_host_allowed(hosts[0]):
        return PlainTextResponse("This server is not known by that name. Open the address that you were given.", 421)
    if scope["type"] == "http" and scope["path"].rstrip("/").endswith(CLOSED):
        return PlainTextResponse("This page is closed.", 404)
    changes = scope["type"] == "websocket" or scope["method"] not in {"GET", "HEAD", "OPTIONS"}
    own_origins = {f"{scheme}://{hosts[0]}".lower() for scheme in ("http", "https")}
    if changes and not own_origins.issuperset(origin.lower() for origin in origins):
        return PlainTextResponse("Only this server's own pages may send this.", 403)
    return None


def _pages_own(receive: Receive) -> Receive:
    """Pass on what our pages send; the framework also takes orders for developers, to everybody's cost."""

    async def received() -> Message:
        while True:
            message = await receive()
            try:
                kind = BackMsg.FromString(message.get("bytes") or b"").WhichOneof("type")
            except Exception:  # whatever the parser says of it: the framework closes the connection
                return message
            if kind is None or kind in PAGES_SEND:
                return message

    return received


class LearnerCookie:
    """Gives a browser that opens a page its learner token, and another one in the place of one that counts no more."""

    def __init__(self, app: ASGIApp, tokens: Callable[[], Tokens]) -> None:
        self.app, self.tokens = app, tokens

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Add the cookie to pages (not to scripts, pictures or the websocket) whose browser needs one."""
        cookie_value = _cookies(scope).get(COOKIE, "") if scope["type"] == "http" else ""
        if scope["type"] != "http" or (
            self.tokens().is_issued(cookie_value)
            and (not _opens_a_page(scope) or await self._due(cookie_value) is None)
        ):
            await self.app(scope, receive, send)
            return

        async def send_with_cookie(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if headers.get("content-type", "").startswith("text/html") and (due := await self._due(cookie_value)):
                    headers.append("set-cookie", cookie(due, secure=scope["scheme"] == "https"))
                    headers["cache-control"] = "no-store"  # else a cache on the way may give the cookie to others
                    del headers["etag"]
            await send(message)

        await self.app(_unconditional(scope), receive, send_with_cookie)

    async def _due(self, cookie_value: str) -> str | None:
        """The token that the browser needs; None while the store does not answer, which the page then says."""
        with suppress(StoreError):
            return await run_in_threadpool(self.tokens().for_page, cookie_value)
        return None


class SessionOwner:
    """Keeps each session to the browser that began it: its connection, and the files that are sent to it.

    Streamlit gives a session back to who names its id and is the same user; the user is what `BROWSER` says. The id
    stands in addresses, and so in the logs of a proxy. A browser without a cookie has a new name at each connection:
    its session ends with the connection.
    """

    def __init__(self, app: ASGIApp, tokens: Callable[[], Tokens]) -> None:
        self.app, self.tokens = app, tokens

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Name the browser of a connection; refuse files for another browser's session."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        cookie_value = token(_cookies(scope), self.tokens())
        if scope["type"] == "http" and not self._may_ask(scope["path"], cookie_value):
            refusal = PlainTextResponse("This belongs to a page that this browser does not show.", 404)
            await refusal(scope, receive, send)
            return
        name = hash_of(cookie_value) if cookie_value else new_token()
        headers = [(header, value) for header, value in scope["headers"] if header != BROWSER.encode()]
        await self.app({**scope, "headers": [*headers, (BROWSER.encode(), name.encode())]}, receive, send)

    def _may_ask(self, path: str, cookie_value: str | None) -> bool:
        if path.startswith(_UPLOAD):
            return cookie_value is not None and self._is_of(path.removeprefix(_UPLOAD).split("/")[0], cookie_value)
        return True

    def _is_of(self, session: str, cookie_value: str | None) -> bool:
        """Whether a session that is connected now belongs to the browser that holds a token, or to one without any."""
        client = get_instance().get_client(session)
        context = None if client is None else client.client_context
        return context is not None and token(context.cookies, self.tokens()) == cookie_value


class SecurityHeaders:
    """Adds the security headers to every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Add the headers; a websocket passes as it is."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(SECURITY_HEADERS)
            await send(message)

        await self.app(scope, receive, send_with_headers)


def _unconditional(scope: Scope) -> Scope:
    """The same request for the whole page, whatever version of it is held already: only that brings a cookie."""
    headers = [(name, value) for name, value in scope["headers"] if name not in _CONDITIONS]
    return {**scope, "headers": headers}


def _values(scope: Scope, wanted: bytes) -> list[str]:
    return [value.decode("latin-1") for name, value in scope["headers"] if name == wanted]


def _opens_a_page(scope: Scope) -> bool:
    return "text/html" in Headers(scope=scope).get("accept", "")


def _cookies(scope: Scope) -> Mapping[str, str]:
    return cookie_parser("; ".join(_values(scope, b"cookie")))


def cookie(value: str, *, secure: bool) -> str:
    """What sets the learner's cookie."""
    told = f"{COOKIE}={value}; Path=/; Max-Age={TWO_YEARS}; HttpOnly; SameSite=Lax"
    return f"{told}; Secure" if secure else told
