"""What the class is made of: the practice set as its file declares it, members, problems handed out, their answers."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from typing import Annotated, Any, Literal, Self

from pydantic import AwareDatetime, Field, model_validator

from tutor.content.models import Amount, Identifier, Model, Name, RulebookId, Text, filled
from tutor.entries.verdicts import RecordedVerdict

MOST_PROBLEMS = 60

Help = Literal["nothing", "hints", "solution"]
ClaimWith = Literal["personal code", "name alone"]


class Item(Model):
    """One exercise of a set and how many problems of it each learner gets."""

    exercise: Identifier
    ask: Annotated[Name | None, Field(description="the quantity asked for, if not the usual one")] = None
    problems: Annotated[int, Field(ge=1, le=MOST_PROBLEMS)] = 1


class PracticeSet(Model):
    """A practice set: what each learner gets, under which rules, from when to when."""

    id: Identifier
    title: Text
    rulebook: RulebookId = "us"
    items: Annotated[list[Item], Field(min_length=1, max_length=MOST_PROBLEMS)]
    attempts: Annotated[int, Field(ge=1, le=20, description="how many counted answers to each problem")] = 3
    help: Annotated[Help, Field(description="the furthest help shown while the set is open")] = "hints"
    marked: Annotated[
        Literal["at once", "when closed"], Field(description="when a learner sees whether an answer is right")
    ] = "at once"
    solutions: Annotated[
        Literal["when solved", "when closed", "never"], Field(description="when a learner sees the worked solution")
    ] = "when closed"
    opens: AwareDatetime | None = None
    closes: AwareDatetime | None = None
    zone: Annotated[str, Field(description="the time zone in which times are shown, as 'Europe/Lisbon'")] = "UTC"
    claim_with: Annotated[
        ClaimWith, Field(description="what takes a name of the class list for the first time, beside the set's code")
    ] = "personal code"

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if any(moment is not None and not 2000 <= moment.year <= 2200 for moment in (self.opens, self.closes)):
            raise ValueError("'opens' and 'closes' lie between the years 2000 and 2200")
        if self.opens and self.closes and self.closes <= self.opens:
            raise ValueError("'closes' is not after 'opens'")
        if sum(item.problems for item in self.items) > MOST_PROBLEMS:
            raise ValueError(f"more than {MOST_PROBLEMS} problems in all")
        if self.help == "solution" and self.solutions != "when solved":
            raise ValueError("'help: solution' shows the worked solution; then 'solutions' is 'when solved'")
        return self

    @property
    def is_exam(self) -> bool:
        """Whether learners see how they did, and the worked solutions, only after it has closed."""
        return self.marked == "when closed"

    @property
    def places(self) -> Sequence[Item]:
        """The item at each place of the sheet, in order; a place is one problem."""
        return [item for item in self.items for _ in range(item.problems)]


@dataclass(frozen=True, kw_only=True)
class StoredSet:
    """A practice set opened for a class: `code` is what learners type; `closed_at` is when the instructor closed it."""

    id: int
    class_id: int
    class_name: str
    declaration: PracticeSet
    code: str
    secret: str = field(repr=False)
    class_secret: str = field(repr=False)
    made_at: datetime
    closed_at: datetime | None = None

    def state(self, moment: datetime) -> Literal["not yet", "open", "closed"]:
        """Whether answers are taken at a moment."""
        times = self.declaration
        if times.opens is not None and moment < times.opens:
            return "not yet"
        ended = self.closed_at is not None or (times.closes is not None and moment >= times.closes)
        return "closed" if ended else "open"


@dataclass(frozen=True, kw_only=True)
class Member:
    """One learner of a class: the name and the instructor's own number for them, as the roster says (may be "")."""

    id: int
    name: str
    number: str = ""


class RecordedOrder(Model):
    """What an order was marked by: its letters and their actions, which letter waits for which, the traps."""

    letters: dict[str, str]
    done: list[str]
    before: list[tuple[str, str]]
    traps: list[str]


class ProblemRecord(Model):
    """What an earlier version kept of a problem, in the place of its declaration, as its rows in the store hold it.

    `words`, `units`, `kinds` and `tolerances` are by quantity; `accepted` is the range of right answers in the working
    unit; `tabled` says that the answer is one of a table's values, `bounded` that it has a limit.
    """

    title: str
    story: list[str]
    listed: list[str]
    task: str
    parts: dict[str, str]
    words: dict[str, str]
    units: dict[str, str]
    kinds: dict[str, str]
    tolerances: dict[str, float]
    choices: list[str]
    accepted: tuple[float, float]
    evidence: str | None
    tabled: bool
    bounded: bool
    said: bool
    order: RecordedOrder | None
    profile: tuple[int, int, int]


