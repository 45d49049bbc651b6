"""Judging the sides of a statement against each other, and then what they are."""

from collections.abc import Sequence
from itertools import pairwise

from tutor.answers.working.calculations import CalculationJudge
from tutor.answers.working.context import Finding, Judge
from tutor.answers.working.expression import Expression, Number
from tutor.answers.working.matching import Match
from tutor.answers.working.reading import COMPARED, Statement
from tutor.answers.working.sides import MODES, Side, SideEvaluator, agreeing, compares, is_measured, same_dimensions
from tutor.answers.working.values import ValueJudge
from tutor.entries.unit_names import COUNT
from tutor.expression.tree import Name

_PER_CENT = {"%", "%/K"}


class StatementJudge(Judge):
    """Judges statements."""

    def statement(self, statement: Statement) -> list[Finding]:
        """What is found about a statement: about each of its sides in turn, up to the first that is wrong."""
        evaluator = SideEvaluator(self.context.numbers, self.context.learner.carried())
        sides = [evaluator.side(side) if side is not None else None for side in statement.sides]
        chain: list[Side] = [side for side in sides[:1] if side is not None]
        findings: list[Finding] = []
        for sign, (left, right) in zip(statement.signs, pairwise(sides), strict=False):
            if right is None:
                continue
            if sign in COMPARED:
                if left is None or compares(left, sign, right):
                    break
                words = self.context.messages.compared(left, sign, right)
                return [*findings, *self._chain(statement, chain), Finding("arithmetic", words=words)]
            if left is not None and (leaf := _running_on(left, right)) is not None:
                side = evaluator.side(Expression(Name("0"), (leaf,), leaf.text))
                findings += self._chain(statement.unlabelled, [*chain, side])
                chain = []
            elif left is not None and _tells_anew(left, right):
                findings += self._chain(statement, chain) if len(chain) > 1 or not _is_of(left) else []
                statement, chain = statement.unlabelled, []
            chain.append(right)
        return findings + self._chain(statement, chain)

    def _chain(self, statement: Statement, chain: Sequence[Side]) -> list[Finding]:
        """Judge sides that all are to be the same."""
        if not chain:
            return []
        calculated = [side for side in chain if side.number is None]
        numeric = [side for side in calculated if not side.expression.is_symbolic]
        for place, (left, right) in enumerate(pairwise(chain)):
            if fault := self._against(left, right, statement, exact=bool(numeric)):
                if any(finding.is_wrong for finding in fault) and _is_no_claim(left, right, first=place == 0):
                    self.context.numbers.remember_unread(number.value for number in right.expression.numbers)
                    return [Finding("unread", words=self.context.messages.say("no_claim"), unrecognized=True)]
                return fault
        if not calculated:
            numbers = [side.number for side in chain if side.number is not None]
            return [ValueJudge(self.context).bare(statement, numbers)]
        return [CalculationJudge(self.context).among(statement, numeric or calculated, chain[-1])]

    def _against(self, left: Side, right: Side, statement: Statement, *, exact: bool) -> list[Finding]:
        """What is wrong between two sides, if anything."""
        messages = self.context.messages
        symbolic = left.expression.is_symbolic or right.expression.is_symbolic
        if (symbolic and exact) or not (left.values and right.values):
            return []
        if left.mismatch or right.mismatch:
            side = left if left.mismatch else right
            return [self._unlike(statement, left, right, messages.say("unlike", side=side.expression.text))]
        per_cent = bool((left.units | right.units) & _PER_CENT)
        if not same_dimensions(left, right) and not per_cent:
            return [self._unlike(statement, left, right, messages.other_dimension(left, right))]
        number = right.number
        if modes := agreeing(left, right):
            lost = modes == ["typed"] and is_measured(left, self.context.numbers)
            if lost and number is not None and number.unit and not per_cent:
                words = messages.say("other_size", left=left.expression.text, right=right.expression.text)
                return [self._unlike(statement, left, right, words)]
            return []
        if symbolic or self._agrees_in_per_cent(left, number):
            return []
        return self._rounded(statement, left, number) or [self._miscalculated(statement, left, right)]

    def _agrees_in_per_cent(self, left: Side, number: Number | None) -> bool:
        """Whether a share is written in per cent without its sign, and a step is shown so."""
        shown = any(self.context.problem.unit_of(name).startswith("%") for name in self.context.samples.steps)
        if number is None or number.unit not in (None, *_PER_CENT) or not (shown or number.unit):
            return False
        return any(
            abs(100 * left.values[mode] - number.value) <= 1.05 * (100 * left.open_by[mode] + number.half_width)
            for mode in MODES
            if left.values.get(mode)
        )

    def _rounded(self, statement: Statement, left: Side, number: Number | None) -> list[Finding]:
        """The findings for a whole number that a result was rounded to in the same breath."""
        context = self.context
        value = left.values.get("typed")
        rounds = any(step.kind == "round" for step in context.samples.steps.values())
        if number is None or not number.is_whole or number.measured_in or not rounds or value is None:
            return []
        if abs(value - number.value) >= 1:
            return []
        match = context.match(left.expression, None, (), ())
        if match.kind == "unknown":
            return []
        unrounded = Number(value, 1e-6 * abs(value), 7, None, f"{value:.6g}")
        first = CalculationJudge(context).judged(statement.unlabelled, match, left, unrounded)
        if first.name in context.learner.order and first.entry:
            context.learner.entries[first.name] = first.entry
        context.previous = first
        return [first, ValueJudge(context).value(statement.unlabelled, number)]

    def _miscalculated(self, statement: Statement, left: Side, right: Side) -> Finding:
        match, number = self._recorded(statement, left, right)
        name = self._meant(statement, match, ("right", "wrong"))
        entry = self.context.learner.entry_for(name, number) if name and number else None
        words = self.context.messages.miscalculated(left, right)
        return Finding("arithmetic", name, words=words, number=number, entry=entry)

    def _unlike(self, statement: Statement, left: Side, right: Side, words: str) -> Finding:
        match, number = self._recorded(statement, left, right)
        name = self._meant(statement, match, ("right",))
        entry = self.context.learner.entry_for(name, number.bare) if name and number else None
        return Finding("dimension", name, words=words, number=number, entry=entry)

    def _recorded(self, statement: Statement, left: Side, right: Side) -> tuple[Match, Number | None]:
        """What a left side is, and the result behind it, remembered for the lines that follow."""
        match = self.context.match(left.expression, None, (), statement.names)
        self.context.record(right.number, left, match)
        return match, right.number

    def _meant(self, statement: Statement, match: Match, kinds: Sequence[str]) -> str | None:
        """The step that a calculation is, if it was recognised as one of some kinds, else the one that it is called."""
        return match.name if match.kind in kinds else next(iter(self.context.steps_of(statement)), None)


