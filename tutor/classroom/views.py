"""What a learner's browser may be told: nothing here holds a problem's number, expected values or answer.

A verdict is here only once the set lets the learner see it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from tutor.classroom.keeping import cautions_of
from tutor.classroom.models import Answer, Handed, Help, StoredSet
from tutor.content.library import Library
from tutor.entries.verdicts import RecordedVerdict

SAVED = "Saved. How it was marked is shown when the set closes."


@dataclass(frozen=True, kw_only=True)
class GivenForLearner:
    """A given as it is told."""

    name: str
    words: str
    text: str


@dataclass(frozen=True, kw_only=True)
class FieldForLearner:
    """A quantity to be typed: the answer or a step; `kind` is that of tutor.content.models.Quantity, or an order's."""

    name: str
    words: str
    unit: str
    kind: str
    choices: Sequence[str] = ()


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
    """One problem of a set as its learner sees it; `why_not` says why no answer is taken, '' if one is.

    `solved` is None while that may not be shown; `steps` are those offered for typing, `evidence` the one of them that
    a yes or no has to come with; `hints` are those seen so far.
    """

    title: str
    place: int
    places: int
    code: str
    exercise: str
    rulebook: str
    ask: str
    story: Sequence[str]
    listed: Sequence[str]
    task: str
    givens: Sequence[GivenForLearner]
    answer: FieldForLearner
    steps: Sequence[FieldForLearner]
    evidence: str | None
    cautions: Sequence[str]
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
class Standing:
    """A handed problem with its answers in its set at a moment after its opening: what may be done and shown."""

    of: StoredSet
    handed: Handed
    answers: list[Answer]
    help: Help
    hints_seen: int
    now: datetime

    @property
    def hidden(self) -> bool:
        """Whether verdicts are kept from the learner."""
        return self.of.declaration.marked == "when closed" and self.of.state(self.now) != "closed"

    @property
    def solved(self) -> bool:
        """Whether a counted answer is right."""
        return any(answer.counted and answer.verdict == "right" for answer in self.answers)

    @property
    def attempts_unused(self) -> int:
        """How many of the attempts that the set allows have not been used."""
        return max(0, self.of.declaration.attempts - sum(answer.counted for answer in self.answers))

    @property
    def attempts_left(self) -> int:
        """How many answers would still count."""
        if self.help == "solution" or (self.solved and not self.hidden):
            return 0
        return self.attempts_unused

    @property
    def why_not(self) -> str:
        """Why an answer would not count; '' if it would."""
        times = self.of.declaration
        if self.of.state(self.now) == "closed":
            at = min(moment for moment in (times.closes, self.of.closed_at) if moment is not None)
            return f"This set closed on {told_time(at, times.zone)}; answers are not counted any more."
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
        rules = self.of.declaration
        state = self.of.state(self.now)
        if rules.solutions == "never":
            return False
        if state == "closed":
            return True
        if rules.solutions != "when solved" or self.hidden:
            return False
        return self.solved or self.attempts_left == 0 or rules.help == "solution"


def for_learner(standing: Standing, library: Library, drafts: Mapping[str, str]) -> ForLearner:
    """The learner's view of a problem."""
    handed, kept, rules = standing.handed, standing.handed.kept, standing.of.declaration
    exercise = library.exercises.get(handed.exercise)
    hints = exercise.hints if exercise is not None and rules.help != "nothing" else []
    offered = [name for name in handed.expected if name != handed.ask]
    if rules.help == "nothing":
        offered = [name for name in offered if name == kept.evidence]
    return ForLearner(
        title=kept.title,
        place=handed.place,
        places=len(rules.places),
        code=handed.code,
        exercise=handed.exercise,
        rulebook=handed.rulebook,
        ask=handed.ask,
        story=kept.story,
        listed=kept.listed,
        task=kept.task,
        givens=[
            GivenForLearner(name=name, words=kept.words.get(name, name), text=amount.text)
            for name, amount in handed.givens.items()
        ],
        answer=_field(handed, handed.ask),
        steps=[_field(handed, name) for name in offered],
        evidence=kept.evidence,
        cautions=list(cautions_of(handed, library).values()),
        attempts=rules.attempts,
        attempts_left=standing.attempts_left,
        why_not=standing.why_not,
        solved=None if standing.hidden else standing.solved,
        excused=handed.excused,
        hints=hints[: standing.hints_seen],
        hints_left=max(0, len(hints) - standing.hints_seen),
        solution_may_be_seen=standing.solution_may_be_seen,
        answers=[answer_for_learner(answer, hidden=standing.hidden) for answer in standing.answers],
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


def place_for_learner(standing: Standing) -> PlaceForLearner:
    """A line of the learner's list."""
    state: Literal["open", "right", "wrong", "answered", "excused"] = "open"
    counted = any(answer.counted for answer in standing.answers)
    if standing.handed.excused:
        state = "excused"
    elif counted and standing.hidden:
        state = "answered"
    elif counted:
        state = "right" if standing.solved else "wrong"
    return PlaceForLearner(
        place=standing.handed.place,
        code=standing.handed.code,
        title=standing.handed.kept.title,
        state=state,
        attempts_left=standing.attempts_left,
    )


def _field(handed: Handed, name: str) -> FieldForLearner:
    kept = handed.kept
    return FieldForLearner(
        name=name,
        words=kept.words.get(name, name),
        unit=kept.units.get(name, ""),
        kind=kept.kinds.get(name, "number"),
        choices=kept.choices if name == handed.ask else (),
    )


def told_time(moment: datetime, zone: str) -> str:
    """A moment in words, in a time zone."""
    there = moment.astimezone(ZoneInfo(zone))
    return f"{there:%A} {there.day} {there:%B %Y} at {there:%H:%M} ({zone})"
