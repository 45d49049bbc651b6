"""A backup brings everything back, on either database; a file that is not whole changes nothing."""

import hashlib
import json
import os
import signal
import stat
import subprocess
import sys
import threading
import time
import tracemalloc
import zipfile
from contextlib import closing, suppress
from datetime import UTC, datetime
from itertools import repeat
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import create_engine, insert, select

from tutor.cli import main
from tutor.learner.record import Attempt, Record
from tutor.store import backup
from tutor.store.backup import LONGEST_ROW, BackupError, back_up, batches, restore
from tutor.store.database import Store
from tutor.store.migrations import migrate, revisions
from tutor.store.tables import SCHEMA, learner, metadata

WORK = {
    "givens": {"record_low": "−24 °C"},
    "steps": {"b": "46,76 V", "a": "\ud83d"},
    "mistakes": {"z": 0.1, "a": 1 / 3},
}


@pytest.fixture
def file(tmp_path):
    return tmp_path / "kept" / "class.backup"


@pytest.fixture(autouse=True)
def folder(file):
    file.parent.mkdir()
    return file.parent


@pytest.fixture
def other_address(tmp_path):
    return f"sqlite:///{tmp_path / 'other.sqlite3'}"


def fill(store, learners=3, attempts=4):
    for one in range(learners):
        record = Record(store, f"learner {one}")
        for number in range(attempts):
            record.add(
                Attempt(
                    exercise="e",
                    version="1",
                    number=2**62 + number,
                    ask="a",
                    rulebook="us",
                    entry="9 módulos ☀",
                    verdict="right",
                    seconds=0.1 + 0.2,
                    **WORK,
                )
            )
        record.keep_place({"page": "practice"})
        record.keep_setting("units", None)
        record.keep_draft("problem", "answer", "4\n6\u2028")


def everything(store):
    with store.reading() as connection:
        return {
            table.name: connection.execute(select(table).order_by(*table.primary_key)).all()
            for table in metadata.sorted_tables
        }


def test_everything_comes_back(store_address, other_address, file):
    with closing(Store.open(store_address)) as store, closing(Store.open(other_address)) as other:
        fill(store)
        there = everything(store)
        assert back_up(store, file) == sum(map(len, there.values())) == 3 * (1 + 4 + 1 + 1 + 1)
        assert restore(other, file) == back_up(store, file)
        assert everything(other) == there
        back_up(other, file)
        restore(store, file, replace=True)
        assert everything(store) == there
        Record(store, "a further learner").keep_place({"page": "start"})
        assert len(everything(store)["learner"]) == 4


def test_every_table_comes_back(store_address, other_address, file, add_a_row_everywhere):
    with closing(Store.open(store_address)) as store, closing(Store.open(other_address)) as other:
        store.write(add_a_row_everywhere)
        there = everything(store)
        assert [len(rows) for rows in there.values()] == [1] * len(metadata.tables)
        back_up(store, file)
        restore(other, file)
        assert everything(other) == there
        back_up(other, file)
        restore(store, file, replace=True)
        assert everything(store) == there
        Record(store, "a further learner").keep_place({"page": "start"})


def test_the_file_is_whole_private_and_alone(store_address, file):
    with closing(Store.open(store_address)) as store:
        fill(store)
        for _ in "new", "in place of the one there":
            back_up(store, file)
    assert [path.name for path in file.parent.iterdir()] == ["class.backup"]
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_backup_is_of_one_moment_while_work_goes_on(store_address, other_address, file):
    """Each write adds a learner and an attempt together, so that a torn copy would hold unequal numbers."""
    done = threading.Event()

    def work():
        at = 0
        while not done.is_set():
            fill(writing, learners=1, attempts=1)
            Record(writing, f"new {at}").add(
                Attempt(exercise="e", version="1", number=1, ask="a", rulebook="us", entry="9")
            )
            at += 1

    with closing(Store.open(store_address)) as store, closing(Store.open(store_address)) as writing:
        fill(store, learners=1, attempts=1)
        worker = threading.Thread(target=work)
        worker.start()
        try:
            for _ in range(5):
                time.sleep(0.05)
                back_up(store, file)
                with closing(Store.open(other_address)) as other:
                    restore(other, file, replace=True)
                    kept = everything(other)
                    owners = {row.learner_id for row in kept["attempt"]}
                    assert owners == {row.id for row in kept["learner"]}
        finally:
            done.set()
            worker.join()
        assert len(owners) < len(everything(store)["learner"])