def _is_of(side: Side) -> bool:
    """Whether a side is a share, or a number of things."""
    return side.number is not None and side.number.unit in ("%", COUNT)


def _running_on(left: Side, right: Side) -> Number | None:
    """The number with which a right side goes on from the left one's value, as in 5 × 2 = 10 + 3 = 13."""
    leaf, value = right.expression.first_leaf, left.values.get("typed")
    if right.number is not None or not isinstance(leaf, Number) or value is None or agreeing(left, right):
        return None
    return leaf if abs(leaf.value - value) <= max(1.05 * leaf.half_width, 1e-9 * abs(value)) else None


def _tells_anew(left: Side, right: Side) -> bool:
    """Whether a right side says another thing of the left one, as in '2 strings = 19.5 A' or '3.99 V = 16.6 %'."""
    if not all(side.number is not None and side.number.unit for side in (left, right)):
        return False
    return _is_of(left) != _is_of(right) and not same_dimensions(left, right)


def _is_no_claim(left: Side, right: Side, *, first: bool) -> bool:
    """Whether two sides that differ need not be meant as the same.

    So it is with an entry of a table, as '8 AWG = 55 A' or '118 °F = 0.82', and with a side whose words may say
    what its numbers alone do not, as '25 to -21'.
    """
    if left.expression.remarks:
        return True
    number, result = left.number, right.number
    if not first or number is None or result is None or number.unit is None:
        return False
    return result.unit in (None, number.unit) or not same_dimensions(left, right)
