"""What is kept under the user's cache folder: taken up where it is this user's own and whole, else as good as none."""

import os
import pickle
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tutor.base import cache
from tutor.content import library as content


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "coldmorning" / "proved"


def test_what_is_written_is_read_by_this_user_alone(folder):
    assert cache.read("entry") is None
    cache.write("entry", b"data")
    assert cache.read("entry") == b"data"
    assert folder.stat().st_mode & 0o777 == 0o700
    assert (folder / "entry").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    "damage",
    [lambda file: file[:-1], lambda file: file[1:], lambda file: b"", lambda file: file + b"!", lambda _: b"0" * 99],
)
def test_a_damaged_file_is_as_good_as_none(folder, damage):
    cache.write("entry", b"data")
    path = folder / "entry"
    path.write_bytes(damage(path.read_bytes()))
    assert cache.read("entry") is None
    cache.write("entry", b"data")
    assert cache.read("entry") == b"data"


def test_a_file_or_a_folder_that_others_can_write_is_not_read(folder):
    cache.write("entry", b"data")
    (folder / "entry").chmod(0o666)
    assert cache.read("entry") is None
    (folder / "entry").chmod(0o600)
    folder.chmod(0o777)
    assert cache.read("entry") is None


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give a file away")
def test_a_file_of_somebody_else_is_not_read(folder):
    cache.write("entry", b"data")
    os.chown(folder / "entry", 65534, 65534)
    assert cache.read("entry") is None


def test_a_link_in_the_place_of_a_file_is_not_followed(folder, tmp_path):
    cache.write("entry", b"data")
    (folder / "entry").rename(tmp_path / "elsewhere")
    (folder / "entry").symlink_to(tmp_path / "elsewhere")
    assert cache.read("entry") is None


def test_a_cache_that_cannot_be_written_is_done_without(tmp_path, monkeypatch):
    (tmp_path / "coldmorning").write_bytes(b"a file where the folder should be")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    cache.write("entry", b"data")
    assert cache.read("entry") is None


def test_many_writers_leave_one_whole_file(folder):
    versions = [bytes([at]) * 100_000 for at in range(16)]
    with ThreadPoolExecutor(8) as writers:
        list(writers.map(lambda data: cache.write("entry", data), versions))
    assert cache.read("entry") in versions
    assert [path.name for path in folder.iterdir()] == ["entry"]


def test_old_files_make_room(folder):
    for at in range(cache.MOST_FILES + 5):
        cache.write(f"entry-{at}", b"data")
    assert len(list(folder.iterdir())) == cache.MOST_FILES


def loaded(monkeypatch):
    content._built_in.cache_clear()
    try:
        return content.load()
    finally:
        content._built_in.cache_clear()


def test_content_from_the_cache_is_what_the_files_hold(folder, monkeypatch):
    read = loaded(monkeypatch)
    monkeypatch.setattr(content, "read_folder", lambda *_: pytest.fail("the files are read anew"))
    kept = loaded(monkeypatch)
    for kind in ("quantities", "modules", "hazards", "lessons", "declared", "orders", "figures", "tables", "editions"):
        assert dict(getattr(kept, kind)) == dict(getattr(read, kind)), kind
    assert kept.exercises == read.exercises
    assert str(kept.origins["places", "marrowfen"]) == str(read.origins["places", "marrowfen"])


@pytest.mark.parametrize("rubbish", [b"", b"rubbish", pickle.dumps({"quantities": {}}), pickle.dumps(12)])
def test_content_that_the_cache_holds_wrong_is_read_anew(folder, monkeypatch, rubbish):
    loaded(monkeypatch)
    (kept,) = folder.glob("content-*")
    cache.write(kept.name, rubbish)
    assert len(loaded(monkeypatch).exercises) > 80


def test_a_content_folder_never_holds_what_is_unpickled(folder, tmp_path):
    """A pickle that would write a file, laid where content lies, is refused as a file or not looked at."""
    own = tmp_path / "own"
    own.mkdir()
    trap = tmp_path / "trapped"

    class Trap:
        def __reduce__(self):
            return Path.touch, (trap,)

    for name in ("content.pickle", "proved-files.txt"):
        (own / name).write_bytes(pickle.dumps(Trap()))
    subprocess.run(
        [sys.executable, "-c", "from tutor.cli import main; main()", "--content", str(own), "exercises"],
        check=True,
        capture_output=True,
    )
    content.load(own)
    assert not trap.exists()