@pytest.mark.one_in(2)
@pytest.mark.parametrize("revision", revisions())
def test_a_backup_of_an_earlier_version_is_brought_up_to_date(
    store_address, other_address, file, revision, monkeypatch
):
    """The earlier version's file is written from tables of that revision, as that version would have done."""
    earlier = create_engine(other_address)
    with earlier.begin() as connection:
        migrate(connection, revision)
        connection.execute(insert(learner).values(token_hash="hash", made_at=datetime(2026, 1, 1, tzinfo=UTC)))
    monkeypatch.setattr(backup, "SCHEMA", revision)
    back_up(Store(earlier), file)
    with closing(Store.open(store_address)) as store:
        restore(store, file)
        (only,) = everything(store)["learner"]
        assert (only.token_hash, only.made_at) == ("hash", datetime(2026, 1, 1, tzinfo=UTC))
    Store.open(store_address).close()
    assert json.loads(zipfile.ZipFile(file).read("contents.json"))["schema_revision"] == revision


def refused(store, file, **how):
    before = everything(store)
    with pytest.raises(BackupError) as caught:
        restore(store, file, **how)
    assert everything(store) == before
    message = str(caught.value)
    assert message.endswith(".")
    assert "\n" not in message
    return message


@pytest.fixture
def made(store_address, other_address, file):
    """A store that holds work, and a backup of another one."""
    with closing(Store.open(other_address)) as other:
        fill(other)
        back_up(other, file)
    with closing(Store.open(store_address)) as store:
        fill(store, learners=1)
        yield store, file


def rewritten(file, change):
    """Write the archive anew with its members' bytes as `change` gives them from (name, bytes)."""
    with zipfile.ZipFile(file) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(file, "w") as archive:
        for name, data in members.items():
            if (changed := change(name, data)) is not None:
                archive.writestr(name, changed)


def test_work_that_is_there_is_not_overwritten_unasked(made):
    assert "holds work already" in refused(*made)


def test_a_newer_versions_backup(made):
    store, file = made
    rewritten(file, lambda name, data: data.replace(f'"{SCHEMA}"'.encode(), b'"9999"'))
    assert "was made by a newer version of Cold Morning. Update with" in refused(store, file, replace=True)


@pytest.mark.parametrize(
    "change",
    [
        lambda name, data: None if name == "draft.jsonl" else data,
        lambda name, data: None if name == "contents.json" else data,
        lambda name, data: data.replace(b"right", b"wrong") if name == "attempt.jsonl" else data,
        lambda name, data: data[: data.rindex(b"{")] if name == "attempt.jsonl" else data,
        lambda name, data: b"{" if name == "contents.json" else data,
        lambda name, data: data.replace(b'"draft"', b'"drafts"') if name == "contents.json" else data,
    ],
    ids=["a table missing", "no contents", "a verdict changed", "a row missing", "contents cut", "another table"],
)
def test_a_backup_that_was_changed(made, change):
    store, file = made
    rewritten(file, change)
    assert "is no backup of a Cold Morning store, or is damaged. Take another copy" in refused(
        store, file, replace=True
    )


def forged(file, table, lines):
    """Put other lines into a table of the archive, with the sums that belong to them."""
    with zipfile.ZipFile(file) as archive:
        contents = json.loads(archive.read("contents.json"))
    rows = len(lines.splitlines())
    contents["tables"][table] = {"rows": rows, "sha256": hashlib.sha256(lines).hexdigest()}
    changed = {f"{table}.jsonl": lines, "contents.json": json.dumps(contents).encode()}
    rewritten(file, changed.get)


LEARNER = {"id": 1, "token_hash": "x", "made_at": "2026-01-01T00:00:00+00:00"}
SETTING = {"learner_id": 1, "name": "units", "value": 1}
FAULTS = {
    "a list": ("learner", b"[]", "its columns are not id, token_hash, made_at"),
    "null": ("learner", b"null", "its columns are not id, token_hash, made_at"),
    "a text": ("learner", b'"x"', "its columns are not id, token_hash, made_at"),
    "no JSON": ("learner", b"{", "Expecting property name"),
    "no UTF-8": ("learner", b'{"\xff": 1}', "can't decode byte 0xff"),
    "a column missing": ("learner", {"made_at": ...}, "its columns are not"),
    "a column more": ("learner", {"admin": True}, "its columns are not"),
    "a giant number": ("learner", {"id": 10**30}, "'id' must be a whole number that fits"),
    "an id for one database alone": ("learner", {"id": 2**31}, "'id' must be a whole number that fits"),
    "a number as text": ("learner", {"id": "1"}, "'id' must be a whole number that fits"),
    "yes for a number": ("learner", {"id": True}, "'id' must be a whole number that fits"),
    "a broken number": ("learner", {"id": 1.5}, "'id' must be a whole number that fits"),
    "nothing for a number": ("learner", {"id": None}, "'id' must be a whole number that fits"),
    "a list for a text": ("learner", {"token_hash": ["x"]}, "'token_hash' must be text"),
    "a text too long": ("learner", {"token_hash": "x" * 65}, "'token_hash' must be text of at most 64 characters"),
    "a text that no database can hold": ("learner", {"token_hash": "\0"}, "'token_hash' must be text"),
    "half a character": ("learner", {"token_hash": "\ud83d"}, "'token_hash' must be text"),
    "no time": ("learner", {"made_at": "yesterday"}, "Invalid isoformat string: 'yesterday'"),
    "a time without a zone": ("learner", {"made_at": "2026-01-01T00:00:00"}, "'made_at' has no time zone"),
    "a time before time": ("learner", {"made_at": "0001-01-01T00:00:00+14:00"}, "date value out of range"),
    "a time long ago": ("learner", {"made_at": "1601-01-01T00:00:00+00:00"}, "is no time from 1970 to 2200"),
    "a number for a time": ("learner", {"made_at": 0}, "'made_at' must be a time"),
    "no number": ("setting", b'{"learner_id": 1, "name": "units", "value": NaN}', "NaN is no number"),
    "a number without end": ("setting", b'{"learner_id": 1, "name": "units", "value": 1e999}', "1e999 is no number"),
    "nobody's": ("setting", {"learner_id": 9}, "'learner_id' refers to no row of 'learner'"),
}


