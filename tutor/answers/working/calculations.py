"""Judging a calculation: the step that it is, a part of the method, or where it departs."""

from collections.abc import Sequence
from dataclasses import replace

from tutor.answers.working.arithmetic import Mode, Side, agreeing
from tutor.answers.working.dims import dimension_of
from tutor.answers.working.expression import Number
from tutor.answers.working.knowledge import TELLING_DIGITS, Finding, Judge, Knowledge
from tutor.answers.working.methods import Match, Suspicion
from tutor.answers.working.reading import Statement
from tutor.answers.working.values import Values
from tutor.engine.ways import Way
from tutor.entries.entry import Entry


class Calculations(Judge):
    """Judges calculations with what they come to."""

    def __init__(self, known: Knowledge) -> None:
        super().__init__(known)
        self.values = Values(known)

    def among(
        self, statement: Statement, calculated: Sequence[Side], chain: Sequence[Side], number: Number | None
    ) -> Finding:
        """Judge a result that is told as several calculations, by the one that says most."""
        matches: list[tuple[Match, Side]] = []
        for side in calculated:
            result = chain[-1]
            modes = agreeing(side, result) if number is not None else []
            unit = number.unit if number else None
            matches.append((self.known.match(side.expression, unit, modes, statement.names), side))
        order = ("right", "wrong", "on the way", "unknown")
        match, side = min(matches, key=lambda one: order.index(one[0].kind))
        return self.judged(statement, match, side, number)

    def judged(self, statement: Statement, match: Match, side: Side, number: Number | None) -> Finding:
        """Judge a calculation that was matched, and what it comes to."""
        value = side.values.get("typed", side.values.get("working"))
        if value is None:
            return Finding("unread", words=self.teller.formula(), loose=False)
        told = number or self._computed(side, value)
        named = [name for name in self.known.steps_of(statement) if statement.exact and self._may_be(name, told, match)]
        if match.kind == "right" and match.name:
            if named and match.name not in named and self._is_another(named[0], match.name, told):
                return self._named_otherwise(named[0], told)
            return self._right(match, side, told, typed=number is not None)
        for name in named or self.own.open_steps():
            entry = self.own.first_that_follows(name, told, closely=not named)
            if (
                entry is not None
                and (named or match.kind in ("unknown", "wrong") or self._stray(side))
                and (named or self.values.tells(told, name))
            ):
                self.known.record_step(told, name, entry)
                return self.known.held(name, entry, told)
        if match.kind == "on the way":
            match = replace(match, suspected=(*match.suspected, *self._by_value(told)))
            if (stray := self._stray(side)) and not named:
                self.known.record(number, side, match)
                return Finding(
                    number=told, words=self.teller.stray(stray), suspected=match.suspected, loose=True, stray=True
                )
            if (lost := self._scaled(match, number)) is not None:
                return self._off_by_a_factor(lost, told)
            self.known.record(number, side, match)
            return self._on_the_way(match, told, named)
        if match.kind == "wrong" and match.name and match.way:
            return self._wrong_way(match.name, match.way, told, side, match)
        self.known.record(number, side, match)
        return self._unknown(told, named, self._stray(side))

    def _by_value(self, number: Number) -> list[Suspicion]:
        """The declared wrong ways on which a step has this value."""
        if number.digits < TELLING_DIGITS:
            return []
        return [
            Suspicion(way, name)
            for way, values in self.sources.wrong_values
            for name in values
            for entry in self.own.entries_for(name, number)
            if self.own.is_value(name, entry, values[name])
        ]

    def _scaled(self, match: Match, number: Number | None) -> str | None:
        if number is None or number.unit in (None, "count") or match.vector is None:
            return None
        return self.methods.scaled(match.vector, str(number.unit))

    def _off_by_a_factor(self, name: str, told: Number) -> Finding:
        entry = next(self.own.entries_for(name, told), None)
        if entry is not None:
            self.known.record_step(told, name, entry)
        return Finding("dimension", name, words=self.teller.factor_lost(name, told), number=told, entry=entry)

    def _is_another(self, named: str, name: str, number: Number) -> bool:
        """Whether a calculation of one step bears the name of another, still open one that measures the same."""
        alike = dimension_of(self.problem.unit_of(named)) == dimension_of(self.problem.unit_of(name))
        return alike and named in self.own.open_steps() and self.own.first_that_follows(named, number) is None

    def _named_otherwise(self, name: str, number: Number) -> Finding:
        entry = next(self.own.entries_for(name, number), None)
        if entry is not None:
            self.known.record_step(number, name, entry)
        finding = self.known.departing(name, entry, None, number=number)
        finding.strong = True
        return finding

    def _computed(self, side: Side, value: float) -> Number:
        """The number that a calculation without a result comes to."""
        mode: Mode = "typed"
        if any(isinstance(leaf, Number) and leaf.unit not in (None, "count") for leaf in side.expression.leaves):
            mode = "working"
        value = side.values.get(mode, value)
        return Number(value, max(side.open_by.get(mode, 0.0), 1e-4 * abs(value)), 4, None, f"{value:.4g}")

    def _right(self, match: Match, side: Side, told: Number, *, typed: bool) -> Finding:
        name = str(match.name)
        if not match.fits_unit:
            self.known.record(told, side, match)
            bare = next(self.own.entries_for(name, replace(told, unit=None)), None)
            return Finding("dimension", name, words=self.teller.wrong_unit(name, told), number=told, entry=bare)
        entry = self.own.first_that_follows(name, told) or next(self.own.entries_for(name, told), None)
        self.known.record(told if typed else None, side, match)
        if entry is None:
            return Finding(words=self.teller.on_the_way(), number=told)
        return self.known.held(name, entry, told)

    def _on_the_way(self, match: Match, told: Number, named: Sequence[str]) -> Finding:
        finding = Finding(number=told, words=self.teller.on_the_way(), suspected=match.suspected)
        blamed = [(way, name) for way, name in match.suspected if way.id in self.known.blamed]
        if named:
            name = named[0]
            way = next((way for way, one in match.suspected if one == name and way.id not in self.known.blamed), None)
            if blamed:
                return finding
            departing = self.known.departing(name, next(self.own.entries_for(name, told), None), way, number=told)
            departing.strong = True
            return departing
        return finding

    def _wrong_way(self, name: str, way: Way, told: Number, side: Side, match: Match) -> Finding:
        entry = None if match.partial else next(self.own.entries_for(name, told), None)
        if way.id in self.known.blamed:
            self.known.record(told, side, match)
            if entry is not None and self._is_on(way, name, entry):
                return Finding(name=name, entry=entry, number=told, words=self.teller.holds(name, carried=True))
            return Finding(number=told, words=self.teller.on_the_way())
        if entry is not None and self._is_on(way, name, entry):
            self.known.record_step(told, name, entry)
            return self.known.departing(name, entry, way, number=told)
        self.known.record(told, side, match)
        return Finding("departs", name, way, self.teller.departs(name, way), told)

    def _is_on(self, way: Way, name: str, entry: Entry) -> bool:
        """Whether an entry is a step's value on a declared wrong way; one that was derived is told by what it does."""
        if way.origin != "declared":
            return True
        values = self.sources.values_on(way)
        return name in values and self.own.is_value(name, entry, values[name])

    def _may_be(self, name: str, number: Number, match: Match) -> bool:
        """Whether a step's name counts: not that of one in another unit before a part of the method."""
        return match.kind != "on the way" or any(True for _ in self.own.entries_for(name, number))

    def _stray(self, side: Side) -> str | None:
        """The first number of a calculation that comes from nowhere."""
        return next((leaf.text for leaf in side.expression.leaves if self.sources.is_stray(leaf)), None)

    def _unknown(self, told: Number, named: Sequence[str], stray: str | None) -> Finding:
        if named:
            entry = next(self.own.entries_for(named[0], told), None)
            if entry is not None:
                return self.known.departing(named[0], entry, None, number=told)
            return Finding("dimension", named[0], words=self.teller.wrong_unit(named[0], told), number=told)
        if (found := self.values.declared(told, self.own.open_steps())) is not None:
            return found
        words = self.teller.stray(stray) if stray else self.teller.loose()
        return Finding(number=told, words=words, loose=True, stray=stray is not None)
