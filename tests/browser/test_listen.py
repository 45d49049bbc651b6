"""The tutor at another address of this machine, as learners' own devices reach it."""

import socket
from contextlib import closing

import pytest

pytestmark = pytest.mark.browser


def test_a_page_comes_from_the_address_named_and_from_no_other(listening, wanderer):
    someone = wanderer()
    someone.go(f"{listening.address}/practice?exercise=most-modules-in-series&number=1")
    assert someone.hears("Number of modules in series")
    with closing(socket.socket()) as probe, pytest.raises(ConnectionRefusedError):
        probe.connect(("127.0.0.1", listening.port))
