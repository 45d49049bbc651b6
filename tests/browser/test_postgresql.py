"""Several tutors on one PostgreSQL behind a front proxy serve one class, and a database that is gone for a while."""

import http.client
import importlib.util
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tutor.app.config import STORE_FAILED
from tutor.app.server.middleware import COOKIE
from tutor.learner.record import new_token

pytestmark = [pytest.mark.browser, pytest.mark.long]

PROBLEM = "/practice?exercise=most-modules-in-series&given=input_voltage_max=450 V&given=record_low=-24 degC"
CONNECTED = "[data-testid=stApp][data-test-connection-state=CONNECTED]"
LOST = "[data-testid=stApp]:not([data-test-connection-state=CONNECTED])"


def _neighbour(name):
    spec = importlib.util.spec_from_file_location(f"browser_{name}", Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


server_module = _neighbour("server")
StickyProxy = _neighbour("sticky").StickyProxy


@pytest.fixture
def store(postgresql_server):
    with postgresql_server.database() as url:
        yield url


@pytest.fixture
def tutors(store, tmp_path):
    """Two tutors on one store."""
    running = [server_module.Server(tmp_path, store) for _ in range(2)]
    for one in running:
        one.start()
    yield running
    for one in running:
        one.kill()


def cookie_of(head):
    found = re.search(rf"(?im)^cookie:.*\b{COOKIE}=([^;\s]+)", head)
    return found[1] if found else None


@pytest.fixture
def proxy(tutors):
    front = StickyProxy([one.port for one in tutors], cookie_of)
    yield front
    front.close()


def ports_of(proxy, token):
    return {port for learner, port in proxy.chosen if learner == token}


def gone_on(someone):
    someone.page.wait_for_selector(CONNECTED, state="attached")


def test_learners_are_spread_and_each_stays_with_one_server(proxy, tutors):
    tokens = [new_token() for _ in range(20)]
    for token in tokens * 2:
        connection = http.client.HTTPConnection("127.0.0.1", proxy.port)
        connection.request("GET", "/practice", headers={"Host": server_module.HOST_NAME, "Cookie": f"{COOKIE}={token}"})
        assert connection.getresponse().status == 200
        connection.close()
    assert [len(ports_of(proxy, token)) for token in tokens] == [1] * 20
    assert {port for _, port in proxy.chosen} == {one.port for one in tutors}


def test_a_learner_who_is_moved_between_servers_goes_on(proxy, tutors, learner):
    someone = learner(proxy.address + PROBLEM)
    someone.page.reload()  # the first page came without a cookie, so from any server
    someone.button("Check the answer").wait_for()
    someone.answer("98")
    (first,) = ports_of(proxy, someone.token())
    proxy.take_out(first)
    someone.page.wait_for_selector(LOST, state="attached")
    gone_on(someone)
    assert "97" in someone.answer("97")
    assert ports_of(proxy, someone.token()) == {one.port for one in tutors}
    assert someone.entries(tutors[0]) == ["98", "97"]
    proxy.bring_back(first)
    someone.page.reload()
    someone.button("Check the answer").wait_for()
    expect(someone.box).to_have_value("97")
    next(one for one in tutors if one.port == first).kill()
    someone.page.wait_for_selector(LOST, state="attached")
    gone_on(someone)
    assert "96" in someone.answer("96")
    assert someone.entries(tutors[0]) == ["98", "97", "96"]


def test_a_database_gone_for_a_while_is_told_and_then_it_goes_on(tutors, learner, postgresql_server):
    someone = learner(tutors[0].address + PROBLEM)
    someone.answer("98")
    postgresql_server.stop()
    try:
        someone.box.fill("97")
        someone.box.press("Enter")
        expect(someone.page.get_by_text(STORE_FAILED)).to_be_visible()
    finally:
        postgresql_server.start()
    someone.button("Try again").click()
    someone.button("Check the answer").wait_for()
    expect(someone.page.get_by_text(STORE_FAILED)).not_to_be_visible()
    expect(someone.box).to_have_value("98")
    assert "97" in someone.answer("97")
    assert someone.entries(tutors[0]) == ["98", "97"]


def test_a_host_name_of_the_proxy_is_let_in_and_the_cookie_is_for_https_only(tutors):
    def websocket(host):
        connection = http.client.HTTPConnection("127.0.0.1", tutors[0].port)
        connection.request(
            "GET",
            "/_stcore/stream",
            headers={
                "Host": host,
                "Origin": f"https://{host}",
                "Connection": "Upgrade",
                "Upgrade": "websocket",
                "Sec-WebSocket-Version": "13",
                "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # the example of RFC 6455, section 1.3
            },
        )
        return connection.getresponse().status

    assert websocket(server_module.HOST_NAME) == 101
    assert websocket("elsewhere.example") == 403
    connection = http.client.HTTPConnection("127.0.0.1", tutors[0].port)
    connection.request("GET", "/", headers={"Host": server_module.HOST_NAME, "X-Forwarded-Proto": "https"})
    assert "; Secure" in connection.getresponse().headers["set-cookie"]
