"""Order problems: steps to be put into an order of which only a part is fixed, with traps among them.

Which step comes before which is declared as arrows, each with its reason; where no arrow leads, any order is right.
A problem shows only some of the actions. Wherever one of these has to wait for another with none of the others in
between, there is an arrow from one to the other, so that no reason speaks of an action that the problem leaves out.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from string import ascii_uppercase
from typing import ClassVar, Literal

from tutor.content.files import Document
from tutor.content.library import Library
from tutor.content.models import Amount, Arrow, OrderExercise
from tutor.entries.kinds import label
from tutor.trade.rulebooks import Rulebook

Asked = Literal["order", "next_action"]
WHOLE: Asked = "order"
NEXT: Asked = "next_action"


@dataclass(frozen=True)
class OrderQuestion:
    """An order exercise and what it asks for: the whole order, or what may come next."""

    library: Library
    exercise: OrderExercise
    document: Document
    ask: Asked
    rulebook: Rulebook

    def __post_init__(self) -> None:
        """Raise ContentError if a problem could show two actions without the reason why one comes first."""
        for first, second in self._untold():
            fault = f"'{second}' waits for '{first}' only by way of actions that a problem may leave out."
            raise self.document.fault(("arrows",), fault, "Add an arrow between the two, with its reason.")

    @cached_property
    def version(self) -> str:
        """Eight characters that change whenever something changes that a draw or its marking rests on."""
        drawn_from = self.exercise.model_dump(
            mode="json", include={"id", "actions", "arrows", "indispensable", "traps", "shown"}
        )
        return hashlib.sha256(json.dumps(drawn_from, sort_keys=True).encode()).hexdigest()[:8]

    @property
    def evidence(self) -> None:
        """An order proves itself."""
        return

    def reason(self, first: str, later: str) -> Arrow | None:
        """The arrow from `first` to `later`, if there is one."""
        return self._arrows.get((first, later))

    @cached_property
    def procedure(self) -> tuple[str, ...]:
        """All the actions, also those that a problem leaves out, in one right order."""
        left, order = list(self.exercise.actions), []
        while left:
            following = next(action for action in left if not any(self.reason(earlier, action) for earlier in left))
            left.remove(following)
            order.append(following)
        return tuple(order)

    @cached_property
    def _arrows(self) -> Mapping[tuple[str, str], Arrow]:
        return {(arrow.first, arrow.then): arrow for arrow in self.exercise.arrows}

    def _untold(self) -> Iterator[tuple[str, str]]:
        """Two actions of which one has to wait for the other only by way of actions that a problem may leave out."""
        after = {action: self.exercise.after(action) for action in self.exercise.actions}
        for first, waiting in after.items():
            for second in sorted(waiting):
                explained = any(
                    between in waiting and second in after[between] for between in self.exercise.indispensable
                )
                if not explained and self.reason(first, second) is None:
                    yield first, second


@dataclass(frozen=True)
class OrderProblem:
    """Lettered actions, traps among them; `done` are those already taken where only the next one is asked for."""

    question: OrderQuestion
    number: int
    letters: Mapping[str, str]
    done: tuple[str, ...]
    shown: Mapping[str, Amount]

    @property
    def ask(self) -> Asked:
        """What is asked for."""
        return self.question.ask

    @property
    def step_names(self) -> list[str]:
        """An order is answered as a whole."""
        return []

    def words(self, action: str) -> str:
        """An action or a trap in words."""
        exercise = self.question.exercise
        return exercise.actions[action] if action in exercise.actions else exercise.traps[action].action

    @property
    def answer_label(self) -> str:
        """The label of the answer."""
        return label("", self.ask)

    @property
    def story(self) -> list[str]:
        """The story, and what has been done already."""
        sentences = list(self.question.exercise.story)
        if self.done:
            sentences.append("Done already, in this order: " + " ".join(self.words(action) for action in self.done))
        return sentences

    @property
    def listed(self) -> list[str]:
        """The lettered actions as lines."""
        return [f"{letter}: {self.words(action)}" for letter, action in self.letters.items()]

    @property
    def task(self) -> str:
        """The sentence that asks."""
        return self.question.exercise.asks[self.ask]

    @property
    def to_order(self) -> list[str]:
        """The actions still to be taken, the traps left out."""
        return [action for action in self.letters.values() if action in self.question.exercise.actions]

    @cached_property
    def right_order(self) -> list[str]:
        """One right order: that of the whole procedure, without what is done or left out."""
        to_order = self.to_order
        return [action for action in self.question.procedure if action in to_order]

    def must_wait(self, action: str, left: Sequence[str]) -> str | None:
        """Another of the actions left that has to come before this one."""
        return next((earlier for earlier in left if self.question.reason(earlier, action)), None)

    @property
    def missing(self) -> list[str]:
        """The indispensable actions that the problem neither lists nor tells as done: there must be none."""
        shown = {*self.letters.values(), *self.done}
        return [action for action in self.question.exercise.indispensable if action not in shown]

    def letter_of(self, action: str) -> str:
        """The letter of an action."""
        return next(letter for letter, listed in self.letters.items() if listed == action)

    @property
    def answer_text(self) -> str:
        """One right answer in letters."""
        letters = [self.letter_of(action) for action in self.right_order]
        return " ".join(letters) if self.ask == WHOLE else letters[0]

    answer_value = answer_text
    unit: ClassVar = ""


def draw_order(question: OrderQuestion, number: int) -> OrderProblem:
    """Draw an order problem: which of the actions appear, the traps among them, and their letters."""
    exercise = question.exercise

    def shuffled(ids: Sequence[str], purpose: str) -> list[str]:
        def rank(id_: str) -> bytes:
            return hashlib.shake_128(f"{exercise.id} {number} {purpose} {id_}".encode()).digest(16)

        return sorted(ids, key=rank)

    sometimes = [action for action in exercise.actions if action not in exercise.indispensable]
    room = exercise.shown - len(exercise.indispensable)
    chosen = [*exercise.indispensable, *shuffled(sometimes, "which")[:room]]
    traps = shuffled(list(exercise.traps), "trap")[: 1 + number % 2]
    listed = shuffled([*chosen, *traps], "letter")
    taken_before: tuple[str, ...] = ()
    if question.ask == NEXT:
        procedure = OrderProblem(question, number, dict(zip(ascii_uppercase, listed, strict=False)), (), {}).right_order
        taken_before = tuple(procedure[: number % (len(procedure) - 1)])
        listed = [action for action in listed if action not in taken_before]
    return OrderProblem(question, number, dict(zip(ascii_uppercase, listed, strict=False)), taken_before, {})
