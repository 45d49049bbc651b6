"""What a learner has done in one problem so far, summed up from the record."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
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
    def summed_up(
        cls,
        attempts: Iterable[Attempt],
        version: str,
        rulebook: str,
        shown: Mapping[str, Amount],
        steps: Collection[str],
    ) -> Self:
        """Sum up the attempts, oldest first, that belong to a problem of this version, rulebook and these givens.

        What is kept for a step that is none of these is left out.
        """
        wanted = (version, rulebook, {name: amount.text for name, amount in shown.items()})
        work = cls()
        for attempt in attempts:
            if (attempt.version, attempt.rulebook, attempt.givens) == wanted:
                offered = {name: text for name, text in attempt.steps.items() if name in steps}
                work = work.after(replace(attempt, steps=offered))
        return work

    def after(self, attempt: Attempt) -> Self:
        """Give the work with one more attempt in it."""
        answered = attempt.entry is not None
        return replace(
            self,
            entry=attempt.entry if answered else self.entry,
            entry_steps=attempt.steps if answered else self.entry_steps,
            steps={**self.steps, **attempt.steps},
            solved=self.solved or attempt.verdict == "right",
            help=attempt.help,
            hints_seen=attempt.hints_seen,
        )
