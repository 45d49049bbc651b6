"""What is known while a working is read: the problem, the learner's own values, results so far, mistakes blamed."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from tutor.answers.feedback import past_the_limit
from tutor.answers.naming import candidates, in_working_units
from tutor.answers.verdicts import claimed
from tutor.answers.working.arithmetic import Mode, Side
from tutor.answers.working.dims import dimension_of
from tutor.answers.working.expression import Expression, Number
from tutor.answers.working.methods import Allowance, Match, Methods, Suspicion
from tutor.answers.working.own import Own
from tutor.answers.working.reading import Statement
from tutor.answers.working.sources import Result, Sources
from tutor.answers.working.telling import Teller
from tutor.answers.working.verdicts import WRONG, Verdict
from tutor.answers.working.worlds import HOW_MANY, Worlds
from tutor.engine.ways import Way
from tutor.entries.entry import Entry
from tutor.units import conversion

TELLING_DIGITS = 3  # a value with fewer does not give a wrong way away


@dataclass
class Finding:
    """What was found about one statement.

    `suspected` are wrong ways that it may belong to; a `loose` one was not recognised, a `stray` one holds a number
    from nowhere; a `strong` one departs only by the name that stands before it, a `guessed` one was told by
    its value alone.
    """

    verdict: Verdict = "holds"
    name: str | None = None
    way: Way | None = None
    words: str = ""
    number: Number | None = None
    entry: Entry | None = None
    suspected: tuple[Suspicion, ...] = ()
    loose: bool = False
    strong: bool = False
    stray: bool = False
    guessed: bool = False

    @property
    def is_wrong(self) -> bool:
        """Whether the statement is wrong in some way."""
        return self.verdict in WRONG


@dataclass
class LineFindings:
    """What was found about one line; `unread` says why it could not be read, `unknown` is a word that was not."""

    text: str
    understood: str = ""
    unread: str = ""
    unknown: str = ""
    findings: list[Finding] = field(default_factory=list)

    @property
    def is_read(self) -> bool:
        """Whether all of it was read and recognised, or it holds no number at all."""
        if not self.findings:
            return not any(letter.isdigit() for letter in self.text)
        return not self.unknown and all(one.verdict == "holds" and not one.loose for one in self.findings)

    @property
    def decisive(self) -> Finding | None:
        """The first finding that is wrong, else the last one that says which quantity it is, else the last."""
        wrong = [one for one in self.findings if one.is_wrong]
        told = [one for one in self.findings if one.name]
        unread = [one for one in self.findings if one.verdict == "unread"]
        return next(iter(wrong or told[-1:] or unread or self.findings[-1:]), None)


class Knowledge:
    """All that is known so far."""

    def __init__(self, worlds: Worlds, allowance: Allowance) -> None:
        self.worlds, self.problem = worlds, worlds.problem
        self.sources = Sources(worlds)
        self.methods = Methods(self.sources, allowance)
        self.own = Own(self.problem)
        self.teller = Teller(self.problem)
        self.blamed: set[str] = set()
        self.reached = False
        self.previous: Finding | None = None

    def take(self, finding: Finding) -> None:
        """Take a finding over for all that follows."""
        self.previous = finding
        if finding.is_wrong and finding.way is not None:
            self.blamed.add(finding.way.id)
        if finding.name and finding.entry:
            self.own.keep(finding.name, finding.entry)
            if finding.name == self.problem.ask:
                self.reached = finding.verdict == "holds" and self.own.is_right(finding.name, finding.entry)

    def match(self, expression: Expression, unit: str | None, modes: Sequence[Mode], first: Sequence[str]) -> Match:
        """What a calculation is; the quantities named `first` and the open steps are looked at first."""
        steps = [name for name in (*first, *self.own.open_steps()) if name in self.worlds.steps]
        return self.methods.match(expression, unit, modes, list(dict.fromkeys(steps)))

    def steps_of(self, statement: Statement) -> list[str]:
        """The steps that a statement's label may name."""
        return [name for name in statement.names if name in self.worlds.steps]

    def record(self, number: Number | None, side: Side, match: Match) -> None:
        """Remember a result, so that later lines may use it."""
        value = side.values.get("typed", side.values.get("working"))
        if value is None:
            return
        number = number or Number(value, 1e-4 * abs(value), 4, None, f"{value:.4g}")
        vector = match.vector or (number.value,) * HOW_MANY
        dimensions = frozenset({dimension_of(number.unit)}) if number.unit else side.dimensions
        self.sources.keep(Result(number, value, vector, dimensions))

    def record_step(self, number: Number, name: str, entry: Entry) -> None:
        """Remember a step's value: later it stands for the step, also if it is wrong."""
        vector = self.worlds.vector(name)
        unit = number.unit if number.unit not in (None, "count") else entry.unit or self.problem.unit_of(name)
        unit = "degC" if unit == "K" and conversion(self.problem.unit_of(name)).offset else str(unit)
        unit = unit if dimension_of(unit) == dimension_of(self.problem.unit_of(name)) else self.problem.unit_of(name)
        shown = tuple(conversion(unit).to_shown(value) for value in vector)
        dimensions = frozenset({dimension_of(self.problem.unit_of(name))})
        self.sources.keep(Result(number, number.value, shown, dimensions))

    def held(self, name: str, entry: Entry, number: Number | None) -> Finding:
        """The finding for a step that is right, or follows from the lines before."""
        right = self.own.is_right(name, entry)
        words = self.teller.holds(name, carried=not right)
        if not right and self.own.is_value(name, entry, self.problem.values[name]):
            words = past_the_limit(self.problem, in_working_units(self.problem, name, entry))
        return Finding(name=name, entry=entry, number=number, words=words)

    def doubted(self, finding: Finding) -> Finding:
        """A departure in words that are not known: only a suspicion, until it is clear where it leads."""
        if finding.verdict != "departs":
            return replace(finding, loose=finding.loose or bool(finding.suspected))
        if finding.way is None or finding.name is None:
            return replace(finding, verdict="unread", name=None, entry=None, words=self.teller.no_claim(), loose=True)
        suspected = (*finding.suspected, Suspicion(finding.way, finding.name))
        words = self.teller.on_the_way()
        return replace(
            finding, verdict="holds", name=None, entry=None, way=None, words=words, suspected=suspected, loose=True
        )

    def departing(self, name: str, entry: Entry | None, way: Way | None, *, number: Number | None = None) -> Finding:
        """The finding for a step that departs from the method, with the mistake if it may be named."""
        if way is None and entry is not None:
            found = claimed(candidates(self.problem, {**self.own.before(name), name: entry}, name))
            if found is not None:
                way = found.way
                if way.id in self.blamed:
                    return Finding(name=name, entry=entry, number=number, words=self.teller.holds(name, carried=True))
        return Finding("departs", name, way, self.teller.departs(name, way), number, entry)


class Judge:
    """A part of the judging, with what is known at hand."""

    def __init__(self, known: Knowledge) -> None:
        self.known = known
        self.problem, self.worlds, self.sources = known.problem, known.worlds, known.sources
        self.methods, self.own, self.teller = known.methods, known.own, known.teller
