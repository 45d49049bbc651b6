"""Writing a file so that it is there whole or as it was before, also when the program is stopped meanwhile."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO


@contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """Give a file to write to, which takes its name when it is whole and on the disk. Raises OSError."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    unfinished = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
