"""What was worked out before, under the user's cache folder, by the hash of all that it rests on.

Nothing rests on it: a folder that cannot be written, or a file that is damaged or somebody else's, is as good as none.
"""

import hashlib
import os
import stat
import sys
from collections.abc import Iterable
from contextlib import suppress
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from secrets import token_hex

from platformdirs import user_cache_path

MOST_FILES = 24  # of the oldest no version and no content is in use any more
LARGEST = 32 << 20  # bytes; ten times what all built-in content takes
_DIGEST = hashlib.sha256().digest_size
_PACKAGE = Path(__file__).parents[1]


def read(name: str) -> bytes | None:
    """What was written under a name; None if there is nothing, or nothing that this user alone can have written."""
    folder = _folder()
    if folder is None:
        return None
    try:
        with os.fdopen(os.open(folder / name, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0)), "rb") as file:
            status = os.fstat(file.fileno())
            if not stat.S_ISREG(status.st_mode) or not _is_ours(status) or status.st_size > LARGEST:
                return None
            digest, data = file.read(_DIGEST), file.read()
    except OSError:
        return None
    return data if hashlib.sha256(data).digest() == digest else None


def write(name: str, data: bytes) -> None:
    """Keep data under a name, if it can be kept; whoever reads meanwhile sees the old file or the new one, whole."""
    folder = _folder()
    if folder is None:
        return
    draft = folder / f"{name}.{token_hex(8)}"
    try:
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(hashlib.sha256(data).digest() + data)
        draft.replace(folder / name)
        files = sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime)
        for old in files[:-MOST_FILES]:
            old.unlink()
    except OSError:
        with suppress(OSError):
            draft.unlink()


def _folder() -> Path | None:
    """The folder, made for this user alone; None where that cannot be done."""
    folder = user_cache_path("coldmorning", appauthor=False) / "proved"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        status = folder.lstat()
    except (OSError, RuntimeError):  # no home folder
        return None
    return folder if stat.S_ISDIR(status.st_mode) and _is_ours(status) else None


def _is_ours(status: os.stat_result) -> bool:
    if os.name == "nt":  # its rights are no bits; the profile's folder is the user's
        return True
    return status.st_uid == os.geteuid() and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def hashed(parts: Iterable[bytes]) -> str:
    """One name for all parts in their order."""
    total = hashlib.sha256()
    for part in parts:
        total.update(hashlib.sha256(part).digest())
    return total.hexdigest()


@lru_cache(maxsize=1)
def code_version() -> bytes:
    """What changes whenever the program does, or the Python and the libraries under it."""
    sources = sorted(_PACKAGE.rglob("*.py"))
    stamps = [(str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in sources]
    return repr((sys.version, version("pydantic"), version("pint"), version("sympy"), stamps)).encode()
