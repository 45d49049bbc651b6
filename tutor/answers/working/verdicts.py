"""What the judging of a working says: a verdict on each line, and where the first wrong one stands."""

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["holds", "arithmetic", "dimension", "departs", "unread"]
WRONG: frozenset[Verdict] = frozenset({"arithmetic", "dimension", "departs"})


@dataclass(frozen=True)
class Judged:
    """One line with its verdict; `words` explain it, `mistake` names the mistake if it may be named."""

    text: str
    verdict: Verdict
    words: str
    understood: str = ""
    quantity: str | None = None
    mistake: str | None = None


@dataclass(frozen=True)
class Working:
    """A whole working: its lines, whether it reaches the right answer, and the other method that it follows, if any.

    It proves the answer only if every line was read and holds, and the last result, with its unit, is the answer.
    """

    lines: tuple[Judged, ...]
    reaches_answer: bool
    method: str = ""
    proves_answer: bool = False

    @property
    def first_wrong(self) -> int | None:
        """The place of the first line that is wrong, from 0."""
        return next((at for at, line in enumerate(self.lines) if line.verdict in WRONG), None)
