"""A store's file removed, replaced or cut short under a program that uses it: no write is taken for kept.

SQLite itself reports no error in most of these cases ("How To Corrupt An SQLite Database File", sections 2.4 and 4).
"""

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import func, insert, select

from tutor.learner.record import Attempt, Record
from tutor.store.database import Store, StoreError
from tutor.store.tables import setting


@pytest.fixture
def path(tmp_path):
    folder = tmp_path / "kept"
    folder.mkdir()
    return folder / "a store?%41#.sqlite3"  # characters that mean something in a URL


def answer(store, number):
    return Record(store, "a learner").add(
        Attempt(exercise="e", version="1", number=number, ask="a", rulebook="us", entry="9", verdict="right")
    )


def companion(path, kind):
    return path.with_name(f"{path.name}-{kind}")


def replace_by_another(path):
    other = path.with_name("other")
    Store.open(str(other)).close()
    other.replace(path)


def replace_by_its_copy(path):
    copy = path.with_name("copy")
    shutil.copyfile(path, copy)
    copy.replace(path)


def cut(share):
    def cut(path):
        with path.open("r+b") as file:
            file.truncate(int(path.stat().st_size * share))

    return cut


ATTACKS = {
    "deleted": Path.unlink,
    "moved": lambda path: path.rename(path.with_name("elsewhere")),
    "folder deleted": lambda path: shutil.rmtree(path.parent),
    "replaced by another store": replace_by_another,
    "replaced by its copy": replace_by_its_copy,
    "replaced by an empty file": lambda path: (path.unlink(), path.touch()),
    "replaced by a folder": lambda path: (path.unlink(), path.mkdir()),
    "emptied": cut(0),
    "cut in half": cut(0.5),
    "its log deleted": lambda path: companion(path, "wal").unlink(),
    "its index of the log deleted": lambda path: companion(path, "shm").unlink(),
}


@pytest.mark.parametrize("attack", ATTACKS.values(), ids=ATTACKS)
def test_no_answer_is_taken_for_kept_and_no_store_is_made(path, attack):
    with closing(Store.open(str(path))) as store:
        answer(store, 1)
        attack(path)
        there = sorted(path.parent.rglob("*")) if path.parent.exists() else None
        size = path.stat().st_size if path.is_file() else None
        for use in (lambda: answer(store, 2), Record(store, "a learner").attempts, store.prove_writable) * 2:
            with pytest.raises(StoreError, match=r"was removed, replaced, or cut short while it was in use") as caught:
                use()
            assert "was not saved, and earlier work may be missing too" in caught.value.page
            assert str(path) not in caught.value.page
        assert (sorted(path.parent.rglob("*")) if path.parent.exists() else None) == there
        assert (path.stat().st_size if path.is_file() else None) == size


def test_a_link_that_leads_to_another_store(path):
    first, second = path.with_name("first"), path.with_name("second")
    for one in (first, second):
        Store.open(str(one)).close()
    path.symlink_to(first)
    with closing(Store.open(str(path))) as store:
        answer(store, 1)
        path.unlink()
        path.symlink_to(second)
        with pytest.raises(StoreError, match="was removed, replaced"):
            answer(store, 2)
    with closing(Store.open(str(second))) as other:
        assert Record(other, "a learner").attempts() == []


def test_a_file_taken_away_in_the_middle_of_a_write(path):
    def work(connection):
        connection.execute(insert(setting).values(learner_id=1, name="units", value=1))
        path.unlink()

    with closing(Store.open(str(path))) as store, pytest.raises(StoreError, match="was removed, replaced"):
        store.write(work)


def test_a_file_put_back_is_the_stores_again(path):
    with closing(Store.open(str(path))) as store:
        away = path.rename(path.with_name("away"))
        with pytest.raises(StoreError):
            answer(store, 1)
        away.rename(path)
        assert answer(store, 2).number == 2


def test_what_grows_and_what_others_do_is_no_loss(path):
    """Its log is written back and emptied, other programs open and close it, a second store of the process too."""
    with closing(Store.open(str(path))) as store:
        for number in range(30):
            store.write(lambda connection, at=number: fill(connection, at))
            with closing(Store.open(str(path))) as other:
                answer(other, number)
            if number % 10 == 0:
                store.clear_leftovers()
        with closing(sqlite3.connect(path)) as plain:
            assert plain.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
        assert companion(path, "wal").stat().st_size == 0
        answer(store, 99)
        with store.reading() as connection:
            assert connection.scalar(select(func.count()).select_from(setting)) == 30


def fill(connection, at):
    connection.execute(insert(setting).values(learner_id=1, name=str(at), value="x" * 100_000))


@pytest.mark.parametrize("how", [Path.unlink, cut(0)], ids=["gone", "empty"])
def test_a_store_that_left_its_log_behind_is_not_made_anew(path, how):
    with closing(Store.open(str(path))) as store:
        answer(store, 1)
        log = companion(path, "wal").read_bytes()
    companion(path, "wal").write_bytes(log)
    how(path)
    before = sorted(path.parent.iterdir())
    with pytest.raises(StoreError, match=r"is gone or empty, but its log .* is still there. Put a copy"):
        Store.open(str(path))
    assert sorted(path.parent.iterdir()) == before
    assert companion(path, "wal").read_bytes() == log


