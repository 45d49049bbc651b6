"""What a learner's browser may be told: nothing here holds a problem's number, expected values or answer.

A verdict is here only once the set lets the learner see it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from tutor.classroom.models import Answer, AssignedProblem, Help, StoredSet
from tutor.entries.verdicts import RecordedVerdict
from tutor.problems.problem import AnyProblem

SAVED = "Saved. How it was marked is shown when the set closes."


@dataclass(frozen=True, kw_only=True)
class AnswerForLearner:
    """An answer as its learner sees it: `verdict` and `step_verdicts` are empty while they may not be shown."""

    at: datetime
    source: Literal["screen", "paper"]
    entry: str
    steps: Mapping[str, str]
    verdict: RecordedVerdict
    step_verdicts: Mapping[str, str]
    feedback: str
    counted: bool
    comment: str


@dataclass(frozen=True, kw_only=True)
class ForLearner:
    """How one problem of a set stands for its learner; `why_not` says why no answer is taken, '' if one is.

    `solved` is None while that may not be shown; `steps` are those offered for typing; `hints` are those seen so far.
    """

    place: int
    places: int
    code: str
    steps: Sequence[str]
    attempts: int
    attempts_left: int
    why_not: str
    solved: bool | None
    excused: bool
    hints: Sequence[str]
    hints_left: int
    solution_may_be_seen: bool
    answers: Sequence[AnswerForLearner] = ()
    drafts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class PlaceForLearner:
    """One line of a learner's own list: a place and how it stands; 'answered' while the verdict may not be shown."""

    place: int
    code: str
    title: str
    state: Literal["open", "right", "wrong", "answered", "excused"]
    attempts_left: int


@dataclass(frozen=True)
class AttemptState:
    """A handed problem with its answers in its set at a moment after its opening: what may be done and shown."""

    practice_set: StoredSet
    handed: AssignedProblem
    answers: list[Answer]
    help: Help
    hints_seen: int
    moment: datetime

    @property
    def hidden(self) -> bool:
        """Whether verdicts are kept from the learner."""
        return (
            self.practice_set.declaration.marked == "when closed" and self.practice_set.state(self.moment) != "closed"
        )

    @property
    def solved(self) -> bool:
        """Whether a counted answer is right."""
        return any(answer.counted and answer.verdict == "right" for answer in self.answers)

    @property
    def attempts_unused(self) -> int:
        """How many of the attempts that the set allows have not been used."""
        return max(0, self.practice_set.declaration.attempts - sum(answer.counted for answer in self.answers))

    @property
    def attempts_left(self) -> int:
        """How many answers would still count."""
        if self.help == "solution" or (self.solved and not self.hidden):
            return 0
        return self.attempts_unused

    @property
    def why_not(self) -> str:
        """Why an answer would not count; '' if it would."""
        times = self.practice_set.declaration
        if self.practice_set.state(self.moment) == "closed":
            closed_at = min(moment for moment in (times.closes, self.practice_set.closed_at) if moment is not None)
            return f"This set closed on {told_time(closed_at, times.zone)}; answers are not counted any more."
        if self.handed.excused:
            return "Your instructor has excused you from this problem."
        if self.solved and not self.hidden:
            return "You have solved this problem."
        if self.help == "solution":
            return "You have seen the worked solution, so answers are not counted any more."
        return "" if self.attempts_left else "You have used all attempts at this problem."

    @property
    def solution_may_be_seen(self) -> bool:
        """Whether the worked solution may be shown to the learner."""
        rules = self.practice_set.declaration
        state = self.practice_set.state(self.moment)
        if rules.solutions == "never":
            return False
        if state == "closed":
            return True
        if rules.solutions != "when solved" or self.hidden:
            return False
        return self.solved or self.attempts_left == 0 or rules.help == "solution"


def for_learner(state: AttemptState, problem: AnyProblem, drafts: Mapping[str, str]) -> ForLearner:
    """The learner's view of a problem."""
    handed, question, rules = state.handed, problem.question, state.practice_set.declaration
    hints = question.exercise.hints if rules.help != "nothing" else []
    offered = [name for name in problem.step_names if name != handed.ask]
    if rules.help == "nothing":
        offered = [name for name in offered if name == question.evidence]
    return ForLearner(
        place=handed.place,
        places=len(rules.places),
        code=handed.code,
        steps=offered,
        attempts=rules.attempts,
        attempts_left=state.attempts_left,
        why_not=state.why_not,
        solved=None if state.hidden else state.solved,
        excused=handed.excused,
        hints=hints[: state.hints_seen],
        hints_left=max(0, len(hints) - state.hints_seen),
        solution_may_be_seen=state.solution_may_be_seen,
        answers=[answer_for_learner(answer, hidden=state.hidden) for answer in state.answers],
        drafts=drafts,
    )


def answer_for_learner(answer: Answer, *, hidden: bool) -> AnswerForLearner:
    """The learner's view of an answer; what was not counted says why in any case."""
    kept_back = hidden and (answer.counted or answer.verdict in ("right", "wrong", "unclear"))
    return AnswerForLearner(
        at=answer.at,
        source=answer.source,
        entry=answer.entry,
        steps=answer.steps,
        verdict="" if kept_back else answer.verdict,
        step_verdicts={} if hidden else answer.step_verdicts,
        feedback=SAVED if kept_back else answer.feedback,
        counted=answer.counted,
        comment=answer.comment,
    )


def place_for_learner(state: AttemptState) -> PlaceForLearner:
    """A line of the learner's list."""
    outcome: Literal["open", "right", "wrong", "answered", "excused"] = "open"
    counted = any(answer.counted for answer in state.answers)
    if state.handed.excused:
        outcome = "excused"
    elif counted and state.hidden:
        outcome = "answered"
    elif counted:
        outcome = "right" if state.solved else "wrong"
    return PlaceForLearner(
        place=state.handed.place,
        code=state.handed.code,
        title=state.handed.snapshot.title,
        state=outcome,
        attempts_left=state.attempts_left,
    )


def told_time(moment: datetime, zone: str) -> str:
    """A moment in words, in a time zone."""
    local = moment.astimezone(ZoneInfo(zone))
    return f"{local:%A} {local.day} {local:%B %Y} at {local:%H:%M} ({zone})"
