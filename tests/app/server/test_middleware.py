import asyncio
from contextlib import closing
from datetime import UTC, datetime

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute

from tutor.app.server.middleware import (
    BROWSER,
    COOKIE,
    SECURITY_HEADERS,
    LearnerCookie,
    SecurityHeaders,
    SessionOwner,
    token,
)
from tutor.learner.record import hash_of
from tutor.learner.tokens import SOON, Tokens
from tutor.store.database import Store, StoreError


async def page(request):
    headers = {"etag": '"1"', "cache-control": "no-cache"}
    if request.headers.get("if-none-match") == '"1"':
        return Response(status_code=304, headers=headers)
    return HTMLResponse("<p>page</p>", headers=headers)


async def script(_request):
    return PlainTextResponse("script")


async def stream(websocket):
    await websocket.accept()
    STREAMED.append(websocket.headers.getlist(BROWSER))
    await websocket.close()


STREAMED = []


@pytest.fixture(scope="module", autouse=True)
def tokens(tmp_path_factory):
    """The tokens of a store, also for the application that all tests ask."""
    with closing(Store.open(str(tmp_path_factory.mktemp("store") / "store.sqlite3"))) as store:
        TOKENS.append(Tokens(store))
        yield TOKENS[-1]


TOKENS: list[Tokens] = []
APP = Starlette(
    routes=[Route("/", page), Route("/script", script), WebSocketRoute("/stream", stream)],
    middleware=[
        Middleware(SecurityHeaders),
        Middleware(LearnerCookie, tokens=lambda: TOKENS[-1]),
        Middleware(SessionOwner, tokens=lambda: TOKENS[-1]),
    ],
)


def ask(
    path: str = "/",
    cookie: str | None = None,
    scheme: str = "http",
    kind: str = "http",
    known: str = "",
    further: tuple[tuple[bytes, bytes], ...] = (),
):
    """Send one request through the ASGI application, of who holds the version `known` already; give what it sent."""
    headers = [(b"host", b"x"), *further] + ([(b"cookie", cookie.encode())] if cookie else [])
    headers += [(b"if-none-match", known.encode())] if known else []
    scope = {"type": kind, "path": path, "raw_path": path.encode(), "headers": headers, "scheme": scheme}
    scope |= {"query_string": b"", "method": "GET", "root_path": "", "http_version": "1.1"}
    sent = []

    async def receive():
        return {"type": "websocket.connect" if kind == "websocket" else "http.request"}

    async def send(message):
        sent.append(message)

    asyncio.run(APP(scope, receive, send))
    return sent


def headers_of(sent) -> list[tuple[str, str]]:
    return [(name.decode(), value.decode()) for name, value in sent[0]["headers"]]


def cookies_of(sent) -> list[str]:
    return [value for name, value in headers_of(sent) if name == "set-cookie"]


def test_a_page_asked_for_without_cookie_gets_one(tokens):
    (cookie,) = cookies_of(ask())
    name, value = cookie.split(";")[0].split("=", 1)
    assert name == COOKIE
    assert token({COOKIE: value}, tokens) == value
    assert "; HttpOnly" in cookie
    assert "; SameSite=Lax" in cookie
    assert "; Path=/" in cookie
    assert "; Max-Age=63072000" in cookie  # two years of 365 days
    assert "Secure" not in cookie


def test_a_cookie_is_kept_by_no_cache_for_somebody_else(tokens):
    """A cache on the way may keep what is not 'no-store', and send the cookie with it to the next one who asks."""
    told = dict(headers_of(ask()))
    assert told["cache-control"] == "no-store"
    assert "etag" not in told
    told = dict(headers_of(ask(cookie=f"{COOKIE}={tokens.issue()}")))
    assert (told["cache-control"], told["etag"]) == ("no-cache", '"1"')


def test_who_holds_the_page_but_no_cookie_gets_one(tokens):
    assert len(cookies_of(ask(known='"1"'))) == 1
    assert ask(known='"1"', cookie=f"{COOKIE}={tokens.issue()}")[0]["status"] == 304


def test_over_https_the_cookie_is_secure():
    assert cookies_of(ask(scheme="https"))[0].endswith("; Secure")


def test_a_known_learner_keeps_the_cookie(tokens):
    assert cookies_of(ask(cookie=f"other=1; {COOKIE}={tokens.issue()}")) == []


@pytest.mark.parametrize("forged", ["", "short", "x" * 4000, "../../etc/passwd", "é" * 32, "a" * 31 + ";", "a" * 43])
def test_a_forged_cookie_is_replaced_and_never_read(forged, tokens):
    assert token({COOKIE: forged}, tokens) is None
    assert len(cookies_of(ask(cookie=f"{COOKIE}={forged}"))) == 1


def test_scripts_and_pictures_set_no_cookie():
    assert cookies_of(ask("/script")) == []


def test_every_answer_has_the_security_headers():
    for path in ("/", "/script", "/missing"):
        assert set(SECURITY_HEADERS.items()) <= set(headers_of(ask(path)))


def test_who_opens_a_page_with_a_token_that_counts_no_more_gets_another(tokens, monkeypatch):
    """Also who holds the page already; a picture or a script brings none."""
    monkeypatch.setattr(Tokens, "is_superseded", lambda _self, _token, before: before < datetime.now(UTC) - SOON / 2)
    held, opening = f"{COOKIE}={tokens.issue()}", ((b"accept", b"text/html,*/*;q=0.8"),)
    for known in ("", '"1"'):
        (given,) = cookies_of(ask(cookie=held, further=opening, known=known))
        assert held not in given
    assert cookies_of(ask("/script", cookie=held)) == []


@pytest.mark.parametrize("held", ["a" * 43, None])
def test_a_page_is_given_while_the_store_does_not_answer(held, tokens, monkeypatch):
    """The page says so itself. Who holds no token gets one; what would have to be exchanged is kept."""

    def fail(*_args):
        raise StoreError("The store fails.")

    monkeypatch.setattr(Store, "reading", fail)
    sent = ask(cookie=held and f"{COOKIE}={held}")
    assert sent[0]["status"] == 200
    assert len(cookies_of(sent)) == (0 if held else 1)


def named(cookie: str | None = None, further: tuple[tuple[bytes, bytes], ...] = ()) -> str:
    """By which name Streamlit hears of a websocket's browser."""
    told = [message["type"] for message in ask("/stream", cookie, kind="websocket", further=further)]
    assert told == ["websocket.accept", "websocket.close"]
    (name,) = STREAMED.pop()
    return name


def test_a_browser_has_one_name_and_one_without_a_cookie_has_another_each_time(tokens):
    held = tokens.issue()
    assert named(f"{COOKIE}={held}") == named(f"{COOKIE}={held}") == hash_of(held)
    assert named(f"{COOKIE}={tokens.issue()}") != hash_of(held)
    assert len({named(cookie) for cookie in (None, None, f"{COOKIE}=forged", f"{COOKIE}=forged")}) == 4


def test_a_name_that_somebody_sends_is_dropped(tokens):
    forged = ((BROWSER.encode(), b"x"), (BROWSER.encode(), b"y"))
    assert named(further=forged) not in ("x", "y")
    held = tokens.issue()
    assert named(f"{COOKIE}={held}", forged) == hash_of(held)
