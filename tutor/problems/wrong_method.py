"""One type for every wrong method of a question, and the declared ones.

A wrong method is followed from any point on, so that a working is judged from the learner's own earlier values.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from types import MappingProxyType
from typing import Literal as OneOf

from tutor.base.units import conversion
from tutor.content.errors import ContentError
from tutor.content.models import Amount, Slip
from tutor.expression.evaluate import NO_VALUE, Relation, literal_value
from tutor.expression.tree import COMPARED, Call, Literal, Name, Node, is_smooth, parts
from tutor.problems.method import Method, Step
from tutor.problems.question import Question

FURTHER_SLIP = 0.5  # how common a further slip of a mistake is beside its first: an estimate, no source
# So far beyond the plausible range, as a share of its ends, a result still escapes notice: beginners know magnitudes
# roughly at best.
ESCAPES_NOTICE = 0.5
QUESTIONS_KEPT = 1024  # more than there are, times two rulebooks
NOTHING: Mapping[str, str] = MappingProxyType({})

Origin = OneOf["declared", "derived", "pair"]
Values = Mapping[str, float]  # by the names of quantities, in working units


@dataclass(frozen=True, eq=False)
class WrongMethod:
    """A declared mistake, a slip that the relations invite, or a pair; `weight` says how common beside its like.

    `misread` says in which unit a given's printed number is taken.  Up to the step at `first_changed_step` all values
    are the right ones.  Who slips where it is `checked_for_plausibility` notices an implausible result: not so with
    units, which people trust.  `kind` is that of a derived slip.
    """

    question: Question
    id: str
    words: str
    origin: Origin
    weight: float
    method: Method
    misread: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    first_changed_step: int = 0
    checked_for_plausibility: bool = False
    kind: str = ""

    @property
    def steps(self) -> tuple[Step, ...]:
        """Its steps in order."""
        return self.method.steps

    @cached_property
    def changed(self) -> tuple[str, ...]:
        """The steps that have another relation than in the right method."""
        right = {step.name: step.trees for step in self.question.right.steps}
        return tuple(step.name for step in self.steps if step.trees != right.get(step.name))

    @cached_property
    def relations(self) -> tuple[tuple[str, Relation], ...]:
        """The steps from the first changed one on, compiled; those of pairs, which are many, are not shared."""
        compiled = self.question.compiled if self.origin == "pair" else self.question.relation
        return tuple((step.name, compiled(step.whole)) for step in self.steps[self.first_changed_step :])

    def misread_values(self, shown: Mapping[str, Amount]) -> dict[str, float]:
        """The givens whose printed number is taken in another unit, as they are taken."""
        return {
            name: conversion(unit).to_working(shown[name].value) for name, unit in self.misread.items() if name in shown
        }

    def values(self, givens: Values, shown: Mapping[str, Amount]) -> dict[str, float] | None:
        """The values of all its steps; None if it changes nothing for these givens.

        Raises one of NO_VALUE where it leads to no value.
        """
        if not self.misread:
            return self.method.values(givens)
        misread = {name: value for name, value in self.misread_values(shown).items() if name in self.method.inputs}
        if all(value == givens[name] for name, value in misread.items()):
            return None
        return self.method.values({**givens, **misread})

    def follow(
        self, shown: Mapping[str, Amount], values: Values, learner_values: Values, until: str
    ) -> dict[str, float]:
        """The values by name up to `until`; before the first changed step they are `values`, and `learner_values` stay.

        Raises one of NO_VALUE where it leads to no value.
        """
        result = {**values, **self.misread_values(shown)} if self.misread else dict(values)
        for name, relation in self.relations:
            result[name] = learner_values[name] if name in learner_values else relation(result)
            if name == until:
                break
        return result

    def is_plausible(self, values: Values) -> bool:
        """Whether somebody would go on with these values: a slip that nobody declared leads to plausible ones."""
        if not self.checked_for_plausibility:
            return True
        for step in self.steps[self.first_changed_step :]:
            low, high = self.question.plausible(step.name)
            value = values.get(step.name, low)
            if not low - ESCAPES_NOTICE * abs(low) <= value <= high + ESCAPES_NOTICE * abs(high):
                return False
        return True

    def reaches(self, name: str) -> bool:
        """Whether a quantity is one of the steps."""
        return name in self.method.names

    def unrounded(self, values: Values, name: str) -> tuple[float, ...]:
        """The values that a rounded, chosen or looked-up quantity comes from, back to the last ones that are none."""
        step = next((step for step in self.steps if step.name == name), None)
        if step is None or (is_smooth(step.whole) and not isinstance(step.whole, Name)):
            return (values[name],)
        if isinstance(step.whole, Call) and step.whole.function in COMPARED and not any(map(self.reaches, step.uses)):
            return (values[name],)
        return tuple(self._behind(step.whole, values))

    def _behind(self, node: Node, values: Values) -> Iterator[float]:
        for part in parts(node):
            match part:
                case Name(id_):
                    yield from self.unrounded(values, id_)
                case Literal():
                    yield literal_value(part)
                case _:
                    yield from self._behind(part, values)


@lru_cache(maxsize=QUESTIONS_KEPT)
def declared_mistakes(question: Question) -> tuple[WrongMethod, ...]:
    """The declared mistakes of a question, one for each slip that changes its arithmetic.

    Raises ContentError for a slip that changes what the exercise has not.
    """
    mistakes = []
    for id_, slip, method in slipped_methods(question):
        mistake = question.exercise.mistakes[id_]
        weight = mistake.weight * (1 if slip == mistake.slips[0] else FURTHER_SLIP)
        mistakes.append(WrongMethod(question, id_, mistake.words, "declared", weight, method, slip.misread))
    return tuple(mistakes)


def slipped_methods(question: Question) -> Iterator[tuple[str, Slip, Method]]:
    """What each slip of each mistake makes of the right method, with the mistake's id; the same slip comes once."""
    slips: list[Slip] = []
    for id_, mistake in question.exercise.mistakes.items():
        for slip in mistake.slips:
            method = _slipped(question, id_, slip)
            if method is not None and slip not in slips:
                slips.append(slip)
                yield id_, slip, method


def _slipped(question: Question, mistake: str, slip: Slip) -> Method | None:
    """The method that a slip makes of the right one; None if it makes no difference, or cannot be turned round."""
    try:
        method = question.method_of(("mistakes", mistake), question.slipped(mistake, slip), slip.swap)
    except ContentError:
        if question.reversed:
            return None
        raise
    changes_nothing = method.same_as(question.right) and not set(slip.misread) & set(method.inputs)
    return None if changes_nothing else method


def declared_values(
    question: Question, givens: Values, shown: Mapping[str, Amount]
) -> Iterator[tuple[WrongMethod, dict[str, float]]]:
    """What each declared mistake leads to with these givens: the values of its steps by name, the last its answer."""
    for mistake in declared_mistakes(question):
        try:
            values = mistake.values(givens, shown)
        except NO_VALUE:
            continue
        if values is not None:
            yield mistake, values


@lru_cache(maxsize=QUESTIONS_KEPT)
def likeliest_pair(question: Question) -> float:
    """The weight of the pair of mistakes that is more common than others; infinite if no pair is."""
    ids = {mistake.id for mistake in declared_mistakes(question)}
    heaviest = math.prod(sorted(question.exercise.mistakes[id_].weight for id_ in ids)[-2:])
    return heaviest if len(ids) > 1 and heaviest > 1 else math.inf
