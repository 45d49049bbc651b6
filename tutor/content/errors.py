"""The one error that content files raise."""

from pathlib import Path

from tutor.base.errors import FaultyRequestError


class ContentError(FaultyRequestError, ValueError):
    """A fault in a content file: which file, which line (from 1, 0 if none fits), what is wrong and how to mend it."""

    def __init__(self, path: Path, line: int, fault: str, mend: str = "") -> None:
        self.path, self.line, self.fault, self.mend = path, line, fault, mend
        place = f"{path}, line {line}" if line else str(path)
        super().__init__(f"{place}: {fault}{' ' + mend if mend else ''}")
