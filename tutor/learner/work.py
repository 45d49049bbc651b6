"""What a learner has done in one problem so far, summed up from the record."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Self

from tutor.content.models import Amount
from tutor.learner.record import Attempt, Help


@dataclass(frozen=True)
class Work:
    """The last answer sent with the steps it came with, the latest text of each step, and the help seen so far.

    `entry` is None before the first answer.
    """

    entry: str | None = None
    entry_steps: Mapping[str, str] = field(default_factory=dict)
    steps: Mapping[str, str] = field(default_factory=dict)
    solved: bool = False
    help: Help = ""
    hints_seen: int = 0

    @classmethod
    def of(cls, attempts: Iterable[Attempt], version: str, shown: Mapping[str, Amount]) -> Self:
        """Sum up the attempts, oldest first, that belong to a problem with this version and these givens."""
        givens = {name: amount.text for name, amount in shown.items()}
        own = [attempt for attempt in attempts if attempt.version == version and attempt.givens == givens]
        answers = [attempt for attempt in own if attempt.entry is not None]
        return cls(
            entry=answers[-1].entry if answers else None,
            entry_steps=answers[-1].steps if answers else {},
            steps={name: text for attempt in own for name, text in attempt.steps.items()},
            solved=any(attempt.verdict == "right" for attempt in answers),
            help=own[-1].help if own else "",
            hints_seen=own[-1].hints_seen if own else 0,
        )
