"""What every answer of the server carries: the learner's cookie and the security headers."""

import re
from collections.abc import Mapping

from starlette.datastructures import MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tutor.learner.record import new_token

COOKIE = "coldmorning_learner"
TWO_YEARS = 2 * 365 * 24 * 3600
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")
_CONDITIONS = (b"if-none-match", b"if-modified-since")

# Streamlit styles its elements in place and draws pictures from data addresses; nothing else needs more than 'self'.
CONTENT_POLICY = "; ".join(
    [
        "default-src 'self'",
        "script-src 'self'",
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


def token(cookies: Mapping[str, str]) -> str | None:
    """Read the learner's token from a request's cookies; None if there is none, or none of our making."""
    found = cookies.get(COOKIE, "")
    return found if _TOKEN.fullmatch(found) else None


class LearnerCookie:
    """Gives a browser that opens a page its learner token, once."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Add the cookie to pages (not to scripts, pictures or the websocket) asked for without one."""
        if scope["type"] != "http" or token(_cookies(scope)) is not None:
            await self.app(scope, receive, send)
            return

        async def send_with_cookie(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if headers.get("content-type", "").startswith("text/html"):
                    headers.append("set-cookie", _cookie(new_token(), secure=scope["scheme"] == "https"))
                    headers["cache-control"] = "no-store"  # else a cache on the way may give the cookie to others
                    del headers["etag"]
            await send(message)

        await self.app(_unconditional(scope), receive, send_with_cookie)


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


def _cookies(scope: Scope) -> Mapping[str, str]:
    sent = b"; ".join(value for name, value in scope["headers"] if name == b"cookie")
    return cookie_parser(sent.decode("latin-1"))


def _cookie(value: str, *, secure: bool) -> str:
    cookie = f"{COOKIE}={value}; Path=/; Max-Age={TWO_YEARS}; HttpOnly; SameSite=Lax"
    return f"{cookie}; Secure" if secure else cookie
