"""Judging a working line by line: arithmetic, dimensions, which quantity it is, and where it departs from the method.

A slip is said where it first happens; what follows rightly from it is not blamed again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from tutor.answers.entry import Entry, EntryError
from tutor.answers.naming import candidates, in_working_units
from tutor.answers.size import read_size
from tutor.answers.verdicts import Candidate, claimed
from tutor.answers.working.expression import Expression, Number, Symbol, UnreadError, spread_of, value_of
from tutor.answers.working.reading import MOST_LINES, Line, comma_readings, read_line
from tutor.answers.working.symbols import Symbols
from tutor.engine.problem import Problem
from tutor.engine.solution import in_plain_words
from tutor.engine.ways import NO_VALUE
from tutor.errors import FaultyRequestError
from tutor.units import ABSOLUTE_TEMPERATURES, conversion

Verdict = Literal["holds", "arithmetic", "dimension", "departs", "unread"]
WRONG = ("arithmetic", "dimension", "departs")
SLACK = 2.1  # of half the last typed place: people cut off as well as round
COARSE = 0.006  # how far rounding on the way carries a value that still counts as the same


class WorkingError(FaultyRequestError, ValueError):
    """A working that cannot be looked at, in one line that says how to mend it."""


@dataclass(frozen=True)
class Judged:
    """One line with its verdict; `words` explain it, `mistake` names the mistake if it may be named."""

    text: str
    verdict: Verdict
    words: str
    understood: str = ""
    quantity: str | None = None
    mistake: str | None = None


@dataclass(frozen=True)
class Working:
    """A whole working: its lines, the place of the first wrong one, and whether it reaches the right answer."""

    lines: tuple[Judged, ...]
    reaches_answer: bool

    @property
    def first_wrong(self) -> int | None:
        """The place of the first line that is wrong, from 0."""
        return next((at for at, line in enumerate(self.lines) if line.verdict in WRONG), None)


def check_working(problem: Problem, text: str) -> Working:
    """Judge the lines of a working of a problem.

    Raises WorkingError if it has too many lines, or none.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise WorkingError("There is no line to look at: write at least one.")
    if len(lines) > MOST_LINES:
        raise WorkingError(f"A working may have {MOST_LINES} lines; this one has {len(lines)}.")
    found = [_judged(problem, lines, decimal_comma=comma) for comma in comma_readings(text)]
    return min(found, key=lambda working: sum(line.verdict in WRONG for line in working.lines))


def _judged(problem: Problem, lines: Sequence[str], *, decimal_comma: bool) -> Working:
    judge = _Judge(problem, decimal_comma=decimal_comma)
    judged = [judge.line(line) for line in lines]
    return Working(tuple(judge.closed(judged)), judge.reached)


