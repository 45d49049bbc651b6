"""Judging a value without a calculation: the step or the given that it is, by its name or by its size."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from tutor.answers.naming import in_working_units
from tutor.answers.working.context import TELLING_DIGITS, Finding, Judge
from tutor.answers.working.dimensions import dimension_of
from tutor.answers.working.expression import Number
from tutor.answers.working.numbers import EXACT, Result
from tutor.answers.working.reading import Statement
from tutor.answers.working.samples import SAMPLE_COUNT
from tutor.entries.entry import Entry
from tutor.entries.unit_names import COUNT
from tutor.problems.wrong_method import WrongMethod

AS_WORKED_OUT = 1e-3  # how far a result may lie off, for what was rounded before it


class ValueJudge(Judge):
    """Judges values."""

    def bare(self, statement: Statement, numbers: Sequence[Number]) -> Finding:
        """A value, perhaps told in several units."""
        if (given := self._brought_over(numbers)) is not None:
            return given
        findings = [self.value(statement, number) for number in numbers]
        wrong = [finding for finding in findings if finding.is_wrong]
        return next(iter(wrong or [finding for finding in findings if finding.name] or findings))

    def _brought_over(self, numbers: Sequence[Number]) -> Finding | None:
        """A given in another unit."""
        problem = self.context.problem
        for name in problem.shown if len(numbers) > 1 and numbers[0].measured_in else ():
            entries = [self.context.learner.entry_for(name, number) for number in numbers]
            value = problem.known[name]
            first = entries[0]
            if first is not None and abs(in_working_units(problem, name, first) - value) <= EXACT * abs(value):
                for number, entry in zip(numbers, entries, strict=True):
                    if entry is not None:
                        self.context.record_step(number, name, entry)
                return Finding(number=numbers[-1], words=self.context.messages.say("given", name))
        return None

    def value(self, statement: Statement, number: Number) -> Finding:
        """One value with the name before it, or without."""
        context = self.context
        named = context.steps_of(statement)
        givens = [name for name in statement.names if name in context.problem.known]
        for name in named or self._likely(number):
            entry = context.learner.entry_that_follows(name, number if named else self._as_worked_out(number))
            if entry is not None and (named or self.tells(number, name)):
                context.record_step(number, name, entry)
                return replace(context.holding(name, entry, number), matched_by_value=not named)
        if givens and (restated := self._restated(statement, givens, number)) is not None:
            return restated
        if named and statement.exact:
            return self._named_value(named, number)
        if self.is_familiar(number):
            return Finding(number=number, words=context.messages.say("familiar"))
        finding = self._as_suspected(number) or self._linked(number)
        finding = finding or self.declared(number, named or context.learner.open_steps())
        return finding or self._in_another_unit(number) or self._unknown(number)

    def _unknown(self, number: Number) -> Finding:
        self.context.numbers.remember(Result(number, number.value, (number.value,) * SAMPLE_COUNT, None))
        words = self.context.messages.say("which_quantity", number=number)
        return Finding("unread", words=words, number=number, unrecognized=True)

    def _likely(self, number: Number) -> list[str]:
        """The steps that a value without a name may be: what is open, then those that have a value."""
        learner = self.context.learner
        steps = [*learner.open_steps(), *(name for name in learner.order if name in learner.entries)]
        return [name for name in steps if number.unit != COUNT or learner.kind(name) == "count"]

    def _as_worked_out(self, number: Number) -> Number:
        """A number that repeats an earlier result, as precise as that was."""
        for result in self.context.numbers.results:
            if result.number.value == number.value and abs(result.value - number.value) <= number.half_width:
                return replace(number, value=result.value, half_width=AS_WORKED_OUT * abs(result.value))
        return number

    def tells(self, number: Number, name: str) -> bool:
        """Whether a number says enough to be taken for a step by its value alone."""
        if name in self.context.problem.question.discrete or number.measured_in:
            return True
        return number.digits >= (TELLING_DIGITS if number.is_whole else TELLING_DIGITS - 1)

    def _restated(self, statement: Statement, givens: Sequence[str], number: Number) -> Finding | None:
        context = self.context
        for name in givens:
            value = context.problem.known[name]
            # A fall may be written without its minus.
            coefficient = context.problem.question.library.quantities[name].share_of is not None
            if context.learner.entry_with(name, number, (value, -value) if coefficient else (value,)) is not None:
                return Finding(number=number, words=context.messages.say("given", name))
        if not statement.exact or len(givens) > 1 or self.is_familiar(number):
            return None
        name = givens[0]
        entry = context.learner.entry_for(name, number)
        if entry is None:
            return context.in_wrong_unit(name, number)
        context.record_step(number, name, entry)
        words = context.messages.say("not_given", name, shown=context.problem.text_of(name))
        return Finding("departs", name, words=words, number=number, entry=entry)

    def _named_value(self, named: Sequence[str], number: Number) -> Finding:
        context, learner = self.context, self.context.learner
        for name in named:
            entry = learner.entry_for(name, number)
            if entry is not None:
                open_steps = [step for step in learner.open_steps() if step != name]
                context.record_step(number, name, entry)
                finding = context.departing(name, entry, None, number)
                mislabelled = any(learner.entry_that_follows(step, number, closely=True) for step in open_steps)
                return replace(finding, label_mismatch_only=mislabelled)
        return context.in_wrong_unit(named[0], number, learner.entry_for(named[0], number.bare))

    def is_familiar(self, number: Number) -> bool:
        """Whether a number is a given, an earlier result, or a part of the method as it stands."""
        varies = any(reading.varies for reading in self.context.numbers.readings(number) if reading.tag is None)
        return varies and (number.digits >= TELLING_DIGITS or bool(number.measured_in))

    def _as_suspected(self, number: Number) -> Finding | None:
        """What follows on a wrong way that the result before is suspected of."""
        previous, open_steps = self.context.previous, self.context.learner.open_steps()
        for way, _ in previous.suspected if previous is not None else ():
            wrong = self._on_a_way(self.context.numbers.values_on(way), open_steps, number)
            for name, entry in wrong:
                return self._wrong_value(way, name, entry, number)
        return None

    def _on_a_way(self, values: dict[str, float], names: Iterable[str], number: Number) -> Iterator[tuple[str, Entry]]:
        """The steps among `names` that a number may be on a wrong way, with the number as their entry."""
        for name in names:
            if name in values and (entry := self.context.learner.entry_with(name, number, [values[name]])) is not None:
                yield name, entry

    def _linked(self, number: Number) -> Finding | None:
        """A whole number or a size right behind what it is rounded or chosen from."""
        learner, previous = self.context.learner, self.context.previous
        for name in learner.open_steps():
            step, kind = self.context.samples.steps[name], learner.kind(name)
            if step.kind not in ("round", "choose", "compare", "look up"):
                continue
            entry = learner.entry_for(name, number)
            if entry is None or (not number.is_whole and kind != "size"):
                continue
            before = previous.number if previous is not None and step.kind == "round" else None
            near = before is not None and abs(before.value - number.value) <= 1.0 + EXACT
            from_previous = previous is not None and previous.name in step.uses
            if near or from_previous or (number.unit, kind) in ((COUNT, "count"), ("mm^2", "size")):
                self.context.record_step(number, name, entry)
                return self.context.departing(name, entry, None, number)
        return None

    def declared(self, number: Number, names: Sequence[str]) -> Finding | None:
        """What a declared wrong way leads to, recognised by its value alone."""
        if number.digits < (TELLING_DIGITS - 1 if number.measured_in else TELLING_DIGITS):
            return None
        for way, values in self.context.numbers.wrong_values:
            for name, entry in self._on_a_way(values, names, number):
                return self._wrong_value(way, name, entry, number)
        return None

    def _wrong_value(self, way: WrongMethod, name: str, entry: Entry, number: Number) -> Finding:
        self.context.record_step(number, name, entry)
        if way.id in self.context.blamed:
            return self.context.carried(name, entry, number)
        return self.context.departing(name, entry, way if number.digits >= TELLING_DIGITS else None, number)

    def _in_another_unit(self, number: Number) -> Finding | None:
        """A step's value in a unit that does not fit."""
        if not number.measured_in or number.digits <= TELLING_DIGITS:
            return None
        learner, messages = self.context.learner, self.context.messages
        for name in learner.open_steps():
            entry = learner.entry_for(name, number.bare)
            if entry is not None and learner.follows(name, entry):
                alike = dimension_of(number.measured_in) == dimension_of(self.context.problem.unit_of(name))
                words = messages.say("factor_lost", name, number) if alike else messages.wrong_unit(name, number)
                return Finding("dimension", name, words=words, number=number)
        return None