@pytest.mark.one_in(4)
@pytest.mark.parametrize(("table", "change", "reason"), FAULTS.values(), ids=FAULTS)
def test_a_faulty_row_is_named_and_nothing_is_changed(made, table, change, reason):
    """The second row of a table is the faulty one."""
    store, file = made
    first, second = (LEARNER, LEARNER | {"id": 2, "token_hash": "y"}) if table == "learner" else (SETTING, SETTING)
    if isinstance(change, dict):
        changed = {name: value for name, value in (second | change).items() if value is not ...}
        change = json.dumps(changed).encode()
    emptied(file)
    forged(file, "learner", json.dumps(LEARNER).encode() + b"\n")
    forged(file, table, json.dumps(first).encode() + b"\n" + change + b"\n")
    message = refused(store, file, replace=True)
    assert message.startswith(f"Row 2 of the table '{table}' in {file} is faulty: ")
    assert reason in message
    assert message.endswith("Nothing was changed. Restore another backup, or another copy of this one.")


@pytest.mark.parametrize(
    ("table", "row"),
    [("learner", LEARNER | {"token_hash": "y"}), ("learner", LEARNER | {"id": 2}), ("setting", SETTING)],
)
def test_what_must_be_unique_is(made, table, row):
    store, file = made
    emptied(file)
    rows = [json.dumps(LEARNER | {"id": at, "token_hash": f"hash {at}"}) for at in range(3, 903)]
    lines = "".join(f"{row}\n" for row in [json.dumps(LEARNER), *rows])
    if table == "setting":
        forged(file, "learner", lines.encode())
        lines = f"{json.dumps(SETTING)}\n"
    forged(file, table, (lines + json.dumps(row) + "\n").encode())
    at = 902 if table == "learner" else 2
    message = refused(store, file, replace=True)
    assert f"Row {at} of the table '{table}' in {file} is faulty: a value in it must be unique" in message


def emptied(file):
    """Take all rows out of a backup."""
    for table in metadata.tables:
        forged(file, table, b"")


def test_a_giant_line_is_never_held(made):
    store, file = made
    forged(file, "learner", b'{"id": 1, "token_hash": "' + b"x" * (LONGEST_ROW + 1) + b'"}\n')
    assert "is no backup of a Cold Morning store, or is damaged" in refused(store, file, replace=True)


def test_the_whole_of_it_is_bounded_and_the_bound_told(made, monkeypatch):
    store, file = made
    monkeypatch.setattr(backup, "LARGEST", 1_000)
    assert "holds 0.0 GB, more than the 0.0 GB that can be put back" in refused(store, file, replace=True)
    with pytest.raises(BackupError, match="more than the"):
        back_up(store, file.with_name("other.backup"))
    assert list(file.parent.iterdir()) == [file]


def test_compressed_zeros_are_refused_before_they_are_unpacked(made, monkeypatch):
    store, file = made
    monkeypatch.setattr(backup, "LARGEST", 50_000_000)
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("learner.jsonl", bytes(60_000_000))
    assert file.stat().st_size < 100_000
    tracemalloc.start()
    try:
        assert "more than the 0.1 GB that can be put back" in refused(store, file, replace=True)
        assert tracemalloc.get_traced_memory()[1] < 5_000_000
    finally:
        tracemalloc.stop()