class _Judge:
    """What is known while the lines are read from top to bottom."""

    def __init__(self, problem: Problem, *, decimal_comma: bool) -> None:
        self.problem, self.decimal_comma = problem, decimal_comma
        self.symbols = Symbols(problem)
        self.order = problem.step_names
        self.own: dict[str, Entry] = {}
        self.loose: dict[int, tuple[Line, Number]] = {}
        self.reached = False
        self.count = -1

    def line(self, text: str) -> Judged:
        """Judge one line after those before it."""
        self.count += 1
        try:
            read = read_line(text, self.symbols, decimal_comma=self.decimal_comma)
        except UnreadError as error:
            return Judged(text.strip(), "unread", str(error))
        fault = self._arithmetic(read)
        if fault is not None:
            return Judged(read.text, "arithmetic", fault, read.understood, self._meant(read))
        return self._placed(read)

    def closed(self, judged: list[Judged]) -> list[Judged]:
        """The lines again; if the answer was not reached, the first loose result that a slip explains departs.

        If none does, and nothing else is wrong, the last loose result at the very end is where the working departs.
        """
        if self.reached and self.problem.ask not in self.problem.question.discrete:
            judged = [self._another_route(line) for line in judged]
        if self.reached or any(line.verdict in WRONG for line in judged):
            return judged
        for at, (read, entry) in self.loose.items():
            if (found := self._slip(self.order, entry, declared_only=False)) is not None:
                judged[at] = self._departs(read, *found)
                return judged
        if len(judged) - 1 in self.loose:
            read, _ = self.loose[len(judged) - 1]
            words = f"This is not the {self._words(self.problem.ask)}, and no known slip leads to it."
            judged[-1] = Judged(read.text, "departs", words, read.understood, self.problem.ask)
        return judged

    def _another_route(self, line: Judged) -> Judged:
        """A result without a name that looked like a slip, but led to the right value in another order."""
        if line.verdict != "departs" or self.symbols.named(line.understood.partition(" = ")[0]):
            return line
        return replace(line, verdict="holds", words="A result on the way, in an order of your own.", mistake=None)

    def _meant(self, read: Line) -> str | None:
        """The step that a line with wrong arithmetic was to give, whose result is taken over as it stands."""
        entry = self._last_value(read)
        name = read.quantity if read.quantity in self.order else None
        values = self._values(read.sides[0])
        if name is None and values:
            computed = Number(values[0], 1e-4 * abs(values[0]), 5, None, "")
            for one in self._open_steps():
                if (typed := self._as_entry(one, computed)) is not None and self._follows(one, typed):
                    name = one
                    break
        if name and entry and (typed := self._as_entry(name, entry)) is not None:
            self.own[name] = typed
        return name or read.quantity

    def _arithmetic(self, read: Line) -> str | None:
        """What does not come out, if anything: each side against the next, at the precision written."""
        for left, right in zip(read.sides, read.sides[1:], strict=False):
            if right.number is None and left.number is None and not (left.is_symbolic or right.is_symbolic):
                continue
            values = [self._values(side) for side in (left, right)]
            if not values[0] or not values[1]:
                continue
            if not any(self._agree(left, right, one, other) for one, other in zip(*values, strict=True)):
                return f"{left.text} is {values[0][0]:.5g}, not {right.text}."
        return None

    def _values(self, side: Expression) -> list[float]:
        """The value of a side: with the numbers as typed, and with each in working units."""
        found = []
        for in_working in (False, True):
            try:
                found.append(value_of(side.term, [self._leaf(leaf, in_working=in_working) for leaf in side.leaves]))
            except (KeyError, ZeroDivisionError, OverflowError, ValueError):
                return []
        return found

    def _leaf(self, leaf: Number | Symbol, *, in_working: bool) -> float:
        if isinstance(leaf, Symbol):
            name = leaf.names[0]
            value = self._known(name)
            return value if in_working else conversion(self.problem.unit_of(name)).to_shown(value)
        if in_working and leaf.unit and leaf.unit not in ("count", "AWG", "kcmil"):
            return conversion(leaf.unit).to_working(leaf.value)
        return leaf.value

    def _known(self, name: str) -> float:
        if name in self.own:
            return in_working_units(self.problem, name, self.own[name])
        return {**self.problem.known, **self.problem.values}[name]

    def _agree(self, left: Expression, right: Expression, one: float, other: float) -> bool:
        """Whether two sides are the same at the precision written, the right one rounded or cut off."""
        room = sum(self._room(side) for side in (left, right))
        noise = 1e-9 * max(abs(one), abs(other))
        cut_off = 0 <= abs(one) - abs(other) <= SLACK * room + noise and one * other >= 0
        return abs(one - other) <= 1.05 * room + noise or cut_off

    def _room(self, side: Expression) -> float:
        """How far the figures typed leave a side open: a bare number by its last place, a symbol by three figures."""
        number = side.number
        if number is not None:
            return number.half_width if number.half_width < abs(number.value) or not number.value else 0.0
        numbers = [self._leaf(leaf, in_working=False) for leaf in side.leaves]
        widths = [_width(leaf, value) for leaf, value in zip(side.leaves, numbers, strict=True)]
        try:
            return spread_of(side.term, numbers, widths)
        except (ZeroDivisionError, OverflowError, ValueError):
            return 0.0

    def _placed(self, read: Line) -> Judged:
        """The verdict on a line whose arithmetic holds: which quantity it is, and whether it follows the method."""
        entry = self._last_value(read)
        if entry is None:
            return self._holds(read, None, "")
        if read.quantity is not None and read.quantity in self.problem.known:
            return self._restated(read, read.quantity, entry)
        names = [read.quantity] if read.quantity in self.order else self._open_steps()
        for name in names:
            typed = next((one for one in self._as_entries(name, entry) if self._follows(name, one)), None)
            if typed is not None:
                return self._step(read, name, typed)
        if self._is_known_number(entry) and read.quantity is None:
            return self._holds(read, None, "A number that is given.")
        if read.quantity in self.order and self._as_entry(read.quantity, entry) is None:
            words = f"The {self._words(read.quantity)} is not measured in {entry.unit}."
            return Judged(read.text, "dimension", words, read.understood, read.quantity)
        return self._departing(read, names, entry)

    def _departing(self, read: Line, names: Sequence[str], entry: Number) -> Judged:
        found = self._slip(names, entry, declared_only=read.quantity is None)
        if found is not None:
            return self._departs(read, *found)
        if read.quantity in self.order and (typed := self._as_entry(str(read.quantity), entry)) is not None:
            return self._departs(read, str(read.quantity), typed, None)
        if (name := self._wrong_unit(names, entry)) is not None:
            words = f"The number fits the {self._words(name)}, but not its unit."
            return Judged(read.text, "dimension", words, read.understood, name)
        self.loose[self.count] = (read, entry)
        return self._holds(read, None, "A result on the way.")

    def _slip(self, names: Sequence[str], entry: Number, *, declared_only: bool) -> tuple[str, Entry, Candidate] | None:
        """The first step for which a mistake explains a number; one that nobody declared only where that is asked."""
        for name in names:
            for typed in self._as_entries(name, entry)[-1:]:
                found = claimed(candidates(self.problem, {**self._before(name), name: typed}, name))
                if found is not None and (found.way.origin == "declared" or not declared_only):
                    return name, typed, found
        return None

    def _departs(self, read: Line, name: str, typed: Entry, found: Candidate | None) -> Judged:
        self.own[name] = typed
        step = next(step for step in self.problem.question.right.steps if step.name == name)
        relation = in_plain_words(name, step.trees[0]).replace("_", " ")
        said = f"Here it departs: {found.words}." if found else "Here it departs from the method."
        words = f"{said} The relation: {relation}."
        return Judged(read.text, "departs", words, read.understood, name, found.id if found else None)

    def _step(self, read: Line, name: str, typed: Entry) -> Judged:
        self.own[name] = typed
        right = self._is_right(name, in_working_units(self.problem, name, typed))
        self.reached = self.reached or (name == self.problem.ask and right)
        return self._holds(read, name, f"The {self._words(name)}." if right else "It follows from the lines before.")

    def _holds(self, read: Line, name: str | None, words: str) -> Judged:
        return Judged(read.text, "holds", words or "It holds.", read.understood, name)

    def _restated(self, read: Line, name: str, entry: Number) -> Judged:
        typed = self._as_entry(name, entry)
        value = self.problem.known[name]
        if typed is None:
            words = f"The {self._words(name)} is not measured in {entry.unit}."
            return Judged(read.text, "dimension", words, read.understood, name)
        shown = in_working_units(self.problem, name, typed)
        if len(read.sides) == 1 and abs(shown - value) > max(COARSE * abs(value), SLACK * typed.half_width):
            words = f"The {self._words(name)} is given as {self.problem.text_of(name)}."
            return Judged(read.text, "departs", words, read.understood, name)
        return self._holds(read, name, "As it is given.")

    def _last_value(self, read: Line) -> Number | None:
        """The number that a line comes to; that of a calculation without a result is worked out."""
        last = read.sides[-1]
        if last.number is not None:
            return last.number
        values = self._values(last)
        return Number(values[0], 1e-6 * abs(values[0]), 7, None, f"{values[0]:.7g}") if values else None

    def _open_steps(self) -> list[str]:
        """The steps that a line without a name may be: those not reached yet, in order."""
        done = [at for at, name in enumerate(self.order) if name in self.own]
        return self.order[max(done, default=-1) + 1 :] or self.order[-1:]

    def _as_entry(self, name: str, number: Number) -> Entry | None:
        """A number as an entry for a quantity; None if its unit measures something else."""
        quantity = self.problem.question.library.quantities[name]
        if quantity.kind == "size":
            try:
                return read_size(number.text, self.problem.question.rulebook)
            except EntryError:
                return None
        if quantity.kind in ("answer", "choice"):
            return None
        shown = self.problem.unit_of(name)
        unit = _of_temperature(number.unit) if shown in ABSOLUTE_TEMPERATURES else number.unit
        if unit in (None, "count"):
            return Entry(number.value, number.half_width, "", number.text, number.digits)
        if unit in ("AWG", "kcmil") or conversion(str(unit)).dimension != conversion(shown).dimension:
            return None
        old, new = conversion(str(unit)), conversion(shown)
        value = new.to_shown(old.to_working(number.value))
        return Entry(value, number.half_width * old.scale / new.scale, str(unit), number.text, number.digits)

    def _as_entries(self, name: str, number: Number) -> list[Entry]:
        """The same; a bare number for a per cent may be a share, too."""
        typed = self._as_entry(name, number)
        if typed is None:
            return []
        if number.unit is None and self.problem.unit_of(name).startswith("%"):
            return [typed, replace(typed, value=100 * typed.value, half_width=100 * typed.half_width)]
        return [typed]

    def _before(self, name: str) -> dict[str, Entry]:
        return {one: self.own[one] for one in self.order[: self.order.index(name)] if one in self.own}

    def _carried(self, name: str) -> list[float]:
        """What the right relation gives for a step, from the learner's own values and from the right ones."""
        found = [self.problem.values[name]]
        values = {**self.problem.known, **self.problem.values}
        own = {one: in_working_units(self.problem, one, entry) for one, entry in self._before(name).items()}
        for step in self.problem.question.right.steps:
            if step.name in own:
                values[step.name] = own[step.name]
                continue
            try:
                values[step.name] = self.problem.question.relation(step.whole)(values)
            except NO_VALUE:
                return found
            if step.name == name:
                break
        return [values[name], *(found if not own else [])]

    def _follows(self, name: str, typed: Entry) -> bool:
        value = in_working_units(self.problem, name, typed)
        scale = conversion(self.problem.unit_of(name)).scale
        for expected in self._carried(name):
            if name in self.problem.question.discrete:
                if abs(value - expected) <= 1e-3 * abs(expected):
                    return True
                continue
            room = max(SLACK * typed.half_width * scale, self.problem.question.tolerance(name, expected))
            if typed.digits <= 2 and typed.half_width >= 0.5:
                room = min(room, 0.02 * abs(expected))
            if abs(value - expected) <= room + 1e-12:
                return True
        return False

    def _is_right(self, name: str, value: float) -> bool:
        right = self.problem.values[name]
        return (
            abs(value - right)
            <= max(
                self.problem.question.tolerance(name, right),
                COARSE * abs(right) * (name not in self.problem.question.discrete),
            )
            + 1e-9
        )

    def _is_known_number(self, entry: Number) -> bool:
        known: Mapping[str, float] = self.problem.known
        shown = [conversion(self.problem.unit_of(name)).to_shown(value) for name, value in known.items()]
        return any(abs(entry.value - value) <= 1e-9 * abs(value) for value in shown)

    def _wrong_unit(self, names: Sequence[str], entry: Number) -> str | None:
        if entry.unit in (None, "count", "AWG", "kcmil"):
            return None
        for name in names:
            shown = conversion(self.problem.unit_of(name)).to_shown(self._carried(name)[0])
            if conversion(str(entry.unit)).dimension != conversion(self.problem.unit_of(name)).dimension and (
                abs(entry.value - shown) <= max(SLACK * entry.half_width, 1e-3 * abs(shown))
            ):
                return name
        return None

    def _words(self, name: str) -> str:
        return self.problem.question.library.quantities[name].words


def _width(leaf: Number | Symbol, value: float) -> float:
    """How far a number in a calculation is left open; whole ones and those of few figures, as in tables, are exact."""
    if isinstance(leaf, Symbol):
        return 0.003 * abs(value)
    return 0.0 if leaf.is_whole or leaf.digits < 3 else leaf.half_width


def _of_temperature(unit: str | None) -> str | None:
    """The scale that a degree means where a temperature is asked for."""
    return {"K": "degC", "delta_degC": "degC", "delta_degF": "degF"}.get(unit or "", unit)
