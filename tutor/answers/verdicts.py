"""What a marking says: the verdict on an attempt, on its steps, and the mistakes that explain it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from tutor.entries.entry import Entry
from tutor.entries.verdicts import AnswerVerdict, StepVerdict
from tutor.problems.wrong_method import WrongMethod


@dataclass(frozen=True)
class Explanation:
    """A mistake that explains what was typed, with its probability among all explanations, chance included."""

    id: str
    words: str
    probability: float


@dataclass(frozen=True)
class Candidate(Explanation):
    """An explanation by a wrong method; `certain` if it may be named."""

    method: WrongMethod
    certain: bool


def claimed(explaining: Sequence[Candidate]) -> Candidate | None:
    """The candidate that may be named, if there is one."""
    return explaining[0] if explaining and explaining[0].certain else None


@dataclass(frozen=True)
class Mark:
    """The verdict on one typed quantity; 'carried' is right for the learner's own earlier value."""

    verdict: StepVerdict
    entry: Entry | None
    feedback: str
    candidates: tuple[Candidate, ...] = ()

    @property
    def named(self) -> Candidate | None:
        """The mistake made in this step, if it may be named."""
        return claimed(self.candidates)


@dataclass(frozen=True)
class Marking:
    """The verdict on a whole attempt; an attempt counts only if it is right or wrong.

    `candidates` explain the first departure, likeliest first; where none may be `named`, the value of the step
    `separating` would tell them apart.  `answer` are those for an answer that departs again after a wrong step.  `near`
    are sentences about the limits that a right answer nearly uses up.
    """

    verdict: AnswerVerdict
    entry: Entry | None
    feedback: str
    candidates: tuple[Explanation, ...] = ()
    named: Explanation | None = None
    separating: str | None = None
    steps: Mapping[str, Mark] = field(default_factory=dict)
    answer: tuple[Candidate, ...] = ()
    near: tuple[str, ...] = ()

    @property
    def all_named(self) -> list[Explanation]:
        """All mistakes that are named, in the order in which they were made."""
        named = [mark.named for mark in self.steps.values()] + [claimed(self.answer), self.named]
        by_id = {explanation.id: explanation for explanation in named if explanation is not None}
        return list(by_id.values())

    @property
    def counts(self) -> bool:
        """Whether this was an attempt at an answer."""
        return self.verdict in ("right", "wrong")
