"""A problem: one exercise with numbers, what is told, what is asked, and every value of the right way."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from tutor.content.models import Amount
from tutor.engine.algebra import Node
from tutor.engine.method import Step
from tutor.engine.question import Question, WrongWay
from tutor.units import conversion, written

_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")


@dataclass(frozen=True)
class Problem:
    """`shown` are the givens as told; `known` and `values` (the steps) are in working units; `unit` is the answer's."""

    question: Question
    number: int
    parts: Mapping[str, str]
    shown: Mapping[str, Amount]
    known: Mapping[str, float]
    values: Mapping[str, float]
    unit: str

    @cached_property
    def all_values(self) -> dict[str, float]:
        """The givens and the steps together, in working units."""
        return {**self.known, **self.values}

    @property
    def ask(self) -> str:
        """The quantity asked for."""
        return self.question.ask

    @property
    def step_names(self) -> list[str]:
        """The steps to the answer, the answer last."""
        return list(self.question.right.names)

    @property
    def answer(self) -> Amount:
        """The right answer in the unit asked for."""
        return Amount(value=conversion(self.unit).to_shown(self.values[self.ask]), unit=self.unit)

    @cached_property
    def wrong_numbers(self) -> list[tuple[WrongWay, Sequence[float]]]:
        """What each declared slip leads to: the values of its steps in order, in working units."""
        return list(self.question.each_wrong_way(self.known, self.shown))

    @property
    def predictions(self) -> list[tuple[WrongWay, Mapping[str, float]]]:
        """The same by the names of the steps."""
        return [(way, dict(zip(way.method.names, numbers, strict=True))) for way, numbers in self.wrong_numbers]

    def evaluate(self, tree: Node, own: Mapping[str, float] | None = None) -> float:
        """The value of a relation in working units, from this problem's values or the learner's own earlier ones."""
        return self.question.relation(tree)({**self.known, **self.values, **(own or {})})

    def tree_of(self, step: Step) -> Node:
        """The relation of a step; where it has several roots, the one that this problem's values follow."""
        if len(step.trees) == 1:
            return step.trees[0]
        value = self.values[step.name]
        return min(step.trees, key=lambda tree: abs(self.evaluate(tree) - value))

    def unit_of(self, name: str) -> str:
        """The unit in which a quantity of this problem is shown."""
        return self.unit if name == self.ask else self.question.shown_unit(name, self.shown)

    def text_of(self, name: str, value: float | None = None, figures: int = 4) -> str:
        """A quantity's value as people write it; `value` in working units replaces this problem's own."""
        if value is None and name in self.shown:
            return self.shown[name].text
        value = {**self.known, **self.values}[name] if value is None else value
        quantity = self.question.library.quantities[name]
        if quantity.kind == "answer":
            return "yes" if value else "no"
        if quantity.kind == "choice":
            return quantity.choices[int(value)]
        if quantity.kind == "size":
            return self.question.rulebook.size_or_between(value).name
        unit = self.unit_of(name)
        return written(conversion(unit).to_shown(value), unit, figures)

    @property
    def story(self) -> list[str]:
        """The sentences of the story for which everything is known."""
        told = (self._filled(sentence) for sentence in self.question.exercise.story)
        return [sentence for sentence in told if sentence]

    @property
    def task(self) -> str:
        """The sentence that asks."""
        words = self.question.library.quantities[self.ask].words
        asked = self.question.exercise.asks.get(self.ask, f"Find the {words}.")
        return self._filled(asked) or asked

    def _filled(self, sentence: str) -> str:
        known = {**self.parts, **{name: amount.text for name, amount in self.shown.items()}}
        if any(name not in known for name in _PLACEHOLDER.findall(sentence)):
            return ""
        return _PLACEHOLDER.sub(lambda match: known[match[1]], sentence)


def placeholders(sentence: str) -> Iterator[str]:
    """The names that a sentence of a story leaves open."""
    return iter(_PLACEHOLDER.findall(sentence))
