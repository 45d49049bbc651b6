"""A problem: one exercise with numbers, what is told, what is asked, and every value of the right way."""

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

from tutor.base.units import conversion, decimals_of, plain_number, with_unit
from tutor.content.models import Amount, filled
from tutor.entries.kinds import MARKING_TOLERANCE, Kind, kind_of, label
from tutor.expression.evaluate import NO_VALUE
from tutor.expression.tree import Call, Comparison, Name, Node, names
from tutor.problems.method import Step, needed
from tutor.problems.order import OrderProblem
from tutor.problems.printing import MOST_FIGURES, RESULT_FIGURES, STEP_FIGURES, roundings, same, telling_figures
from tutor.problems.question import Question
from tutor.problems.wrong_method import WrongMethod, declared_values
from tutor.problems.wrong_methods import WrongMethods, paired_wrong_methods, single_wrong_methods
from tutor.trade.rulebooks import TableError

MOST_OF_A_MARGIN = 0.5  # so much (relative) an answer may miss a margin, that its sign and its size are never in doubt
SLACK = 1e-9  # what rounding in floating point may carry a value


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
    def predictions(self) -> list[tuple[WrongMethod, dict[str, float]]]:
        """What each declared mistake leads to: the values of its steps by name, in working units, the answer last."""
        return list(declared_values(self.question, self.known, self.shown))

    @property
    def wrong_methods(self) -> WrongMethods:
        """All single wrong methods, the declared ones first."""
        return single_wrong_methods(self.question, self.shown)

    @property
    def wrong_pairs(self) -> WrongMethods:
        """Two slips together, one of them declared at least."""
        return paired_wrong_methods(self.question, self.shown)

    def evaluate(self, tree: Node, own: Mapping[str, float] | None = None) -> float:
        """The value of a relation in working units, from this problem's values or the learner's own earlier ones."""
        return self.question.relation(tree)({**self.all_values, **(own or {})})

    def tree_of(self, step: Step) -> Node:
        """The relation of a step; where it has several roots, the one that this problem's values follow."""
        if len(step.trees) == 1:
            return step.trees[0]
        value = self.values[step.name]
        return min(step.trees, key=lambda tree: abs(self.evaluate(tree) - value))

    def unit_of(self, name: str) -> str:
        """The unit in which a quantity of this problem is shown."""
        return self.unit if name == self.ask else self.question.shown_unit(name, self.shown)

    def kind(self, name: str) -> Kind:
        """How a quantity's values are typed and written, in the unit in which this problem shows it."""
        return kind_of(self.question.library.quantities[name], self.question.rulebook, self.unit_of(name))

    def label(self, name: str) -> str:
        """What the box or the line for a quantity is called, on the screen and on paper."""
        quantity = self.question.library.quantities[name]
        return label(quantity.words, quantity.kind, self.unit_of(name), quantity.choices)

    @property
    def answer_label(self) -> str:
        """The label of the answer."""
        return self.label(self.ask)

    def tolerance(self, name: str, value: float | None = None) -> float:
        """How far from this problem's value, or another one, an entry for a quantity may lie, in working units.

        A margin, whose sign decides, may be missed by half its size at most, and by no more than half a per cent of
        the largest quantity that it is taken from.
        """
        value = self.values[name] if value is None else value
        reach = self.question.tolerance(name, value)
        if name not in self.question.margins:
            return reach
        terms = (abs(self.all_values[term]) for term in self.question.margins[name] if term in self.all_values)
        return min(reach, MARKING_TOLERANCE * max(terms, default=math.inf), MOST_OF_A_MARGIN * abs(value))

    @cached_property
    def reach(self) -> tuple[float, float]:
        """How far below and above the right answer an answer may lie, in working units, if it keeps the limits.

        Where a limit binds the answer on one side, an answer rounded to three figures is right on the other: as a
        published 13.7 A is for 13.776 A at most.
        """
        value, reach = self.values[self.ask], self.tolerance(self.ask)
        quantity = self.question.library.quantities[self.ask]
        discrete = quantity.tolerance is not None or self.ask in self.question.discrete
        if discrete or not self.question.limits or not value:
            return reach, reach
        shown = abs(self.answer.value)
        place = 10.0 ** (math.floor(math.log10(shown)) - RESULT_FIGURES + 1) * conversion(self.unit).scale
        safe = max(reach, place)
        below, above = self.breaks_limit(value - reach), self.breaks_limit(value + reach)
        return (safe if above and not below else reach), (safe if below and not above else reach)

    def is_near(self, name: str, value: float) -> bool:
        """Whether a value in working units is close enough to the right one; of limits nothing is said."""
        right = self.values[name]
        below, above = self.reach if name == self.ask else (self.tolerance(name),) * 2
        slack = SLACK * max(1.0, abs(right))
        return -below - slack <= value - right <= above + slack

    def breaks_limit(self, value: float) -> bool:
        """Whether an answer breaks a limit, or is one for which the limit cannot even be worked out."""
        values = {**self.all_values, self.ask: value}
        try:
            return any(not limit.holds(values) for limit in self.question.limits)
        except NO_VALUE:
            return True

    def accepts(self, value: float) -> bool:
        """Whether an answer in working units is right: near enough, and within every limit."""
        return self.is_near(self.ask, value) and not self.breaks_limit(value)

    @cached_property
    def printed(self) -> str:
        """The number of the answer as it is printed, in its unit, with a plain minus sign.

        It has as few figures as leave it right when it is typed, three or more.  Where a limit binds the answer it is
        so rounded to the side on which the limit is kept, else to the quantity's safe side if it has one.  Worked on
        with, it leads to the same counts and ratings.
        """
        exact = self.answer.value
        if self.question.kinds[self.ask].measured:
            scale = conversion(self.unit)
            for text in roundings(exact, RESULT_FIGURES):
                value = scale.to_working(float(text))
                if self._is_safe(value) and self.accepts(value) and self.leads_back(value):
                    return text
        return f"{exact:.15g}"

    def _is_safe(self, value: float) -> bool:
        """Whether a value lies on the answer's safe side; what limits bind is judged by them."""
        side, exact = self.question.library.quantities[self.ask].safe_side, self.values[self.ask]
        if side is None or self.question.limits or same(value, exact):
            return True
        return value > exact if side == "above" else value < exact

    @property
    def printed_value(self) -> float:
        """The answer as printed, in working units."""
        return conversion(self.unit).to_working(float(self.printed))

    def leads_back(self, value: float) -> bool:
        """Whether the counts, ratings and table values that rest on the answer are the same with another value."""
        rests_on_it = self.question.jumps_after
        if not rests_on_it:
            return True
        try:
            exact, back = self._worked_on(self.values[self.ask]), self._worked_on(value)
        except NO_VALUE:
            return False
        return all(exact[name] == back[name] for name in rests_on_it)

    def _worked_on(self, value: float) -> dict[str, float]:
        """The values of the relations up to the final answer, worked out from a value for what is asked for."""
        values = {**self.known, self.ask: value}
        for name in self.question.to_final:
            values[name] = self.question.relation(self.question.relations[name])(values)
        return values

    def with_answer(self, tree: Node, value: float) -> dict[str, float]:
        """What a relation rests on when an answer, in working units, is built: worked out afresh from the givens."""
        relations, values = self.question.relations, {**self.known, self.ask: value}
        for name in needed(relations, sorted(names(tree)), values):
            if names(relations[name]) <= values.keys():
                values[name] = self.question.relation(relations[name])(values)
        return values

    @cached_property
    def step_figures(self) -> int:
        """With how many figures the steps are printed: four, or more where a line would not be true as printed.

        So it is where a comparison looks turned or level, and where a rounding or a table seems to lead elsewhere.
        """
        trees = [limit.tree for limit in self.question.limits]
        trees += [tree for step in self.question.right.steps for tree in step.trees if isinstance(tree, Comparison)]
        answered = ((tree, self.with_answer(tree, self.printed_value)) for tree in trees)
        compared = (self.telling_figures(tree, values) for tree, values in answered)
        return max((STEP_FIGURES, *compared, *map(self._reading_figures, self.question.right.steps)))

    def _reading_figures(self, step: Step) -> int:
        """With how many figures what a step rounds or looks up leads, as printed, to the step's value."""
        if step.kind not in ("round", "look up", "choose"):
            return STEP_FIGURES
        tree = self.tree_of(step)
        assert isinstance(tree, Call)
        for figures in range(STEP_FIGURES, MOST_FIGURES):
            with suppress(TableError):
                printed = (self._as_printed(argument, figures) for argument in tree.arguments)
                if self.question.read_off(tree, *printed) == self.values[step.name]:
                    return figures
        return MOST_FIGURES

    def _as_printed(self, node: Node, figures: int) -> float:
        """What a part of a relation is when it is printed with so many figures, in working units."""
        value = self.evaluate(node)
        name = node.id if isinstance(node, Name) else None
        if name in self.shown or (name and not self.question.kinds[name].measured):
            return value
        unit = conversion(self.unit_of(name) if name else "")
        shown = unit.to_shown(value)
        return unit.to_working(float(plain_number(shown, decimals_of(shown, figures))))

    def telling_figures(self, tree: Comparison, values: Mapping[str, float]) -> int:
        """With how many figures both sides of a comparison, as printed, compare as they do."""
        to_shown = conversion(self.unit_of_sides(tree)).to_shown
        return telling_figures(*(to_shown(self.question.relation(side)(values)) for side in (tree.left, tree.right)))

    def unit_of_sides(self, tree: Comparison) -> str:
        """The unit in which both sides of a comparison are shown: that of the side which is a single quantity."""
        single = next((side.id for side in (tree.right, tree.left) if isinstance(side, Name)), None)
        return self.unit_of(single) if single else ""

    def text_of(self, name: str, value: float | None = None, figures: int = STEP_FIGURES) -> str:
        """A quantity's value as people write it; `value` in working units replaces this problem's own.

        A given is written as told, a step with `step_figures`, the answer as `printed`.
        """
        if value is None and name in self.shown:
            return self.shown[name].text
        is_printed, value = value is None, self.all_values[name] if value is None else value
        kind = self.kind(name)
        if is_printed and name == self.ask and kind.measured:
            return with_unit(self.printed, kind.unit)
        return kind.text(value, self.step_figures if is_printed and not kind.in_words else figures)

    @property
    def answer_text(self) -> str:
        """The right answer as it is printed."""
        return self.text_of(self.ask)

    @property
    def answer_value(self) -> float | bool | str:
        """The right answer as JSON holds it."""
        return self.kind(self.ask).plain(self.values[self.ask])

    @property
    def listed(self) -> list[str]:
        """Nothing is to be put in order."""
        return []

    @property
    def story(self) -> list[str]:
        """The sentences of the story for which everything is known."""
        sentences = (self._filled(sentence) for sentence in self.question.exercise.story)
        return [sentence for sentence in sentences if sentence]

    @property
    def task(self) -> str:
        """The sentence that asks."""
        words = self.question.library.quantities[self.ask].words
        sentence = self.question.exercise.asks.get(self.ask, f"Find the {words}.")
        return self._filled(sentence) or sentence

    def _filled(self, sentence: str) -> str:
        return filled(sentence, {**self.parts, **{name: amount.text for name, amount in self.shown.items()}})


AnyProblem: TypeAlias = Problem | OrderProblem
"""What may be set: both have a question, a number, an ask, a story, a task, givens shown, an answer and its label."""
