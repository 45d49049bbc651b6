"""What a class's answers say: the places, the mistakes, each learner's line.

One rule says what an open place is, for the report and for every export.  A learner without a counted answer has not
submitted the set and has no score, whether it is open or closed: a zero for somebody who was absent is the instructor's
to give.  Of a learner who has submitted, an open place is undecided while the set runs and counts as wrong once it is
closed.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tutor.classroom.models import Member, Outcome, PracticeSet
from tutor.classroom.reports.mistakes import ClassMistake, mistakes_of, unexplained
from tutor.classroom.reports.statistics import SetStatistics, deciding, set_statistics
from tutor.problems.question import Engine


@dataclass(frozen=True, kw_only=True)
class LearnerLine:
    """How one member stands with a set; `seconds` is the time to the deciding answers, `last` their latest answer."""

    member: Member
    right: int
    wrong: int
    open: int
    excused: int
    seconds: float | None
    mistakes: tuple[str, ...]
    last: datetime | None

    @property
    def places(self) -> int:
        """How many places count: all but the excused ones."""
        return self.right + self.wrong + self.open

    @property
    def submitted(self) -> bool:
        """Whether a place that counts has a counted answer."""
        return bool(self.right + self.wrong)

    @property
    def share(self) -> float | None:
        """The share right of the places that count; None for who has not submitted."""
        return self.right / self.places if self.submitted else None

    def decided(self, *, closed: bool) -> bool:
        """Whether the share is final: submitted, and nothing is open that may yet be answered."""
        return self.submitted and (closed or not self.open)

    def as_json(self) -> dict[str, Any]:
        """The same, ready for JSON."""
        plain = {name: value for name, value in vars(self).items() if name != "member"}
        return (
            {"name": self.member.name, "number": self.member.number}
            | plain
            | {
                "mistakes": list(self.mistakes),
                "last": self.last.isoformat() if self.last else None,
                "submitted": self.submitted,
                "share": self.share,
            }
        )


@dataclass(frozen=True, kw_only=True)
class ClassReport:
    """A set's report; `unexplained` counts the wrong answers that no known mistake explains."""

    title: str
    closed: bool
    statistics: SetStatistics
    mistakes: Sequence[ClassMistake]
    unexplained: int
    learners: Sequence[LearnerLine]

    def as_json(self) -> dict[str, Any]:
        """The whole report, ready for JSON."""
        return {
            "title": self.title,
            "closed": self.closed,
            "statistics": self.statistics.as_json(),
            "mistakes": [mistake.as_json() for mistake in self.mistakes],
            "wrong_answers_unexplained": self.unexplained,
            "learners": [line.as_json() for line in self.learners],
        }


def class_report(
    practice_set: PracticeSet, outcomes: Sequence[Outcome], engine: Engine, *, closed: bool = False
) -> ClassReport:
    """The report of a set; `closed` says that what is open stays unanswered."""
    return ClassReport(
        title=practice_set.title,
        closed=closed,
        statistics=set_statistics(outcomes, closed=closed),
        mistakes=mistakes_of(outcomes, engine, practice_set.rulebook),
        unexplained=unexplained(outcomes),
        learners=learner_lines(outcomes),
    )


def learner_lines(outcomes: Sequence[Outcome]) -> list[LearnerLine]:
    """One line a member, in the order in which they first appear."""
    of_member: dict[Member, list[Outcome]] = defaultdict(list)
    for outcome in outcomes:
        of_member[outcome.handed.member].append(outcome)
    return [_line(member, of_learner) for member, of_learner in of_member.items()]


def _line(member: Member, outcomes: Sequence[Outcome]) -> LearnerLine:
    states = [outcome.state for outcome in outcomes]
    decided = [answer for outcome in outcomes if (answer := deciding(outcome))]
    times = [answer.seconds for answer in decided if answer.seconds is not None]
    answers = [answer for outcome in outcomes for answer in outcome.answers]
    named = (answer.named for answer in answers if answer.counted and answer.named)
    return LearnerLine(
        member=member,
        right=states.count("right"),
        wrong=states.count("wrong"),
        open=states.count("open"),
        excused=states.count("excused"),
        seconds=sum(times) if times else None,
        mistakes=tuple(dict.fromkeys(named)),
        last=max((answer.at for answer in answers), default=None),
    )