@dataclass(frozen=True, kw_only=True)
class ProblemSnapshot:
    """What a problem handed out is rebuilt from, whatever becomes of the content (tutor.classroom.sets.snapshots).

    `declaration` is the frozen declaration, `parts`, `unit` (the answer's), `letters` and `done` (an order's) what was
    drawn; `profile` is (steps, traps, size class), the difficulty; `said` tells that the instructor has said the right
    answer; `record` is what an earlier version kept in the place of a declaration.
    """

    declaration: str = ""
    parts: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""
    letters: Mapping[str, str] = field(default_factory=dict)
    done: Sequence[str] = field(default_factory=list)
    profile: tuple[int, int, int] = (0, 0, 0)
    said: bool = False
    record: ProblemRecord | None = None

    @property
    def title(self) -> str:
        """The exercise's title."""
        return str(self.words("")["title"])

    def kind(self, ask: str) -> str:
        """The kind of what is asked for: that of its quantity, or the order's."""
        if self.record is not None:
            return str(self.record.kinds.get(ask, ""))
        if self.letters:
            return ask
        return str(_content(self.declaration)["quantities"][ask].get("kind", "number"))

    def words(self, ask: str) -> Mapping[str, Any]:
        """The words in which the exercise tells and asks, by the declaration's fields."""
        if self.record is not None:
            story = self.record.story
            story_and_asks = {"story": story[:-1] if self.done else story, "asks": {ask: self.record.task}}
            return {"title": self.record.title, **story_and_asks}
        exercise = _content(self.declaration)["exercise"]
        return {name: exercise[name] for name in ("title", "story", "asks", "actions") if name in exercise}


@lru_cache(maxsize=1024)
def _content(declaration: str) -> Mapping[str, Any]:
    content: Mapping[str, Any] = json.loads(declaration)
    return content


@dataclass(frozen=True, kw_only=True)
class AssignedProblem:
    """One problem as it was handed to one member; its snapshot is kept, so no later change of the content changes it.

    `place` counts from 1 on the member's sheet; `code` is what the sheet prints and the learner types ("7KQ4-2P");
    `expected` are the right values in working units by quantity, the one asked and the steps before it; `answer` is
    the right answer as text; `tolerance` is in the working unit of the quantity asked.
    """

    id: int
    member: Member
    place: int
    code: str
    exercise: str
    version: str
    number: int
    ask: str
    rulebook: RulebookId
    givens: Mapping[str, Amount] = field(default_factory=dict)
    expected: Mapping[str, float] = field(default_factory=dict)
    answer: str = ""
    tolerance: float = 0.0
    excused: bool = False
    snapshot: ProblemSnapshot = field(default_factory=ProblemSnapshot)

    @property
    def evidence(self) -> str | None:
        """The step that a yes or no has to come with: the one before it."""
        steps = list(self.expected)
        return steps[-2] if len(steps) > 1 and self.snapshot.kind(self.ask) == "answer" else None

    @property
    def task(self) -> str:
        """The sentence that asks."""
        sentence = str(self.snapshot.words(self.ask)["asks"][self.ask])
        texts = {name: amount.text for name, amount in self.givens.items()}
        return filled(sentence, {**self.snapshot.parts, **texts}) or sentence


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One answer to a handed problem; `counted` is False for one that was unclear, refused, late or over the limit.

    The verdict is '' if it was not marked (late, or over the limit). `step_verdicts` are those of the steps typed.
    `mistakes` are the candidates with their probability, `named` the one that was claimed, `seconds` the time since
    the problem was first shown, `comment` the instructor's.
    """

    id: int
    handed: int
    key: str
    at: datetime
    source: Literal["screen", "paper"]
    entry: str
    steps: Mapping[str, str] = field(default_factory=dict)
    step_verdicts: Mapping[str, str] = field(default_factory=dict)
    verdict: RecordedVerdict = ""
    named: str | None = None
    mistakes: Mapping[str, float] = field(default_factory=dict)
    feedback: str = ""
    counted: bool = True
    help: Help = "nothing"
    seconds: float | None = None
    comment: str = ""

    @property
    def was_withdrawn(self) -> bool:
        """Whether it was marked and is not counted all the same."""
        return not self.counted and self.verdict in ("right", "wrong")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """How one member stands with one place of a set: what statistics, reports and exports are made from."""

    handed: AssignedProblem
    answers: Sequence[Answer] = ()

    @property
    def state(self) -> Literal["excused", "right", "wrong", "open"]:
        """Excused; right if any counted answer is; wrong if there are counted answers and none is; else open."""
        if self.handed.excused:
            return "excused"
        counted = [answer.verdict for answer in self.answers if answer.counted]
        if "right" in counted:
            return "right"
        return "wrong" if counted else "open"
