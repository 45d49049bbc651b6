"""The file of an SQLite store: made for its owner alone, never again while it is in use, and known by its identity."""

import os
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

from sqlalchemy.engine import URL

from tutor.store.failures import ELSEWHERE


class FileError(Exception):
    """The file cannot be made or must not be; the message is a sentence that says why and how to mend it."""


class StoreFile:
    """A store's file and its companions as they were when the store was opened.

    SQLite goes on writing to a file that has lost its name, or whose name belongs to another file by now, and reports
    no error. So each use of the store compares what is there under the names: the same files, none of them shorter.
    What it does not see is other bytes written into the same file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._names: list[Path] = []
        self._identities: list[tuple[int, int]] = []
        self._size = 0

    def remember(self) -> None:
        """Take the files that are there now for the store's. SQLite keeps its log until the last connection closes."""
        names = [self.path, *(_companion(self.path, kind) for kind in ("wal", "shm"))]
        self._names = [name for name in names if name.exists()]
        self._identities = [_identity(name.stat()) for name in self._names]
        self.is_in_place()

    def is_in_place(self) -> bool:
        """Whether the names still belong to the files that were remembered; True while none were."""
        known_size = self._size  # read before the file is looked at: another thread may make it grow in between
        try:
            stats = [name.stat() for name in self._names]
        except OSError:
            return False
        size = stats[0].st_size if stats else 0
        self._size = max(known_size, size)
        return size >= known_size and [_identity(stat) for stat in stats] == self._identities

    def make_file(self) -> None:
        """Make the file and its folder if they are not there, for their owner alone: answers and secrets are in it.

        Raises FileError if they cannot be made, or if the file is gone but its log is still there.
        """
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            raise FileError(
                f"The store's folder {self.path.parent} cannot be made ({error.strerror}). "
                f"Change the permissions above it, or {ELSEWHERE}."
            ) from error
        try:
            log = _companion(self.path, "wal")
            if _size(self.path) == 0 and _size(log) > 0:
                raise FileError(
                    f"The store {self.path} is gone or empty, but its log {log} is still there. Put a copy of the "
                    "store back, or move the log away so that a new store is made."
                )
            if not self.path.exists():
                self.path.touch(mode=0o600)
        except OSError as error:
            raise FileError(
                f"The store {self.path} cannot be made ({error.strerror}). Change the permissions or the write "
                f"protection of its folder, or {ELSEWHERE}."
            ) from error


def path_of(url: URL) -> Path:
    """The path in an SQLite URL, also in one of SQLite's own kind ('file:...')."""
    database = url.database or ""
    plain = url2pathname(urlsplit(database).path) if database.startswith("file:") else database
    return Path(plain).absolute()


def address(url: URL, path: Path) -> URL:
    """The URL by which SQLite opens a file that is there, and never makes one."""
    return url.set(database=path.as_uri(), query={"mode": "rw", **url.query, "uri": "true"})


def _identity(stat: os.stat_result) -> tuple[int, int]:
    return stat.st_dev, stat.st_ino


def _companion(path: Path, kind: str) -> Path:
    """The file that SQLite lays beside a database, where that really is."""
    return Path(f"{os.path.realpath(path)}-{kind}")


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0
