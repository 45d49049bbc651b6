"""A plain record of what a learner has done in each exercise."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from tutor.entries.verdicts import RecordedVerdict
from tutor.learner.record import Attempt


@dataclass
class Progress:
    """What happened in one exercise.

    `tries` counts answers that were marked right or wrong. A problem counts once as right: unaided if neither a hint
    nor the worked solution was seen before it, else with help. `mistakes` counts those that were named.
    """

    exercise: str
    tries: int = 0
    right_unaided: int = 0
    right_with_help: int = 0
    last_verdict: RecordedVerdict = ""
    last_at: datetime | None = None
    mistakes: Counter[str] = field(default_factory=Counter)


def progress(attempts: Iterable[Attempt]) -> dict[str, Progress]:
    """Sum up attempts, given oldest first, by exercise."""
    record: dict[str, Progress] = {}
    helped: set[tuple[object, ...]] = set()
    solved: set[tuple[object, ...]] = set()
    for attempt in attempts:
        entry = record.setdefault(attempt.exercise, Progress(attempt.exercise))
        entry.last_at = attempt.at
        if attempt.help or attempt.hints_seen:
            helped.add(attempt.problem)
        if attempt.entry is None or attempt.verdict not in ("right", "wrong"):
            continue
        entry.tries += 1
        entry.last_verdict = attempt.verdict
        if attempt.named:
            entry.mistakes[attempt.named] += 1
        if attempt.verdict == "right" and attempt.problem not in solved:
            solved.add(attempt.problem)
            if attempt.problem in helped:
                entry.right_with_help += 1
            else:
                entry.right_unaided += 1
    return record
