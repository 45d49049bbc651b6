"""Problems of earlier versions, which kept no declaration: rebuilt from the values that they are marked by.

They are problems as all others, whose steps are numbers without a relation; so no mistake of theirs can be named.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tutor.base.paths import content_root
from tutor.classroom.models import AssignedProblem, ProblemRecord
from tutor.content.files import Document
from tutor.content.library import Declared, Library
from tutor.content.models import Arrow, Exercise, OrderExercise, Quantity, Trap
from tutor.expression.tree import Literal
from tutor.problems.method import Method, Step
from tutor.problems.order import OrderProblem, OrderQuestion
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Question
from tutor.trade.rulebooks import rulebook

_NO_REASON = "No reason was kept."  # never told: of what stands alone only the verdict is
_SLACK = 1e-9  # relative; it is in the recorded range of right answers already


def recorded_problem(library: Library, assigned: AssignedProblem, safety: Sequence[str]) -> AnyProblem:
    """The problem of a record, with the cautions that fit it."""
    snapshot, record = assigned.snapshot, assigned.snapshot.record
    assert record is not None
    exercise_of_today = library.exercises.get(assigned.exercise)
    words = {**snapshot.words(assigned.ask), "story": record.story}
    fields = {**words, "id": assigned.exercise, "safety": safety}
    fields["hints"] = exercise_of_today.hints if exercise_of_today else []
    document = Document(content_root() / f"{assigned.exercise}.yaml", {})
    book = rulebook(assigned.rulebook)
    if snapshot.letters:
        exercise = _order_exercise(record, fields)
        wanted_order = next(wanted for wanted in ("order", "next_action") if wanted == assigned.ask)
        question = RecordedOrderQuestion(library, exercise, document, wanted_order, book)
        return OrderProblem(question, assigned.number, dict(snapshot.letters), (), {})
    declared = Declared(Exercise.model_construct(givens={}, relations={}, why={}, mistakes={}, **fields), document)
    recorded = RecordedQuestion(library, declared, assigned)
    given_values = {name: amount.working for name, amount in assigned.givens.items()}
    values = dict(assigned.expected)
    return RecordedProblem(
        recorded, assigned.number, dict(snapshot.parts), dict(assigned.givens), given_values, values, snapshot.unit
    )


def is_recorded(problem: AnyProblem) -> bool:
    """Whether a problem has nothing but the values that an earlier version kept."""
    return isinstance(problem.question, RecordedQuestion | RecordedOrderQuestion)


def stands_alone(assigned: AssignedProblem, problem: AnyProblem) -> bool:
    """Whether a problem's right answer does not follow from its relations: it was recorded, or is the instructor's."""
    return assigned.snapshot.said or is_recorded(problem)


class RecordedQuestion(Question):
    """A question of which only the right values are left: each step is a number, and no limit can be checked."""

    def __init__(self, library: Library, declared: Declared, assigned: AssignedProblem) -> None:
        assert assigned.snapshot.record is not None
        self.record, self._expected = assigned.snapshot.record, assigned.expected
        library = replace(library, quantities={**library.quantities, **_quantities(library, assigned, self.record)})
        super().__init__(library, declared, assigned.ask, rulebook(assigned.rulebook))
        self.known = list(assigned.givens)
        self.relations = {step.name: step.whole for step in self.right.steps}
        evidence, tabled = self.record.evidence, self.record.tabled
        vars(self).update(
            version=assigned.version,
            evidence=evidence,
            margins={},
            discrete=frozenset({self.ask} if tabled else ()),
            standard_ratings=frozenset(),
        )

    def tolerance(self, name: str, value: float) -> float:  # noqa: ARG002
        """The tolerance that was kept."""
        return float(self.record.tolerances.get(name, 0.0))

    def method_of(self, *_: Any) -> Method:
        """The values that were kept, each of them a step."""
        numbers = {name: Literal(repr(value)) for name, value in self._expected.items()}
        names = [*(name for name in numbers if name != self.ask), self.ask]
        steps = tuple(Step(name, "recorded", (numbers[name],)) for name in names)
        return Method(self.ask, steps, {})


@dataclass(frozen=True)
class RecordedProblem(Problem):
    """A problem whose right answers lie in the range that was kept."""

    @property
    def reach(self) -> tuple[float, float]:
        """How far below and above the right answer the kept range of right answers goes."""
        value = self.values[self.ask]
        assert isinstance(self.question, RecordedQuestion)
        low, high = self.question.record.accepted
        slack = _SLACK * max(1.0, abs(value))
        return value - low - slack, high - value - slack


class RecordedOrderQuestion(OrderQuestion):
    """An order of which the letters are left, with what has to come before what."""

    def __post_init__(self) -> None:
        """What was handed out was checked when it was declared."""


def _quantities(library: Library, assigned: AssignedProblem, record: ProblemRecord) -> Mapping[str, Quantity]:
    return {
        name: Quantity.model_construct(
            symbol=library.quantities[name].symbol if name in library.quantities else "",
            words=words,
            unit=assigned.givens[name].unit if name in assigned.givens else record.units.get(name, ""),
            kind=record.kinds.get(name, "number"),
            choices=record.choices if name == assigned.ask else [],
            plausible=(0.0, 1.0),
        )
        for name, words in record.words.items()
    }


def _order_exercise(record: ProblemRecord, fields: Mapping[str, Any]) -> OrderExercise:
    order = record.order
    assert order is not None
    letters, traps = order.letters, order.traps
    words = {letter: text for letter, _, text in (line.partition(": ") for line in record.listed)}
    return OrderExercise.model_construct(
        actions={letters[letter]: text for letter, text in words.items() if letter not in traps},
        traps={letters[letter]: Trap.model_construct(action=words[letter], why=_NO_REASON) for letter in traps},
        arrows=[
            Arrow.model_construct(first=letters[first], then=letters[waiting], why=_NO_REASON)
            for first, waiting in order.before
        ],
        **fields,
    )
