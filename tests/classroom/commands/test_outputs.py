"""No command writes over the store, another database, or a file that is there, by whatever name it is reached."""

import os
import sqlite3
import stat
from contextlib import closing
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tutor.cli import main
from tutor.operations.shell import Output
from tutor.store.database import Store

SET = """\
id: week-3
title: Strings on a cold morning
items:
  - exercise: most-modules-in-series
"""
IDS = ["--school-id", "s", "--class-id", "c", "--category-id", "g", "--session-id", "t"]
OUTPUTS = {
    "backup": ["backup"],
    "gradebook": ["export", "gradebook", "week-3", "--out"],
    "oneroster": ["export", "oneroster", "week-3", *IDS, "--out"],
    "person": ["export", "person", "Bo", "--out"],
    "qti": ["export", "qti", "week-3", "--variants", "1", "--out"],
    "report": ["report", "week-3", "--follow-up", "1", "--out"],
    "sheet": ["sheet", "week-3", "--sheets"],
    "sheet key": ["sheet", "week-3", "--key"],
    "slips": ["slips", "week-3", "--address", "http://school.example", "--out"],
    "xapi": ["export", "xapi", "week-3", "--home", "https://school.example", "--out"],
}


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def store(tmp_path, monkeypatch):
    """A store with a class of one, in the working folder; its name is one that any output could have."""
    monkeypatch.chdir(tmp_path)
    Path("week-3.yaml").write_text(SET, encoding="utf-8")
    Path("roster.csv").write_text("name\nBo\n", encoding="utf-8")
    path = tmp_path / "class.html"
    assert run("--store", path, "roster", "roster.csv").exit_code == 0
    assert run("--store", path, "set", "open", "week-3.yaml").exit_code == 0
    return path


def names_of(store):
    """Names by which a store can be reached, made where they are links."""
    folder = store.parent
    (folder / "linked.html").symlink_to(store)
    (folder / "linked twice.html").symlink_to("linked.html")
    os.link(store, folder / "same.html")
    (folder / "to here").symlink_to(folder)
    with closing(sqlite3.connect(folder / "other.pdf")) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
    return [
        store,
        store.name,
        f"./{store.name}",
        f"{folder}/to here/../{folder.name}/{store.name}",
        "to here/class.html",
        "linked.html",
        "linked twice.html",
        "same.html",
        "other.pdf",
        *(f"{store.name}{kind}" for kind in ("-wal", "-shm", "-journal", "-WAL")),
        f"sqlite:///{store}",
        f"file:{store}",
    ]


@pytest.mark.parametrize("command", OUTPUTS.values(), ids=OUTPUTS)
def test_the_store_and_other_databases_are_never_written_over(store, command):
    names = names_of(store)
    before = files(store.parent)
    for name in names:
        for more in ([], ["--replace"]):
            done = run("--store", store, *command, name, *more)
            assert (done.exit_code, done.stderr.count("\n")) == (2, 1), name
            assert "is a database, or a part of one" in done.stderr or "is an address. Name a file." in done.stderr
            assert files(store.parent) == before, name
    with closing(sqlite3.connect(store)) as whole:
        assert whole.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_the_log_of_an_open_store_and_a_store_cut_short_beside_it(store):
    with closing(Store.open(str(store))):
        for name in (f"{store}-wal", f"{store}-shm"):
            assert "is a database, or a part of one" in run("--store", store, "backup", name, "--replace").stderr
        copy = store.read_bytes()
        store.write_bytes(b"")
        done = run("--store", "another.sqlite3", "backup", store, "--replace")
        assert "is a database, or a part of one" in done.stderr
        store.write_bytes(copy)


@pytest.mark.parametrize("command", OUTPUTS.values(), ids=OUTPUTS)
def test_what_is_there_stays_unless_it_may_be_replaced(store, command):
    """What is no file is never replaced; a link to a file stays a link, and one that leads nowhere is there too."""
    folder = store.parent
    Path("letter.html").write_text("Dear Sir or Madam", encoding="utf-8")
    Path("link.html").symlink_to("letter.html")
    Path("nowhere.html").symlink_to("nothing.html")
    Path("folder.html").mkdir()
    os.mkfifo("pipe.html")
    Path("device.html").symlink_to("/dev/null")
    before = files(folder)
    for name in ("letter.html", "link.html", "nowhere.html"):
        done = run("--store", store, *command, name)
        assert (done.exit_code, "is there already. Name another file, or add --replace" in done.stderr) == (2, True)
    pipe = os.pipe()
    for name in ("folder.html", "pipe.html", "device.html", f"/dev/fd/{pipe[1]}", "/dev/null", "."):
        for more in ([], ["--replace"]):
            done = run("--store", store, *command, name, *more)
            assert (done.exit_code, "is a folder, a device, or a pipe" in done.stderr) == (2, True), name
    done = run("--store", store, *command, "no/such/folder.html")
    assert (done.exit_code, "cannot be written (No such file or directory)" in done.stderr) == (2, True)
    assert files(folder) == before
    for end in pipe:
        os.close(end)


@pytest.mark.parametrize("command", [command for name, command in OUTPUTS.items() if name != "report"])
def test_a_file_is_written_for_its_owner_alone_and_over_another_when_that_is_meant(store, command):
    Path("letter.html").write_text("Dear Sir or Madam", encoding="utf-8")
    Path("letter.html").chmod(0o644)
    Path("link.html").symlink_to("letter.html")
    assert run("--store", store, *command, "new.html").exit_code == 0
    assert run("--store", store, *command, "link.html", "--replace").exit_code == 0
    assert Path("link.html").is_symlink()
    for name in ("new.html", "letter.html"):
        assert stat.S_IMODE(Path(name).stat().st_mode) == 0o600
        assert Path(name).read_bytes() != b"Dear Sir or Madam"
    assert not list(store.parent.glob(".*"))


@pytest.mark.parametrize("name", ["gradebook", "person", "xapi"])
def test_a_dash_is_the_standard_output_where_there_is_one(store, name):
    assert run("--store", store, *OUTPUTS[name], "-").stdout == run("--store", store, *OUTPUTS[name][:-1]).stdout
    assert "Name a file in place of '-'" in run("--store", store, *OUTPUTS["slips"], "-").stderr
    assert not Path("-").exists()


def test_every_output_of_every_command_is_of_this_kind():
    """An option that takes a file to be written and is of another kind would have none of these checks."""

    def parameters(command, name):
        if isinstance(command, click.Group):
            for at, one in command.commands.items():
                yield from parameters(one, f"{name} {at}")
        yield from ((name.strip(), parameter) for parameter in command.params)

    kinds = {"out", "sheets", "key"}
    found = [(name, one) for name, one in parameters(main, "") if one.name in kinds or isinstance(one.type, Output)]
    assert all(isinstance(one.type, Output) for _, one in found)
    assert {name.split()[-1] for name, _ in found} == {name.split()[0] for name in OUTPUTS}
    everything = [one.type for _, one in parameters(main, "")]
    assert not any(isinstance(one, click.Path) and one.writable for one in everything)
    assert not any(isinstance(one, click.File) and one.mode != "rb" for one in everything)


def files(folder):
    """Every file of a folder with what is in it; the companions of the store come and go."""
    return {
        str(path): path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
        if not path.name.endswith(("-wal", "-shm"))
    }