def test_a_store_is_empty_until_somebody_works_with_it(store_address):
    """So the server's first line tells it also where a command has made the store anew in the meantime."""
    for _ in "made", "opened":
        with closing(Store.open(store_address)) as store:
            assert store.is_empty()
    with closing(Store.open(store_address)) as store:
        answer(store, 1)
        assert not store.is_empty()


def test_looking_for_the_file_costs_next_to_nothing(path):
    """Processor time: a write waits milliseconds for the disk, and it is looked at twice."""
    with closing(Store.open(str(path))) as store:
        began = time.process_time()
        for _ in range(1000):
            store._look_for_file()
        assert (time.process_time() - began) / 1000 < 100e-6


@pytest.fixture
def small_disk(tmp_path):
    """A folder on a disk of 1 MB."""
    folder = tmp_path / "small"
    folder.mkdir()
    if (
        os.geteuid() != 0
        or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=False).returncode
    ):
        pytest.skip("a small disk can be mounted by the administrator alone")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


def test_a_full_disk_is_named_and_loses_nothing(small_disk):
    with closing(Store.open(str(small_disk / "store.sqlite3"))) as store:
        kept = []

        def go_on():
            for number in range(10_000):
                kept.append(answer(store, number).number)

        with pytest.raises(StoreError, match=r"has no room left on its disk\. Free some space") as caught:
            go_on()
        assert caught.value.page.startswith("The disk that keeps your work is full, so what you did last was not saved")
        assert [one.number for one in Record(store, "a learner").attempts()] == kept
    (small_disk / "filler").write_bytes(b"")
    fill_up(small_disk / "filler")
    with pytest.raises(StoreError, match=r"has no room left on its disk"):
        Store.open(str(small_disk / "other.sqlite3"))


def fill_up(file):
    with file.open("wb", buffering=0) as filler:
        try:
            while True:
                filler.write(b"x" * 4096)
        except OSError:
            return


def test_a_file_that_may_grow_no_more_is_told(path):
    """As under a quota: SQLite's word for it is 'disk I/O error' (the limit is RLIMIT_FSIZE of setrlimit(2))."""
    code = """
import resource, sys
from tutor.store.database import Store, StoreError
from tutor.learner.record import Record

store = Store.open(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
try:
    for number in range(10_000):
        Record(store, "a learner").keep_setting(str(number), "x" * 1000)
except StoreError as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert "met a fault of its disk. The disk may be failing, over its quota, or write-protected" in done.stdout


@pytest.fixture
def protect():
    """protect(path): nobody can change a file or folder until the test is over."""
    protected = []

    def protect(path):
        if (
            shutil.which("chattr") is None
            or subprocess.run(["chattr", "+i", path], check=False, capture_output=True).returncode
        ):
            pytest.skip("only the administrator of a disk that knows this flag can protect a file from all")
        protected.append(path)

    yield protect
    for path in protected:
        subprocess.run(["chattr", "-i", path], check=True)


PROTECTED = r"cannot be written\. Change its permissions or the write protection of its file, folder, or disk"


def test_an_immutable_store_is_named_at_its_opening(path, protect):
    Store.open(str(path)).close()
    protect(path)
    with pytest.raises(StoreError, match=PROTECTED):
        Store.open(str(path))


def test_a_store_made_immutable_in_use_is_named(path, protect):
    with closing(Store.open(str(path))) as store:
        answer(store, 1)
        protect(companion(path, "wal"))
        protect(path)
        with pytest.raises(StoreError, match=PROTECTED) as caught:
            answer(store, 2)
        assert caught.value.page.startswith("The file that keeps your work is write-protected")
        assert [one.number for one in Record(store, "a learner").attempts()] == [1]


def test_a_store_in_an_immutable_folder(path, protect):
    Store.open(str(path)).close()
    protect(path.parent)
    with pytest.raises(StoreError, match=PROTECTED):
        Store.open(str(path))
    with pytest.raises(StoreError, match=r"cannot be made \(Operation not permitted\)\. Change the permissions or"):
        Store.open(str(path.with_name("another")))


def test_a_table_that_is_gone_is_named(store_address):
    with closing(Store.open(store_address)) as store:
        answer(store, 1)
        store.write(lambda connection: connection.exec_driver_sql("DROP TABLE attempt"))
        for use in (lambda: answer(store, 2), Record(store, "a learner").attempts):
            with pytest.raises(StoreError, match=r"has lost one of its tables\. Put a copy back") as caught:
                use()
            assert "earlier work may be missing" in caught.value.page
    with pytest.raises(StoreError, match=r"has lost its table 'attempt'\. Put a copy back with 'coldmorning restore'"):
        Store.open(store_address)
