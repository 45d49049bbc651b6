"""The learner's own values for the steps of a problem, and what follows from them."""

from collections.abc import Iterator
from contextlib import suppress

from tutor.answers.naming import in_working_units
from tutor.answers.working.dims import units_like
from tutor.answers.working.expression import Number
from tutor.engine.problem import Problem
from tutor.engine.ways import NO_VALUE
from tutor.entries.entry import Entry, EntryError
from tutor.entries.kinds import read_size
from tutor.trade.rulebooks import TableError
from tutor.units import ABSOLUTE_TEMPERATURES, conversion

CUT_OFF = 2.1  # of half the last typed place: people cut off as well as round
ROUGH = 0.06  # a value with fewer figures than this share of itself is too rough to be recognised


class Own:
    """Values by step, as entries in the unit that the step is shown in."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.entries: dict[str, Entry] = {}
        self.order = problem.step_names

    def keep(self, name: str, entry: Entry) -> None:
        """Take a value over; that of a step counts for all that follows."""
        if name in self.order:
            self.entries[name] = entry

    def known(self) -> dict[str, float]:
        """All values in working units: the problem's, with the learner's own in their place and what follows."""
        return self._carried(None)

    def before(self, name: str) -> dict[str, Entry]:
        """The own values of the steps before a step."""
        place = self.order.index(name)
        return {one: self.entries[one] for one in self.order[:place] if one in self.entries}

    def open_steps(self) -> list[str]:
        """The steps without a value, those behind the last one with a value first."""
        last = max((at for at, name in enumerate(self.order) if name in self.entries), default=-1)
        return [name for name in (*self.order[last + 1 :], *self.order[: last + 1]) if name not in self.entries]

    def _carried(self, until: str | None) -> dict[str, float]:
        values = {**self.problem.known, **self.problem.values}
        for step in self.problem.question.right.steps:
            if step.name == until:
                break
            if step.name in self.entries:
                values[step.name] = in_working_units(self.problem, step.name, self.entries[step.name])
                continue
            if step.uses & self.entries.keys():
                try:
                    values[step.name] = self.problem.question.relation(step.whole)(values)
                except NO_VALUE:
                    continue
        return values

    def expected(self, name: str) -> list[float]:
        """What a step may come to, in working units: the right value, and what follows from the own ones."""
        found = [self.problem.values[name]]
        step = next(step for step in self.problem.question.right.steps if step.name == name)
        with suppress(*NO_VALUE):
            found.insert(0, self.problem.question.relation(step.whole)(self._carried(name)))
        return found

    def follows(self, name: str, entry: Entry, *, closely: bool = False) -> bool:
        """Whether an entry is the right value of a step, or what follows from the own ones, as precise as written."""
        return any(self.is_value(name, entry, expected, closely=closely) for expected in self.expected(name))

    def is_value(self, name: str, entry: Entry, expected: float, *, closely: bool = False) -> bool:
        """Whether an entry is a value of a quantity, as written; near enough will do if not `closely`."""
        value = in_working_units(self.problem, name, entry)
        apart = abs(value - expected)
        noise = 1e-9 * max(abs(expected), 1e-9)
        if name in self.problem.question.discrete and self.problem.question.library.quantities[name].kind != "number":
            return apart <= max(1e-3 * abs(expected), noise)
        width = entry.half_width * conversion(self.problem.unit_of(name)).scale
        rough = width >= ROUGH * abs(value) and entry.digits < 2
        room = CUT_OFF * width if abs(value) < abs(expected) else 1.05 * width
        tolerance = 0.0 if closely else self.problem.tolerance(name, expected)
        if name in self.problem.question.discrete:
            return apart <= max(min(room, 0.02 * abs(expected)), tolerance) + noise
        return apart <= max(0.0 if rough else min(room, 0.05 * abs(expected)), tolerance) + noise

    def is_right(self, name: str, entry: Entry) -> bool:
        """Whether an entry is a step's right value; that of the answer breaks no limit.  A given is no step."""
        if name not in self.order or not self.is_value(name, entry, self.problem.values[name]):
            return False
        if name != self.problem.ask:
            return True
        values = {**self.problem.known, **self.problem.values, name: in_working_units(self.problem, name, entry)}
        try:
            return all(limit.holds(values) for limit in self.problem.question.limits)
        except (TableError, ZeroDivisionError, OverflowError):
            return False

    def entries_for(self, name: str, number: Number) -> Iterator[Entry]:
        """What a number may be as an entry for a quantity, the likeliest first; nothing if its unit does not fit."""
        quantity = self.problem.question.library.quantities[name]
        shown = self.problem.unit_of(name)
        if quantity.kind == "size":
            yield from self._size(number)
            return
        if quantity.kind in ("answer", "choice"):
            return
        units = units_like(shown) if number.unit in (None, "count") else (str(number.unit),)
        for unit in units:
            if unit == "K" and shown in ABSOLUTE_TEMPERATURES:
                unit = "degC"  # noqa: PLW2901 - a degree where a temperature is asked for
            old, new = conversion(unit), conversion(shown)
            if old.dimension != new.dimension:
                return
            value = new.to_shown(old.to_working(number.value))
            yield Entry(value, number.half_width * old.scale / new.scale, unit, number.text, number.digits)

    def _size(self, number: Number) -> Iterator[Entry]:
        if number.unit == "mm^2":
            yield Entry(number.value, 0.0, "mm^2", number.text, 3)
        elif number.unit is None and number.is_whole:
            try:
                yield read_size(number.text, self.problem.question.rulebook)
            except EntryError:
                return

    def first_that_follows(self, name: str, number: Number, *, closely: bool = False) -> Entry | None:
        """The first reading of a number that follows for a step."""
        return next((one for one in self.entries_for(name, number) if self.follows(name, one, closely=closely)), None)
