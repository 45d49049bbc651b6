import asyncio

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute

from tutor.app.middleware import COOKIE, SECURITY_HEADERS, LearnerCookie, SecurityHeaders, new_token, token


async def page(request):
    headers = {"etag": '"1"', "cache-control": "no-cache"}
    if request.headers.get("if-none-match") == '"1"':
        return Response(status_code=304, headers=headers)
    return HTMLResponse("<p>page</p>", headers=headers)


async def script(_request):
    return PlainTextResponse("script")


async def stream(websocket):
    await websocket.accept()
    await websocket.close()


APP = Starlette(
    routes=[Route("/", page), Route("/script", script), WebSocketRoute("/stream", stream)],
    middleware=[Middleware(SecurityHeaders), Middleware(LearnerCookie)],
)


def ask(path: str = "/", cookie: str | None = None, scheme: str = "http", kind: str = "http", known: str = ""):
    """Send one request through the ASGI application, of who holds the version `known` already; give what it sent."""
    headers = [(b"host", b"x")] + ([(b"cookie", cookie.encode())] if cookie else [])
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


def test_a_page_asked_for_without_cookie_gets_one():
    (cookie,) = cookies_of(ask())
    name, value = cookie.split(";")[0].split("=", 1)
    assert name == COOKIE
    assert token({COOKIE: value}) == value
    assert "; HttpOnly" in cookie
    assert "; SameSite=Lax" in cookie
    assert "; Path=/" in cookie
    assert "; Max-Age=63072000" in cookie  # two years of 365 days
    assert "Secure" not in cookie


def test_a_cookie_is_kept_by_no_cache_for_somebody_else():
    """A cache on the way may keep what is not 'no-store', and send the cookie with it to the next one who asks."""
    told = dict(headers_of(ask()))
    assert told["cache-control"] == "no-store"
    assert "etag" not in told
    told = dict(headers_of(ask(cookie=f"{COOKIE}={new_token()}")))
    assert (told["cache-control"], told["etag"]) == ("no-cache", '"1"')


def test_who_holds_the_page_but_no_cookie_gets_one():
    assert len(cookies_of(ask(known='"1"'))) == 1
    assert ask(known='"1"', cookie=f"{COOKIE}={new_token()}")[0]["status"] == 304


def test_over_https_the_cookie_is_secure():
    assert cookies_of(ask(scheme="https"))[0].endswith("; Secure")


def test_a_known_learner_keeps_the_cookie():
    assert cookies_of(ask(cookie=f"other=1; {COOKIE}={new_token()}")) == []


@pytest.mark.parametrize("forged", ["", "short", "x" * 4000, "../../etc/passwd", "é" * 32, "a" * 31 + ";"])
def test_a_forged_cookie_is_replaced_and_never_read(forged):
    assert token({COOKIE: forged}) is None
    assert len(cookies_of(ask(cookie=f"{COOKIE}={forged}"))) == 1


def test_scripts_and_pictures_set_no_cookie():
    assert cookies_of(ask("/script")) == []


def test_every_answer_has_the_security_headers():
    for path in ("/", "/script", "/missing"):
        assert set(SECURITY_HEADERS.items()) <= set(headers_of(ask(path)))


def test_a_websocket_passes():
    assert [message["type"] for message in ask("/stream", kind="websocket")] == ["websocket.accept", "websocket.close"]


def test_two_tokens_differ():
    assert new_token() != new_token()
