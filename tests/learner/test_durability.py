"""Nothing that was acknowledged is lost: not among writers side by side, not when the writer is killed."""

import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest

from tutor.learner.record import Attempt, Record
from tutor.store.database import Store

EACH = 200
WRITER = """
import sys
from tutor.learner.record import Attempt, Record
from tutor.store.database import Store

store_address, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
record = Record(Store.open(store_address), "one learner")
for number in range(count):
    record.add(Attempt(exercise=name, version="1", number=number, ask="a", rulebook="us", entry="9", verdict="right"))
    print(number, flush=True)
"""


def start_writer(store_address, name, count):
    command = [sys.executable, "-c", WRITER, store_address, name, str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def kept(store_address, name):
    with closing(Store.open(store_address)) as store:
        return [attempt.number for attempt in Record(store, "one learner").attempts(name)]


def test_two_threads_lose_nothing(store_address):
    def append(name):
        for number in range(EACH):
            Record(store, "one learner").add(
                Attempt(exercise=name, version="1", number=number, ask="a", rulebook="us", entry="9")
            )

    with closing(Store.open(store_address)) as store, ThreadPoolExecutor(2) as pool:
        list(pool.map(append, ["first", "second"]))
    assert kept(store_address, "first") == kept(store_address, "second") == list(range(EACH))


def test_two_processes_lose_nothing(store_address):
    writers = [start_writer(store_address, name, EACH) for name in ("first", "second")]
    assert [len(writer.communicate()[0].split()) for writer in writers] == [EACH, EACH]
    assert kept(store_address, "first") == kept(store_address, "second") == list(range(EACH))


def test_thirty_threads_share_the_pool(store_address):
    """More learners at once than the pool has connections."""

    def work(learner):
        record = Record(store, f"learner {learner}")
        for number in range(5):
            record.add(Attempt(exercise="e", version="1", number=number, ask="a", rulebook="us", entry="9"))
            record.keep_place({"number": str(number)})
        return len(record.attempts())

    with closing(Store.open(store_address)) as store, ThreadPoolExecutor(30) as pool:
        assert list(pool.map(work, range(30))) == [5] * 30


def test_one_key_from_two_processes_counts_once(store_address):
    same = WRITER.replace('rulebook="us"', 'rulebook="us", key=str(number)')
    command = [sys.executable, "-c", same, store_address, "same", "50"]
    writers = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    for writer in writers:
        writer.communicate()
    assert sorted(kept(store_address, "same")) == list(range(50))


@pytest.mark.one_in(2)
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a signal that cannot be caught")
@pytest.mark.parametrize("after", [1, 37, 150])
def test_a_killed_writer_has_kept_all_it_acknowledged(store_address, after):
    with start_writer(store_address, "killed", 100_000) as writer:
        heard = [writer.stdout.readline() for _ in range(after)]
        os.kill(writer.pid, signal.SIGKILL)
        heard += writer.stdout.read().split()
    acknowledged = [int(number) for number in heard]
    assert writer.returncode == -signal.SIGKILL
    assert acknowledged == list(range(len(acknowledged)))
    there = kept(store_address, "killed")
    assert there[: len(acknowledged)] == acknowledged
    assert len(there) - len(acknowledged) <= 1, "at most the one that was under way may be there too"
