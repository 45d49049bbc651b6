"""Judging the sides of a statement against each other, and then what they are."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from tutor.answers.working.arithmetic import MODES, Arithmetic, Side, agreeing, compares, is_measured, same_dimensions
from tutor.answers.working.calculations import Calculations
from tutor.answers.working.expression import At, Expression, Number
from tutor.answers.working.knowledge import Finding, Judge, Knowledge
from tutor.answers.working.reading import COMPARED, Statement
from tutor.answers.working.values import Values


def _is_of(side: Side) -> bool:
    """Whether a side is a share, or a number of things."""
    number = side.expression.number
    return number is not None and number.unit in ("%", "count")


class Sides(Judge):
    """Judges statements."""

    def __init__(self, known: Knowledge) -> None:
        super().__init__(known)
        self.calculations, self.values = Calculations(known), Values(known)

    def statement(self, statement: Statement) -> list[Finding]:
        """What is found about a statement: about each of its sides in turn, up to the first that is wrong."""
        arithmetic = Arithmetic(self.sources, self.own.known())
        sides = [arithmetic.side(side) if side is not None else None for side in statement.sides]
        chain: list[Side] = [side for side in sides[:1] if side is not None]
        found: list[Finding] = []
        for at, sign in enumerate(statement.signs):
            left, right = sides[at], sides[at + 1]
            if right is None:
                continue
            if sign in COMPARED:
                if left is not None and not compares(left, sign, right):
                    found += self._chain(statement, chain)
                    found.append(Finding("arithmetic", words=self.teller.not_so(left, sign, right)))
                    return found
                break
            if left is not None and self._runs_on(left, right):
                found += self._chain(
                    replace(statement, names=(), label=""), [*chain, self._first_of(right, arithmetic)]
                )
                chain = []
            elif left is not None and self._tells_anew(left, right):
                found += self._chain(statement, chain) if len(chain) > 1 or not _is_of(left) else []
                statement, chain = replace(statement, names=(), label=""), []
            chain.append(right)
        return found + self._chain(statement, chain)

    def _runs_on(self, left: Side, right: Side) -> bool:
        """Whether a right side goes on from the left one's value, as in 5 × 2 = 10 + 3 = 13."""
        leaf = right.expression.first_leaf
        if right.expression.number is not None or not isinstance(leaf, Number) or agreeing(left, right):
            return False
        value = left.values.get("typed")
        return value is not None and abs(leaf.value - value) <= max(1.05 * leaf.half_width, 1e-9 * abs(value))

    def _tells_anew(self, left: Side, right: Side) -> bool:
        """Whether a right side says another thing of the left one, as in '2 strings = 19.5 A' or '3.99 V = 16.6 %'."""
        numbers = left.expression.number, right.expression.number
        if not all(number is not None and number.unit for number in numbers):
            return False
        return _is_of(left) != _is_of(right) and not same_dimensions(left, right)

    def _first_of(self, side: Side, arithmetic: Arithmetic) -> Side:
        leaf = side.expression.first_leaf
        assert isinstance(leaf, Number)
        return arithmetic.side(Expression(At(0), (leaf,), leaf.text))

    def _chain(self, statement: Statement, chain: Sequence[Side]) -> list[Finding]:
        """Judge sides that all are to be the same."""
        if not chain:
            return []
        last = chain[-1].expression.number
        calculated = [side for side in chain if side.expression.number is None]
        numeric = [side for side in calculated if not side.expression.is_symbolic]
        for at, (left, right) in enumerate(pairwise(chain)):
            if (fault := self._against(left, right, statement, exact=bool(numeric))) is not None:
                if any(one.is_wrong for one in fault) and self._is_no_claim(left, right, first=at == 0):
                    self.sources.keep_unread(leaf.value for leaf in right.expression.leaves if isinstance(leaf, Number))
                    return [Finding("unread", words=self.teller.no_claim(), loose=True)]
                return fault
        if not calculated:
            numbers = [side for side in chain if side.expression.number is not None]
            return [self.values.bare(statement, numbers)]
        return [self.calculations.among(statement, numeric or calculated, chain, last)]

    def _is_no_claim(self, left: Side, right: Side, *, first: bool) -> bool:
        """Whether two sides that differ need not be meant as the same.

        So it is with an entry of a table, as '8 AWG = 55 A' or '118 °F = 0.82', and with a side whose words may say
        what its numbers alone do not, as '25 to -21'.
        """
        if left.expression.remarks:
            return True
        one, other = left.expression.number, right.expression.number
        if not first or one is None or other is None or one.unit is None:
            return False
        return other.unit in (None, one.unit) or not same_dimensions(left, right)

    def _against(self, left: Side, right: Side, statement: Statement, *, exact: bool) -> list[Finding] | None:
        """What is wrong between two sides, if anything."""
        symbolic = left.expression.is_symbolic or right.expression.is_symbolic
        if symbolic and (exact or not (left.values and right.values)):
            return None
        if not (left.values and right.values):
            return None
        modes = agreeing(left, right)
        if left.mismatch or right.mismatch:
            side = left if left.mismatch else right
            return [self._unlike(statement, left, right, self.teller.unlike(side))]
        if not same_dimensions(left, right) and not self._per_cent(left, right):
            return [self._unlike(statement, left, right, self.teller.other_dimension(left, right))]
        if modes:
            lost = modes == ["typed"] and is_measured(left, self.sources) and right.expression.number is not None
            if lost and right.expression.number and right.expression.number.unit and not self._per_cent(left, right):
                return [self._unlike(statement, left, right, self.teller.other_size(left, right))]
            return None
        if self._per_cent_agrees(left, right):
            return None
        if symbolic:
            return None
        number = right.expression.number
        if number is not None and number.is_whole and (rounded := self._rounded(statement, left, number)) is not None:
            return rounded
        return [self._miscalculated(statement, left, right)]

    def _per_cent(self, left: Side, right: Side) -> bool:
        units = {leaf.unit for side in (left, right) for leaf in side.expression.leaves if isinstance(leaf, Number)}
        return bool(units & {"%", "%/K"})

    def _per_cent_agrees(self, left: Side, right: Side) -> bool:
        """Whether a share was told in per cent without its sign, and a step is told so."""
        told = any(self.problem.unit_of(name).startswith("%") for name in self.worlds.steps)
        number = right.expression.number
        if number is None or number.unit not in (None, "%", "%/K") or not (told or number.unit):
            return False
        for mode in MODES:
            if left.values.get(mode):
                room = 100 * left.open_by[mode] + number.half_width
                if abs(100 * left.values[mode] - number.value) <= 1.05 * room:
                    return True
        return False

    def _rounded(self, statement: Statement, left: Side, number: Number) -> list[Finding] | None:
        """The findings for a whole number that a result was rounded to in the same breath."""
        value = left.values.get("typed")
        rounds = [name for name, step in self.worlds.steps.items() if step.kind == "round"]
        if value is None or not rounds or abs(value - number.value) >= 1 or number.unit not in (None, "count"):
            return None
        match = self.known.match(left.expression, None, (), ())
        if match.kind == "unknown":
            return None
        unrounded = Number(value, 1e-6 * abs(value), 7, None, f"{value:.6g}")
        bare = replace(statement, names=(), label="")
        first = self.calculations.judged(bare, match, left, unrounded)
        if first.name and first.entry:
            self.own.keep(first.name, first.entry)
        self.known.previous = first
        return [first, self.values.value_only(bare, number)]

    def _miscalculated(self, statement: Statement, left: Side, right: Side) -> Finding:
        match = self.known.match(left.expression, None, (), statement.names)
        name = match.name if match.kind in ("right", "wrong") else next(iter(self.known.steps_of(statement)), None)
        finding = Finding(
            "arithmetic", name, words=self.teller.miscalculated(left, right), number=right.expression.number
        )
        self.known.record(right.expression.number, left, match)
        if name and right.expression.number:
            finding.entry = next(self.own.entries_for(name, right.expression.number), None)
        return finding

    def _unlike(self, statement: Statement, left: Side, right: Side, words: str) -> Finding:
        match = self.known.match(left.expression, None, (), statement.names)
        self.known.record(right.expression.number, left, match)
        name = match.name if match.kind == "right" else next(iter(self.known.steps_of(statement)), None)
        finding = Finding("dimension", name, words=words, number=right.expression.number)
        if name and right.expression.number:
            finding.entry = next(self.own.entries_for(name, replace(right.expression.number, unit=None)), None)
        return finding
