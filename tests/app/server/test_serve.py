import asyncio
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import closing, contextmanager

import pytest
from starlette.requests import Request
from streamlit import config as streamlit_config
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from tutor.app import config, session
from tutor.app.server import health, serve
from tutor.store.database import Store


@pytest.fixture
def taken():
    with socket.socket() as holder:
        holder.bind((serve.ADDRESS, 0))
        holder.listen()
        yield holder.getsockname()[1]


def test_the_server_knows_every_option():
    unknown = [name for name in serve.OPTIONS if name not in streamlit_config._config_options_template]
    assert unknown == []


def test_the_switch_for_the_collection_after_each_run_still_exists():
    assert streamlit_config._config_options_template["runner.postScriptGC"].default_val is True


def test_a_port_that_is_taken_is_said(taken):
    with pytest.raises(serve.PortTakenError, match=f"Port {taken} is in use. Name another one with --port"):
        serve.free_port(taken)


def test_a_taken_usual_port_leads_to_the_next(taken, monkeypatch):
    monkeypatch.setattr(serve, "DEFAULT_PORT", taken)
    assert taken < serve.free_port(None) < taken + serve.PORTS_TRIED


def test_no_port_in_the_range_is_said(taken, monkeypatch):
    monkeypatch.setattr(serve, "DEFAULT_PORT", taken)
    monkeypatch.setattr(serve, "PORTS_TRIED", 1)
    with pytest.raises(serve.PortTakenError, match=f"No port from {taken} to {taken} is free"):
        serve.free_port(None)


@pytest.mark.parametrize("text", ["127.0.0.2", " 127.0.0.1 "])
def test_an_address_of_this_machine_is_taken(text):
    assert serve.own_address(text) == text.strip()


@pytest.mark.parametrize("text", ["203.0.113.7", "::1", "school.example", "", "127.0.0.1:80", "127.0.0.1/8", "9" * 400])
def test_an_address_that_is_not_this_machines_is_refused(text):
    # 203.0.113.0/24 is for documentation (RFC 5737), so that no machine has it
    with pytest.raises(serve.AddressError, match="is no IPv4 address of this machine"):
        serve.own_address(text)


def test_the_address_that_stands_for_all_is_refused():
    with pytest.raises(serve.AddressError, match="stands for every network"):
        serve.own_address("0.0.0.0")


def test_a_port_is_free_or_taken_for_each_address(taken):
    assert serve.free_port(taken, "127.0.0.2") == taken


@pytest.mark.parametrize(
    ("names", "peer", "forwarded", "client"),
    [
        ([], "127.0.0.1", "203.0.113.9", "127.0.0.1"),
        (["class.example"], "127.0.0.1", "203.0.113.9", "203.0.113.9"),
        (["class.example"], "192.0.2.20", "203.0.113.9", "203.0.113.9"),
        (["class.example"], "192.0.2.21", "203.0.113.9", "192.0.2.21"),
        (["class.example"], "127.0.0.1", "198.51.100.1, 203.0.113.9", "203.0.113.9"),
        (["class.example"], "127.0.0.1", "2001:db8::1", "2001:db8::1"),
        (["class.example"], "127.0.0.1", None, "127.0.0.1"),
    ],
)
def test_only_a_front_proxy_on_this_machine_says_whence_a_request_comes(names, peer, forwarded, client):
    """By the server's own reading of the header; what a client wrote into it stands before what the proxy adds."""
    seen = []

    async def app(scope, _receive, _send):
        seen.append(scope["client"][0])

    headers = [(b"x-forwarded-for", forwarded.encode())] if forwarded else []
    scope = {"type": "websocket", "client": (peer, 1), "headers": headers, "scheme": "ws"}
    door = ProxyHeadersMiddleware(app, trusted_hosts=serve.forwarders("192.0.2.20", names))
    asyncio.run(door(scope, None, None))
    assert seen == [client]


def test_what_is_warmed_exists():
    serve.warm()


def test_ctrl_c_ends_it_without_a_traceback(tmp_path):
    with started(tmp_path / "store") as (port, process):
        process.send_signal(signal.SIGINT)
        said = process.communicate(timeout=20)[0].decode()
    welcome, empty, desk = said.splitlines()
    assert welcome == f"Cold Morning is at http://127.0.0.1:{port}. Stop it with Ctrl+C."
    assert empty == serve.EMPTY_STORE.format(place=tmp_path / "store")
    assert re.fullmatch(r"The class desk has no passphrase yet. Its set-up code, for a day: [0-9a-f]{16}", desk)
    assert process.returncode == 0


def test_health_follows_the_store_and_no_other_store_is_made(tmp_path, wait_until):
    """The store is deleted before any page was opened, and so before any page could have opened it."""
    store = tmp_path / "store"
    with started(store) as (port, process):
        assert healthy(port)
        away = store.rename(tmp_path / "away")
        assert wait_until(lambda: not healthy(port), 10 * health.HELD_FOR)
        assert not store.exists()
        away.rename(store)
        assert wait_until(lambda: healthy(port), 10 * health.HELD_FOR)
        process.kill()
        process.communicate()


def test_many_questions_after_the_health_are_one_write(tmp_path, monkeypatch):
    with closing(Store.open(str(tmp_path / "store"))) as store:
        tried = []

        async def ask():
            return await asyncio.gather(*(health.health(Request({"type": "http"})) for _ in range(20)))

        monkeypatch.setattr(config, "_settings", config.Settings(opened=store))
        monkeypatch.setattr(health, "_state", (-health.HELD_FOR, True))
        monkeypatch.setattr(store, "prove_writable", lambda: tried.append(1))
        session.store.cache_clear()
        try:
            assert {answer.status_code for answer in asyncio.run(ask())} == {200}
        finally:
            session.store.cache_clear()
        assert len(tried) == 1


@contextmanager
def started(store):
    """A server in a process of its own on a port of its own, once it answers."""
    # an explicit port, so that the line of welcome is the same whether or not the usual one is free
    port = serve.free_port(None)
    start = f"from tutor.app.server.serve import serve; serve({port}, False, {str(store)!r}, None)"
    with subprocess.Popen([sys.executable, "-c", start], stdout=subprocess.PIPE, stderr=subprocess.STDOUT) as process:
        try:
            deadline = time.monotonic() + 30
            while not healthy(port, "/_stcore/health") and time.monotonic() < deadline:
                time.sleep(0.1)
            yield port, process
        finally:
            process.kill()


def healthy(port: int, route: str = health.ADDRESS) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{route}", timeout=5) as answer:
            return answer.status == 200
    except (urllib.error.URLError, OSError):
        return False
