"""What is known while a working is read: the problem, the learner's own values, results so far, mistakes blamed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tutor.answers.feedback import past_the_limit
from tutor.answers.naming import candidates, in_working_units
from tutor.answers.verdicts import claimed
from tutor.answers.working.dimensions import dimension_of
from tutor.answers.working.expression import Expression, Number
from tutor.answers.working.learner_values import LearnerValues
from tutor.answers.working.matching import Allowance, Match, Matcher, Suspicion
from tutor.answers.working.messages import WorkingMessages
from tutor.answers.working.numbers import NumberInterpretations, Result
from tutor.answers.working.reading import Statement
from tutor.answers.working.samples import SAMPLE_COUNT, PerturbedSamples, shown_in
from tutor.answers.working.sides import Mode, Side
from tutor.answers.working.verdicts import WRONG, Verdict
from tutor.base.units import conversion
from tutor.entries.entry import Entry
from tutor.problems.wrong_method import WrongMethod

TELLING_DIGITS = 3  # a value with fewer does not give a wrong way away


@dataclass(frozen=True)
class Finding:
    """What was found about one statement.

    `suspected` are wrong ways that it may belong to; an `unrecognized` one is no quantity that is known, one with an
    `unknown_number` holds a number from nowhere; one with a `label_mismatch_only` departs only by the name that stands
    before it, one `matched_by_value` was recognised by its value alone.
    """

    verdict: Verdict = "holds"
    name: str | None = None
    way: WrongMethod | None = None
    words: str = ""
    number: Number | None = None
    entry: Entry | None = None
    suspected: tuple[Suspicion, ...] = ()
    unrecognized: bool = False
    label_mismatch_only: bool = False
    unknown_number: bool = False
    matched_by_value: bool = False

    @property
    def is_wrong(self) -> bool:
        """Whether the statement is wrong in some way."""
        return self.verdict in WRONG


@dataclass(frozen=True)
class LineFindings:
    """What was found about one line; `unread` says why it could not be read, `unknown` is a word that was not."""

    text: str
    understood: str = ""
    unread: str = ""
    unknown: str = ""
    findings: tuple[Finding, ...] = ()

    @property
    def is_read(self) -> bool:
        """Whether all of it was read and recognised, or it holds no number at all."""
        if not self.findings:
            return not any(letter.isdigit() for letter in self.text)
        return not self.unknown and all(
            finding.verdict == "holds" and not finding.unrecognized for finding in self.findings
        )

    @property
    def decisive(self) -> Finding | None:
        """The first finding that is wrong, else the last one that says which quantity it is, else the last."""
        wrong = [finding for finding in self.findings if finding.is_wrong]
        named = [finding for finding in self.findings if finding.name]
        unread = [finding for finding in self.findings if finding.verdict == "unread"]
        return next(iter(wrong or named[-1:] or unread or self.findings[-1:]), None)


class WorkingContext:
    """All that is known so far of one working."""

    def __init__(self, samples: PerturbedSamples, allowance: Allowance) -> None:
        self.samples, self.problem = samples, samples.problem
        self.numbers = NumberInterpretations(samples)
        self.matcher = Matcher(self.numbers, allowance)
        self.learner = LearnerValues(self.problem)
        self.messages = WorkingMessages(self.problem)
        self.blamed: set[str] = set()
        self.reached = False
        self.previous: Finding | None = None

    def take(self, finding: Finding) -> None:
        """Take a finding over for all that follows."""
        self.previous = finding
        if finding.is_wrong and finding.way is not None:
            self.blamed.add(finding.way.id)
        if finding.name in self.learner.order and finding.entry:
            self.learner.entries[finding.name] = finding.entry
            if finding.name == self.problem.ask:
                self.reached = finding.verdict == "holds" and self.learner.is_right(finding.name, finding.entry)

    def match(self, expression: Expression, unit: str | None, modes: Sequence[Mode], likely: Sequence[str]) -> Match:
        """What a calculation is; the quantities that are `likely` and the open steps are looked at first."""
        steps = [name for name in (*likely, *self.learner.open_steps()) if name in self.samples.steps]
        return self.matcher.match(expression, unit, modes, list(dict.fromkeys(steps)))

    def steps_of(self, statement: Statement) -> list[str]:
        """The steps that a statement's label may name."""
        return [name for name in statement.names if name in self.samples.steps]

    def record(self, number: Number | None, side: Side, match: Match) -> None:
        """Remember a result, so that later lines may use it."""
        value = side.value
        if value is None:
            return
        number = number or Number(value, 1e-4 * abs(value), 4, None, f"{value:.4g}")
        vector = match.vector or (number.value,) * SAMPLE_COUNT
        dimensions = frozenset({dimension_of(number.unit)}) if number.unit else side.dimensions
        self.numbers.remember(Result(number, value, vector, dimensions))

    def record_step(self, number: Number, name: str, entry: Entry) -> None:
        """Remember a step's value: later it stands for the step, also if it is wrong."""
        shown_unit = self.problem.unit_of(name)
        dimension = dimension_of(shown_unit)
        unit = number.measured_in or entry.unit or shown_unit
        unit = "degC" if unit == "K" and conversion(shown_unit).offset else unit
        unit = unit if dimension_of(unit) == dimension else shown_unit
        vector = shown_in(unit, self.samples.vector(name))
        self.numbers.remember(Result(number, number.value, vector, frozenset({dimension})))

    def holding(self, name: str, entry: Entry, number: Number | None) -> Finding:
        """The finding for a step that is right, or follows from the lines before."""
        if self.learner.is_right(name, entry):
            words = self.messages.say("step", name)
        elif self.learner.is_value(name, entry, self.problem.values[name]):
            words = past_the_limit(self.problem, in_working_units(self.problem, name, entry))
        else:
            return self.carried(name, entry, number)
        return Finding(name=name, entry=entry, number=number, words=words)

    def carried(self, name: str, entry: Entry, number: Number | None) -> Finding:
        """The finding for a step that follows from the lines before."""
        return Finding(name=name, entry=entry, number=number, words=self.messages.say("carried"))

    def on_the_way(self, number: Number | None, suspected: tuple[Suspicion, ...] = ()) -> Finding:
        """The finding for a partial result."""
        return Finding(number=number, words=self.messages.say("on_the_way"), suspected=suspected)

    def in_wrong_unit(self, name: str, number: Number, entry: Entry | None = None) -> Finding:
        """The finding for a quantity in a unit that measures something else."""
        return Finding("dimension", name, words=self.messages.wrong_unit(name, number), number=number, entry=entry)

    def departing(
        self, name: str, entry: Entry | None, way: WrongMethod | None, number: Number | None = None
    ) -> Finding:
        """The finding for a step that departs from the method, with the mistake if it may be named."""
        if way is None and entry is not None:
            claim = claimed(candidates(self.problem, {**self.learner.before(name), name: entry}, name))
            if claim is not None:
                way = claim.method
                if way.id in self.blamed:
                    return self.carried(name, entry, number)
        return Finding("departs", name, way, self.messages.departs(name, way), number, entry)

    def doubted(self, finding: Finding) -> Finding:
        """A departure in words that are not known: only a suspicion, until it is clear where it leads."""
        if finding.verdict != "departs":
            return replace(finding, unrecognized=finding.unrecognized or bool(finding.suspected))
        doubtful = replace(finding, name=None, entry=None, unrecognized=True)
        if finding.way is None or finding.name is None:
            return replace(doubtful, verdict="unread", words=self.messages.say("no_claim"))
        suspected = (*finding.suspected, Suspicion(finding.way, finding.name))
        return replace(doubtful, verdict="holds", way=None, words=self.messages.say("on_the_way"), suspected=suspected)


@dataclass(frozen=True)
class Judge:
    """A part of the judging."""

    context: WorkingContext
