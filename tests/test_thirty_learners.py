"""Thirty learners answer at once while the server is killed, or the database restarted underneath it.

No answer that was acknowledged is lost, none is counted twice, and everybody gets through in the end.
"""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import select

from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.store import tables
from tutor.store.database import Store

LEARNERS = 30
EACH = 9
SERVER = Path(__file__).with_name("answering.py")
KEYS = {"record": tables.attempt.c.key, "class": tables.class_answer.c.key}
everywhere = pytest.mark.parametrize("kind", ["record", "class"])


class Answering:
    """The server in a process of its own; it can be killed and started again on its port and store."""

    def __init__(self, kind, store_address, log):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}/"
        self._command = [sys.executable, str(SERVER), kind, str(self.port), store_address]
        self._log = log
        self.start()

    def start(self):
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(self._command, stdout=log, stderr=log)
        deadline = time.monotonic() + 60
        while True:
            try:
                urllib.request.urlopen(self.url, timeout=5).close()
            except OSError:
                assert self._process.poll() is None, self._log.read_text()
                assert time.monotonic() < deadline, self._log.read_text()
                time.sleep(0.05)
            else:
                return

    def kill(self):
        if self._process.poll() is None:
            os.kill(self._process.pid, signal.SIGKILL)
        self._process.wait(timeout=10)


class Crowd:
    """Learners who each send their answers one after the other, the same one until it is acknowledged."""

    def __init__(self, url):
        self._url = url
        self.acknowledged = []
        self.sentences = []
        self.gate = threading.Event()
        self.gate.set()
        self._sending = [threading.Thread(target=self._answer_all, args=(at,)) for at in range(LEARNERS)]
        for one in self._sending:
            one.start()

    def wait_for(self, answers):
        """Wait until so many answers are acknowledged."""
        deadline = time.monotonic() + 60
        while len(self.acknowledged) < answers:
            assert time.monotonic() < deadline, self.sentences[-1:]
            time.sleep(0.005)

    def join(self):
        for one in self._sending:
            one.join(timeout=120)
            assert not one.is_alive(), self.sentences[-1:]

    def _answer_all(self, learner):
        for number in range(EACH):
            sent = {"token": token(learner), "number": number, "key": f"{learner} {number}"}
            while not self._acknowledges(sent):
                time.sleep(0.05)
            self.acknowledged.append(sent["key"])
            if number % 4 == 0:  # the reply seems lost, the button is pressed once more
                self._acknowledges(sent)

    def _acknowledges(self, sent):
        self.gate.wait()
        request = urllib.request.Request(self._url + "answer", json.dumps(sent).encode())
        try:
            with urllib.request.urlopen(request, timeout=30) as reply:
                return reply.status == 200
        except urllib.error.HTTPError as error:
            self.sentences.append(error.read().decode())
        except OSError:
            pass  # no server at the moment
        return False


def token(learner):
    return f"browser of learner {learner}"


def open_class(store_address, engine):
    """A practice set, and every learner on the roster with their name taken and the problems handed out."""
    declared = PracticeSet(
        id="series", title="Series strings", items=[Item(exercise="most-modules-in-series", problems=2)], attempts=20
    )
    with closing(Store.open(store_address)) as store:
        of = Register(store).open_set(declared)
        Register(store).enter([Member(id=0, name=f"Learner {at}") for at in range(LEARNERS)])
        codes = list(Register(store).personal_codes().values())
        for at in range(LEARNERS):
            Claims(store, of).claim(token(at), f"Learner {at}", codes[at])
        hand_out(store, engine, of)


def kept(store_address, kind):
    with closing(Store.open(store_address)) as store, store.reading() as connection:
        return Counter(connection.scalars(select(KEYS[kind])))


@pytest.fixture
def server(kind, store_address, engine, tmp_path):
    if kind == "class":
        open_class(store_address, engine)
    running = Answering(kind, store_address, tmp_path / "server.log")
    yield running
    running.kill()


def check_all_kept_once(crowd, store_address, kind):
    crowd.join()
    wanted = Counter(f"{learner} {number}" for learner in range(LEARNERS) for number in range(EACH))
    assert Counter(crowd.acknowledged) == wanted
    assert kept(store_address, kind) == wanted


@pytest.mark.long
@pytest.mark.one_in(2)
@everywhere
def test_a_killed_server_loses_nothing_and_counts_nothing_twice(kind, server, store_address):
    crowd = Crowd(server.url)
    for third in (1, 2):
        crowd.wait_for(LEARNERS * EACH * third // 3)
        server.kill()
        there = kept(store_address, kind)
        lost = set(crowd.acknowledged) - set(there)
        assert lost == set()
        assert len(there) - len(crowd.acknowledged) <= LEARNERS, "at most the one of each that was under way"
        server.start()
    check_all_kept_once(crowd, store_address, kind)
    assert crowd.sentences == []


@pytest.mark.long
@pytest.mark.one_in(2)
@everywhere
@pytest.mark.parametrize("store_address", ["postgresql"], indirect=True)
@pytest.mark.parametrize("how", ["fast", "immediate"])
def test_a_database_restarted_underneath_is_told_and_loses_nothing(kind, server, store_address, postgresql_server, how):
    crowd = Crowd(server.url)
    crowd.wait_for(LEARNERS * EACH // 3)
    postgresql_server.stop(how)
    while len(crowd.sentences) < LEARNERS:
        time.sleep(0.01)
    crowd.gate.clear()
    acknowledged = set(crowd.acknowledged)
    postgresql_server.start()
    assert acknowledged <= set(kept(store_address, kind))
    crowd.gate.set()
    check_all_kept_once(crowd, store_address, kind)
    assert [one for one in crowd.sentences if "cannot be reached. Wait a moment and try again" not in one] == []
