"""The learner's own values for the steps of a problem, and what follows from them."""

from collections.abc import Iterator, Sequence
from contextlib import suppress

from tutor.answers.naming import in_working_units
from tutor.answers.working.dimensions import units_like
from tutor.answers.working.expression import Number
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.entries.entry import Entry, EntryError
from tutor.entries.kinds import read_size
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.problem import Problem

CUT_OFF = 2.1  # of half the last typed place: people cut off as well as round
ROUGH = 0.06  # a value with fewer figures than this share of itself is too rough to be recognised


class LearnerValues:
    """Values by step, as entries in the unit that the step is shown in."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.entries: dict[str, Entry] = {}
        self.order = problem.step_names

    def kind(self, name: str) -> str:
        """The kind of a quantity."""
        return self.problem.question.library.quantities[name].kind

    def before(self, name: str) -> dict[str, Entry]:
        """The own values of the steps before a step."""
        return {step: self.entries[step] for step in self.order[: self.order.index(name)] if step in self.entries}

    def open_steps(self) -> list[str]:
        """The steps without a value, those behind the last one with a value first."""
        behind = max((place for place, name in enumerate(self.order, start=1) if name in self.entries), default=0)
        return [name for name in self.order[behind:] + self.order[:behind] if name not in self.entries]

    def carried(self, until: str | None = None) -> dict[str, float]:
        """All values in working units: the problem's, with the own ones in their place and what follows from them."""
        values = dict(self.problem.all_values)
        for step in self.problem.question.right.steps:
            if step.name == until:
                break
            if step.name in self.entries:
                values[step.name] = in_working_units(self.problem, step.name, self.entries[step.name])
            elif step.uses & self.entries.keys():
                with suppress(*NO_VALUE):
                    values[step.name] = self.problem.question.relation(step.whole)(values)
        return values

    def expected(self, name: str) -> list[float]:
        """What a step may come to, in working units: what follows from the own values, and the right value."""
        expected = [self.problem.values[name]]
        step = self.problem.question.right.steps[self.order.index(name)]
        with suppress(*NO_VALUE):
            expected.insert(0, self.problem.question.relation(step.whole)(self.carried(name)))
        return expected

    def is_value(self, name: str, entry: Entry, expected: float, *, closely: bool = False) -> bool:
        """Whether an entry is a value of a quantity, as written; near enough will do if not `closely`."""
        value = in_working_units(self.problem, name, entry)
        apart = abs(value - expected)
        noise = 1e-9 * max(abs(expected), 1e-9)
        discrete = name in self.problem.question.discrete
        if discrete and self.kind(name) != "number":
            return apart <= max(1e-3 * abs(expected), noise)
        width = entry.half_width * conversion(self.problem.unit_of(name)).scale
        rough = width >= ROUGH * abs(value) and entry.digits < 2
        room = CUT_OFF * width if abs(value) < abs(expected) else 1.05 * width
        tolerance = 0.0 if closely else self.problem.tolerance(name, expected)
        if discrete:
            return apart <= max(min(room, 0.02 * abs(expected)), tolerance) + noise
        return apart <= max(0.0 if rough else min(room, 0.05 * abs(expected)), tolerance) + noise

    def is_right(self, name: str | None, entry: Entry | None) -> bool:
        """Whether an entry is a step's right value; that of the answer breaks no limit.  A given is no step."""
        if name not in self.order or entry is None or not self.is_value(name, entry, self.problem.values[name]):
            return False
        return name != self.problem.ask or not self.problem.breaks_limit(in_working_units(self.problem, name, entry))

    def follows(self, name: str, entry: Entry) -> bool:
        """Whether an entry is the right value of a step, or what follows from the own ones, as precise as written."""
        return any(self.is_value(name, entry, expected) for expected in self.expected(name))

    def entries_for(self, name: str, number: Number) -> Iterator[Entry]:
        """What a number may be as an entry for a quantity, the likeliest first; nothing if its unit does not fit."""
        kind, shown = self.kind(name), self.problem.unit_of(name)
        if kind == "size":
            yield from self._sizes(number)
        elif kind not in ("answer", "choice"):
            for unit in (number.measured_in,) if number.measured_in else units_like(shown):
                if unit == "K" and shown in ABSOLUTE_TEMPERATURES:
                    unit = "degC"  # noqa: PLW2901 - a degree where a temperature is asked for
                old, new = conversion(unit), conversion(shown)
                if old.dimension != new.dimension:
                    return
                value = new.to_shown(old.to_working(number.value))
                yield Entry(value, number.half_width * old.scale / new.scale, unit, number.text, number.digits)

    def _sizes(self, number: Number) -> Iterator[Entry]:
        if number.unit == "mm^2":
            yield Entry(number.value, 0.0, "mm^2", number.text, 3)
        elif number.unit is None and number.is_whole:
            with suppress(EntryError):
                yield read_size(number.text, self.problem.question.rulebook)

    def entry_for(self, name: str, number: Number) -> Entry | None:
        """The likeliest of them."""
        return next(self.entries_for(name, number), None)

    def entry_with(self, name: str, number: Number, values: Sequence[float], *, closely: bool = False) -> Entry | None:
        """The first of them that is one of some values of the quantity."""
        for entry in self.entries_for(name, number):
            if any(self.is_value(name, entry, value, closely=closely) for value in values):
                return entry
        return None

    def entry_that_follows(self, name: str, number: Number, *, closely: bool = False) -> Entry | None:
        """The first of them that is right for a step, or follows from the own values."""
        if self.entry_for(name, number) is None:
            return None
        return self.entry_with(name, number, self.expected(name), closely=closely)
