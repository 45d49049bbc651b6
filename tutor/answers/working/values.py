"""Judging a value without a calculation: the step or the given that it is, by its name or by its size."""

from collections.abc import Sequence
from dataclasses import replace

from tutor.answers.naming import in_working_units
from tutor.answers.working.arithmetic import Side
from tutor.answers.working.dims import dimension_of
from tutor.answers.working.expression import Number
from tutor.answers.working.knowledge import TELLING_DIGITS, Finding, Judge
from tutor.answers.working.reading import Statement
from tutor.answers.working.sources import EXACT, Result
from tutor.answers.working.worlds import HOW_MANY
from tutor.engine.ways import Way
from tutor.entries.entry import Entry

AS_WORKED_OUT = 1e-3  # how far a result may lie off, for what was rounded before it


class Values(Judge):
    """Judges values."""

    def bare(self, statement: Statement, numbers: Sequence[Side]) -> Finding:
        """A value, perhaps told in several units."""
        if (given := self._brought_over([one for side in numbers if (one := side.expression.number)])) is not None:
            return given
        findings = [
            self.value_only(statement, number) for side in numbers if (number := side.expression.number) is not None
        ]
        wrong = [one for one in findings if one.is_wrong]
        return next(iter(wrong or [one for one in findings if one.name] or findings))

    def _brought_over(self, numbers: Sequence[Number]) -> Finding | None:
        """A given told in another unit."""
        for name in self.problem.shown if len(numbers) > 1 else ():
            entries = [next(self.own.entries_for(name, number), None) for number in numbers]
            first, known = entries[0], self.problem.known[name]
            if first is None or numbers[0].unit in (None, "count"):
                continue
            if abs(in_working_units(self.problem, name, first) - known) <= EXACT * abs(known):
                for number, entry in zip(numbers, entries, strict=True):
                    if entry is not None:
                        self.known.record_step(number, name, entry)
                return Finding(number=numbers[-1], words=self.teller.given(name))
        return None

    def value_only(self, statement: Statement, number: Number) -> Finding:
        """One value with the name before it, or without."""
        named = [name for name in statement.names if name in self.worlds.steps]
        givens = [name for name in statement.names if name in self.problem.known]
        for name in named or self._likely(number):
            entry = self.own.first_that_follows(name, number if named else self._as_worked_out(number))
            if entry is not None and (named or self.tells(number, name)):
                self.known.record_step(number, name, entry)
                return replace(self.known.held(name, entry, number), guessed=not named)
        if givens and (found := self._restated(statement, givens, number)) is not None:
            return found
        if named and statement.exact:
            return self._named_value(named, number)
        if self.is_familiar(number):
            return Finding(number=number, words=self.teller.familiar())
        if (found := self._as_suspected(number) or self._linked(number)) is not None:
            return found
        if (found := self.declared(number, named or self.own.open_steps())) is not None:
            return found
        if (other := self._in_another_unit(number)) is not None:
            alike = dimension_of(str(number.unit)) == dimension_of(self.problem.unit_of(other))
            words = self.teller.factor_lost(other, number) if alike else self.teller.wrong_unit(other, number)
            return Finding("dimension", other, words=words, number=number)
        self.sources.keep(Result(number, number.value, (number.value,) * HOW_MANY, None))
        return Finding("unread", words=self.teller.which_quantity(number), number=number, loose=True)

    def _likely(self, number: Number) -> list[str]:
        """The steps that a value without a name may be: what is open, then those that have a value."""
        steps = [*self.own.open_steps(), *(name for name in self.worlds.steps if name in self.own.entries)]
        if number.unit == "count":
            kinds = self.problem.question.library.quantities
            return [name for name in steps if kinds[name].kind == "count"]
        return steps

    def _as_worked_out(self, number: Number) -> Number:
        """A number that repeats an earlier result, as precise as that was."""
        for result in self.sources.results:
            if result.number.value == number.value and abs(result.value - number.value) <= number.half_width:
                return replace(number, value=result.value, half_width=AS_WORKED_OUT * abs(result.value))
        return number

    def tells(self, number: Number, name: str) -> bool:
        """Whether a number says enough to be taken for a step by its value alone."""
        if name in self.problem.question.discrete or number.unit not in (None, "count"):
            return True
        few = TELLING_DIGITS if number.is_whole else TELLING_DIGITS - 1
        return number.digits >= few

    def _restated(self, statement: Statement, givens: Sequence[str], number: Number) -> Finding | None:
        for name in givens:
            for entry in self.own.entries_for(name, number):
                if self.own.is_value(name, entry, self.problem.known[name]) or self._is_negative_of(name, entry):
                    return Finding(name=None, number=number, words=self.teller.given(name))
        if not statement.exact or len(givens) > 1 or self.is_familiar(number):
            return None
        name = givens[0]
        told = next(self.own.entries_for(name, number), None)
        if told is None:
            return Finding("dimension", name, words=self.teller.wrong_unit(name, number), number=number)
        self.known.record_step(number, name, told)
        return Finding("departs", name, words=self.teller.not_given(name), number=number, entry=told)

    def _is_negative_of(self, name: str, entry: Entry) -> bool:
        """Whether only the sign differs: a fall told without its minus."""
        turned = replace(entry, value=-entry.value)
        return self.own.is_value(name, turned, self.problem.known[name]) and "coefficient" in name

    def _named_value(self, named: Sequence[str], number: Number) -> Finding:
        for name in named:
            entry = next(self.own.entries_for(name, number), None)
            if entry is not None:
                others = [one for one in self.own.open_steps() if one != name]
                self.known.record_step(number, name, entry)
                finding = self.known.departing(name, entry, None, number=number)
                finding.strong = any(self.own.first_that_follows(one, number, closely=True) for one in others)
                return finding
        bare = next(self.own.entries_for(named[0], replace(number, unit=None)), None)
        return Finding("dimension", named[0], words=self.teller.wrong_unit(named[0], number), number=number, entry=bare)

    def is_familiar(self, number: Number) -> bool:
        """Whether a number is a given, an earlier result, or a part of the method as it stands."""
        readings = [one for one in self.sources.readings(number) if one.tag is None]
        varying = any(len(set(one.typed)) > 1 for one in readings)
        return varying and (number.digits >= TELLING_DIGITS or number.unit not in (None, "count"))

    def _as_suspected(self, number: Number) -> Finding | None:
        """What follows on a wrong way that the result before is suspected of."""
        for way, _ in self.known.previous.suspected if self.known.previous is not None else ():
            values = self.sources.values_on(way)
            for name in (one for one in self.own.open_steps() if one in values):
                for entry in self.own.entries_for(name, number):
                    if self.own.is_value(name, entry, values[name]):
                        return self._wrong_value(way, name, entry, number)
        return None

    def _linked(self, number: Number) -> Finding | None:
        """A whole number or a size right behind what it is rounded or chosen from."""
        last = self.known.previous
        quantities = self.problem.question.library.quantities
        for name in self.own.open_steps():
            step = self.worlds.steps[name]
            if step.kind not in ("round", "choose", "compare", "look up"):
                continue
            entry = next(self.own.entries_for(name, number), None)
            if entry is None or (not number.is_whole and quantities[name].kind != "size"):
                continue
            near = (
                step.kind == "round"
                and last is not None
                and last.number is not None
                and abs(last.number.value - number.value) <= 1.0 + 1e-9
            )
            from_last = last is not None and last.name in step.uses
            counted = number.unit == "count" and quantities[name].kind == "count"
            sized = quantities[name].kind == "size" and number.unit == "mm^2"
            if near or from_last or counted or sized:
                self.known.record_step(number, name, entry)
                return self.known.departing(name, entry, None, number=number)
        return None

    def declared(self, number: Number, names: Sequence[str]) -> Finding | None:
        """What a declared wrong way leads to, recognised by its value alone."""
        if number.digits < TELLING_DIGITS and number.unit in (None, "count"):
            return None
        for way, values in self.sources.wrong_values:
            for name in names:
                if name in values:
                    for entry in self.own.entries_for(name, number):
                        if self.own.is_value(name, entry, values[name]) and number.digits >= TELLING_DIGITS - 1:
                            return self._wrong_value(way, name, entry, number)
        return None

    def _wrong_value(self, way: Way, name: str, entry: Entry, number: Number) -> Finding:
        self.known.record_step(number, name, entry)
        if way.id in self.known.blamed:
            return Finding(name=name, entry=entry, number=number, words=self.teller.holds(name, carried=True))
        return self.known.departing(name, entry, way if number.digits >= TELLING_DIGITS else None, number=number)

    def _in_another_unit(self, number: Number) -> str | None:
        """The step whose value a number with a unit that does not fit is."""
        if number.unit in (None, "count") or number.digits <= TELLING_DIGITS:
            return None
        bare = replace(number, unit=None)
        for name in self.own.open_steps():
            entry = next(self.own.entries_for(name, bare), None)
            if entry is not None and self.own.follows(name, entry):
                return name
        return None
