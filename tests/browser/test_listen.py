"""The tutor at another address of this machine, as learners' own devices reach it."""

import socket
from contextlib import closing

import pytest

from tests.browser.server import Server

pytestmark = pytest.mark.browser

ANOTHER = "127.0.0.2"  # Linux takes all of 127.0.0.0/8 for this machine (RFC 1122, 3.2.1.3)


@pytest.fixture
def listening(tmp_path):
    server = Server(tmp_path, listen=ANOTHER)
    server.start()
    yield server
    server.kill()


def test_a_page_comes_from_the_address_named_and_from_no_other(listening, wanderer):
    someone = wanderer()
    someone.go(f"{listening.address}/practice?exercise=most-modules-in-series&number=1")
    assert someone.hears("Number of modules in series")
    with closing(socket.socket()) as probe, pytest.raises(ConnectionRefusedError):
        probe.connect(("127.0.0.1", listening.port))