def test_a_list_of_a_million_members_is_refused_before_it_is_read(made):
    """Each takes 50 bytes in the file, and ten times as much once it is read."""
    store, file = made
    with zipfile.ZipFile(file, "w") as archive:
        for at in range(3000):
            archive.writestr(str(at), b"")
    assert "is no backup of a Cold Morning store, or is damaged" in refused(store, file, replace=True)


def test_only_a_file_is_read(made, tmp_path):
    store, _ = made
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "to a device").symlink_to("/dev/zero")
    for path in (tmp_path / "pipe", tmp_path / "to a device", "/dev/zero", "/dev/stdin", tmp_path):
        assert "is a folder, a device, or a pipe. Name a file" in refused(store, Path(path), replace=True)


@pytest.mark.parametrize(
    ("length", "held"),
    [(10, [500, 500, 200]), (LONGEST_ROW, [1] * 1200), (LONGEST_ROW // 10, [10] * 120)],
    ids=["short rows", "the longest ones", "long ones"],
)
def test_long_rows_are_not_all_held_at_once(length, held):
    assert [len(batch) for batch in batches(repeat(b"x" * length, 1200))] == held


@pytest.mark.one_in(2)
def test_a_file_cut_anywhere_or_with_a_byte_changed(made):
    store, file = made
    restore(store, file, replace=True)
    whole, all_rows = file.read_bytes(), everything(store)
    for at in range(0, len(whole), max(1, len(whole) // 40)):
        file.write_bytes(whole[:at])
        assert "is damaged" in refused(store, file, replace=True)
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
        # A byte may carry nothing of ours, as a time of the archive's own; then all rows are there.
        with suppress(BackupError):
            assert restore(store, file, replace=True) == 24
        assert everything(store) == all_rows


def test_a_restore_that_fails_in_the_middle_leaves_the_store(made, monkeypatch):
    store, file = made
    read_rows = backup._read_rows

    def fail_at_the_last(connection, table, *more):
        read_rows(connection, table, *more)
        if table.name == "setting":
            raise KeyboardInterrupt

    monkeypatch.setattr(backup, "_read_rows", fail_at_the_last)
    before = everything(store)
    with pytest.raises(KeyboardInterrupt):
        restore(store, file, replace=True)
    assert everything(store) == before


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_an_interrupted_backup_leaves_the_earlier_file(store_address, file, how):
    """The process is stopped while rows are written."""
    code = """
import sys, time
from pathlib import Path
from tutor.store import backup
from tutor.store.database import Store

plain = backup._plain
backup._plain = lambda value: (print("value", flush=True), time.sleep(0.01), plain(value))[-1]
backup.back_up(Store.open(sys.argv[1]), Path(sys.argv[2]))
"""
    file.write_bytes(b"earlier")
    with closing(Store.open(store_address)) as store:
        fill(store, learners=20)
    command = [sys.executable, "-c", code, store_address, str(file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        process.stdout.readline()
        os.kill(process.pid, how)
    assert process.returncode != 0
    assert file.read_bytes() == b"earlier"
    if how == signal.SIGINT:
        assert [path.name for path in file.parent.iterdir()] == ["class.backup"]


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_the_commands(store_address, other_address, file):
    with closing(Store.open(store_address)) as store:
        fill(store)
        place = store.place
    made = run("backup", file, "--store", store_address)
    assert (made.exit_code, made.output.split(" are in ")[0]) == (0, f"24 rows of {place}")
    assert run("restore", file, "--store", other_address).exit_code == 0
    again = run("restore", file, "--store", other_address)
    assert (again.exit_code, again.output.count("\n")) == (2, 1)
    assert "holds work already" in again.output
    assert run("restore", file, "--store", other_address, "--replace", "--yes").exit_code == 0
    before = file.read_bytes()
    refused = run("--store", other_address, "backup", file)
    assert (refused.exit_code, refused.output.count("\n")) == (2, 1)
    assert f"{file} is there already. Name another file, or add --replace to write over it." in refused.output
    assert (file.read_bytes(), list(file.parent.iterdir())) == (before, [file])
    assert run("--store", other_address, "backup", file, "--replace").exit_code == 0, "as the tutor's own option"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["restore", "none"], "The backup none cannot be read (No such file or directory). Check its name."),
        (
            ["backup", "no/folder/file"],
            "no/folder/file cannot be written (No such file or directory). Name another file.",
        ),
        (["backup", "file"], "is empty: there is nothing to back up. Name the right one with --store."),
    ],
)
def test_what_the_commands_cannot_do(other_address, tmp_path, monkeypatch, arguments, sentence):
    monkeypatch.chdir(tmp_path)
    told = run(*arguments, "--store", other_address)
    assert (told.exit_code, sentence in told.output, told.output.count("\n")) == (2, True, 1), told.output
    assert not (tmp_path / "file").exists()
