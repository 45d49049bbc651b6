"""What a marking says: the verdict on an attempt, on its steps, and the mistakes that explain it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from tutor.answers.entry import Entry

Verdict = Literal["right", "carried", "wrong", "unclear", "refused"]


@dataclass(frozen=True)
class Explanation:
    """A mistake that explains what was typed, with its probability among all explanations, chance included."""

    id: str
    words: str
    probability: float


@dataclass(frozen=True)
class Mark:
    """The verdict on one typed quantity; 'carried' is right for the learner's own earlier value."""

    verdict: Verdict
    entry: Entry | None
    feedback: str


@dataclass(frozen=True)
class Marking:
    """The verdict on a whole attempt; an attempt counts only if it is right or wrong."""

    verdict: Literal["right", "wrong", "unclear", "refused"]
    entry: Entry | None
    feedback: str
    candidates: tuple[Explanation, ...] = ()
    named: Explanation | None = None
    steps: Mapping[str, Mark] = field(default_factory=dict)

    @property
    def counts(self) -> bool:
        """Whether this was an attempt at an answer."""
        return self.verdict in ("right", "wrong")
