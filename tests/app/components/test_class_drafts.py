"""The route that keeps unsent text: one browser has its drafts kept one after the other."""

import asyncio
import threading
import time

from starlette.requests import Request

from tutor.app.components import class_drafts
from tutor.app.server.middleware import COOKIE

BROWSERS = ("a.signed", "b.signed")
BODY = b'{"code": "KQ4-7MP", "place": 1, "field": "x", "text": "46"}'


def request(token):
    """A draft sent by the browser that holds a token."""

    async def receive():
        return {"type": "http.request", "body": BODY, "more_body": False}

    headers = [(b"content-type", b"application/json"), (b"cookie", f"{COOKIE}={token}".encode())]
    return Request({"type": "http", "method": "POST", "path": class_drafts.ADDRESS, "headers": headers}, receive)


def test_a_browser_that_sends_many_at_once_takes_one_turn_at_a_time(monkeypatch):
    lock, now, most = threading.Lock(), {}, {}

    def keep(sent_by, _draft):
        with lock:
            now[sent_by] = now.get(sent_by, 0) + 1
            most[sent_by] = max(most.get(sent_by, 0), now[sent_by])
            most["all"] = max(most.get("all", 0), sum(now.values()))
        time.sleep(0.03)
        with lock:
            now[sent_by] -= 1

    async def send():
        browsers = [BROWSERS[0]] * 8 + [BROWSERS[1]] * 4
        return await asyncio.gather(*(class_drafts.keep_draft(request(token)) for token in browsers))

    monkeypatch.setattr(class_drafts, "_keep_draft", keep)
    monkeypatch.setattr(class_drafts, "token", lambda cookies, _tokens: cookies[COOKIE])
    monkeypatch.setattr(class_drafts, "tokens", lambda: None)
    assert {answer.status_code for answer in asyncio.run(send())} == {204}
    assert most == {BROWSERS[0]: 1, BROWSERS[1]: 1, "all": 2}
