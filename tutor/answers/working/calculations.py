"""Judging a calculation: the step that it is, a part of the method, or where it departs."""

from collections.abc import Sequence
from dataclasses import replace

from tutor.answers.working.context import TELLING_DIGITS, Finding, Judge
from tutor.answers.working.dimensions import dimension_of
from tutor.answers.working.expression import Number
from tutor.answers.working.matching import Match, Suspicion
from tutor.answers.working.reading import Statement
from tutor.answers.working.sides import Mode, Side, agreeing
from tutor.answers.working.values import ValueJudge
from tutor.entries.entry import Entry
from tutor.problems.wrong_method import WrongMethod

_TELLING_MOST = ("right", "wrong", "on the way", "unknown")


class CalculationJudge(Judge):
    """Judges calculations with what they come to."""

    def among(self, statement: Statement, calculated: Sequence[Side], result: Side) -> Finding:
        """Judge a result of several calculations, by the one that says most."""
        number = result.number
        matches: list[tuple[Match, Side]] = []
        for side in calculated:
            modes = agreeing(side, result) if number is not None else []
            unit = number.unit if number else None
            matches.append((self.context.match(side.expression, unit, modes, statement.names), side))
        match, side = min(matches, key=lambda pair: _TELLING_MOST.index(pair[0].kind))
        return self.judged(statement, match, side, number)

    def judged(self, statement: Statement, match: Match, side: Side, typed: Number | None) -> Finding:
        """Judge a calculation that was matched, and what it comes to."""
        context = self.context
        if side.value is None:
            return Finding("unread", words=context.messages.say("formula"))
        number = typed or _computed(side, side.value)
        named = self._named(statement, number, match)
        if match.kind == "right" and match.name:
            if named and match.name not in named and self._is_mislabelled(named[0], match.name, number):
                return self._labelled_otherwise(named[0], number)
            return self._right(match.name, match, side, number, is_typed=typed is not None)
        unknown = next((leaf.text for leaf in side.expression.leaves if context.numbers.is_unknown(leaf)), None)
        if (step := self._as_step(named, match, number, unknown)) is not None:
            return step
        if match.kind == "wrong" and match.name and match.way:
            return self._wrong_way(match.name, match.way, number, side, match)
        if match.kind == "on the way":
            match = replace(match, suspected=(*match.suspected, *self._by_value(number)))
            unknown = None if named else unknown
            lost = self._scaled(match, typed) if unknown is None else None
            if lost is not None:
                return self._off_by_a_factor(lost, number)
            context.record(typed, side, match)
            if unknown is not None:
                return self._with_unknown_number(number, unknown, match.suspected)
            return self._on_the_way(match, number, named)
        context.record(typed, side, match)
        return self._unknown(number, named, unknown)

    def _named(self, statement: Statement, number: Number, match: Match) -> list[str]:
        """The steps whose name before it counts: not that of one in another unit before a part of the method."""
        return [
            name
            for name in self.context.steps_of(statement)
            if statement.exact
            and (match.kind != "on the way" or self.context.learner.entry_for(name, number) is not None)
        ]

    def _as_step(self, named: Sequence[str], match: Match, number: Number, unknown: str | None) -> Finding | None:
        """The finding for a calculation of another kind that comes to the value of a step."""
        if not (named or unknown or match.kind in ("unknown", "wrong")):
            return None
        learner, values = self.context.learner, ValueJudge(self.context)
        for name in named or learner.open_steps():
            entry = learner.entry_that_follows(name, number, closely=not named)
            if entry is not None and (named or values.tells(number, name)):
                self.context.record_step(number, name, entry)
                return self.context.holding(name, entry, number)
        return None

    def _by_value(self, number: Number) -> list[Suspicion]:
        """The declared wrong ways on which a step has this value."""
        if number.digits < TELLING_DIGITS:
            return []
        learner = self.context.learner
        return [
            Suspicion(way, name)
            for way, values in self.context.numbers.wrong_values
            for name, value in values.items()
            for entry in learner.entries_for(name, number)
            if learner.is_value(name, entry, value)
        ]

    def _scaled(self, match: Match, number: Number | None) -> str | None:
        if number is None or not number.measured_in or match.vector is None:
            return None
        return self.context.matcher.scaled(match.vector, number.measured_in)

    def _recorded_entry(self, name: str, number: Number) -> Entry | None:
        """What a number is as an entry for a step, remembered for the lines that follow."""
        entry = self.context.learner.entry_for(name, number)
        if entry is not None:
            self.context.record_step(number, name, entry)
        return entry

    def _off_by_a_factor(self, name: str, number: Number) -> Finding:
        entry = self._recorded_entry(name, number)
        words = self.context.messages.say("factor_lost", name, number)
        return Finding("dimension", name, words=words, number=number, entry=entry)

    def _is_mislabelled(self, label: str, name: str, number: Number) -> bool:
        """Whether a calculation of one step bears the name of another, still open one that measures the same."""
        unit_of, learner = self.context.problem.unit_of, self.context.learner
        alike = dimension_of(unit_of(label)) == dimension_of(unit_of(name))
        return alike and label in learner.open_steps() and learner.entry_that_follows(label, number) is None

    def _labelled_otherwise(self, name: str, number: Number) -> Finding:
        entry = self._recorded_entry(name, number)
        return replace(self.context.departing(name, entry, None, number), label_mismatch_only=True)

    def _right(self, name: str, match: Match, side: Side, number: Number, *, is_typed: bool) -> Finding:
        learner = self.context.learner
        if not match.fits_unit:
            self.context.record(number, side, match)
            return self.context.in_wrong_unit(name, number, learner.entry_for(name, number.bare))
        entry = learner.entry_that_follows(name, number) or learner.entry_for(name, number)
        self.context.record(number if is_typed else None, side, match)
        return self.context.on_the_way(number) if entry is None else self.context.holding(name, entry, number)

    def _on_the_way(self, match: Match, number: Number, named: Sequence[str]) -> Finding:
        blamed = self.context.blamed
        if not named or any(way.id in blamed for way, _ in match.suspected):
            return self.context.on_the_way(number, match.suspected)
        way = next((way for way, name in match.suspected if name == named[0]), None)
        entry = self.context.learner.entry_for(named[0], number)
        return replace(self.context.departing(named[0], entry, way, number), label_mismatch_only=True)

    def _wrong_way(self, name: str, way: WrongMethod, number: Number, side: Side, match: Match) -> Finding:
        context = self.context
        entry = None if match.partial else context.learner.entry_for(name, number)
        on_it = entry if entry is not None and self._is_on(way, name, entry) else None
        if way.id in context.blamed:
            context.record(number, side, match)
            return context.carried(name, on_it, number) if on_it is not None else context.on_the_way(number)
        if on_it is not None:
            context.record_step(number, name, on_it)
            return context.departing(name, on_it, way, number)
        context.record(number, side, match)
        return context.departing(name, None, way, number)

    def _is_on(self, way: WrongMethod, name: str, entry: Entry) -> bool:
        """Whether an entry is a step's value on a declared wrong way; one that was derived is told by what it does."""
        if way.origin != "declared":
            return True
        values = self.context.numbers.values_on(way)
        return name in values and self.context.learner.is_value(name, entry, values[name])

    def _with_unknown_number(
        self, number: Number, unknown: str | None, suspected: tuple[Suspicion, ...] = ()
    ) -> Finding:
        messages = self.context.messages
        words = messages.say("unknown_number", text=unknown) if unknown else messages.say("unrecognized")
        return Finding(
            number=number, words=words, suspected=suspected, unrecognized=True, unknown_number=unknown is not None
        )

    def _unknown(self, number: Number, named: Sequence[str], unknown: str | None) -> Finding:
        if named:
            entry = self.context.learner.entry_for(named[0], number)
            if entry is not None:
                return self.context.departing(named[0], entry, None, number)
            return self.context.in_wrong_unit(named[0], number)
        declared = ValueJudge(self.context).declared(number, self.context.learner.open_steps())
        return declared or self._with_unknown_number(number, unknown)


def _computed(side: Side, value: float) -> Number:
    """The number that a calculation without a result comes to."""
    mode: Mode = "working" if any(number.measured_in for number in side.expression.numbers) else "typed"
    value = side.values.get(mode, value)
    return Number(value, max(side.open_by.get(mode, 0.0), 1e-4 * abs(value)), 4, None, f"{value:.4g}")
