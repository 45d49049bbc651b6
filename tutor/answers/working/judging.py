"""Judging a working line by line: arithmetic, dimensions, which quantity it is, and where it departs from the method.

A slip is said where it first happens; what follows rightly from it is not blamed again.  A result without a name that
may be a part of the method as well as of a wrong way stays suspected until it is clear where it leads.
"""

import logging
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import replace

from tutor.answers.working.blame import BlameAssignment
from tutor.answers.working.context import LineFindings, WorkingContext
from tutor.answers.working.dimensions import dimension_of
from tutor.answers.working.expression import UnreadError
from tutor.answers.working.matching import Allowance
from tutor.answers.working.reading import (
    COMPARED,
    MOST_LINES,
    UNREADABLE,
    Statement,
    comma_readings,
    plain_line,
    read_line,
)
from tutor.answers.working.samples import PerturbedSamples
from tutor.answers.working.statements import StatementJudge
from tutor.answers.working.symbols import Symbols
from tutor.answers.working.tokens import Reader
from tutor.answers.working.verdicts import WRONG, Judged, Verdict, Working
from tutor.answers.working.words import before_yes_or_no, word_answer
from tutor.base.errors import FaultyRequestError
from tutor.problems.problem import Problem
from tutor.problems.problem_factory import by_other_methods

__all__ = ["WRONG", "Judged", "Verdict", "Working", "WorkingError", "check_working"]

_log = logging.getLogger(__name__)
MOST_OPERANDS = 30  # in a line; three times what the longest lines of learners hold
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?|[.,]\d+")


class WorkingError(FaultyRequestError, ValueError):
    """A working that cannot be looked at, in one line that says how to mend it."""


def check_working(problem: Problem, text: str) -> Working:
    """Judge the lines of a working of a problem; empty lines are left out.

    Raises WorkingError if it has too many lines, or none.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines:
        raise WorkingError("There is no line to look at: write at least one.")
    if len(lines) > MOST_LINES:
        raise WorkingError(
            f"A working may have {MOST_LINES} lines; this one has {len(lines)}: leave out what is not needed."
        )
    commas = comma_readings(text)
    samples, allowance = PerturbedSamples(problem), Allowance()
    working = min((_judged(samples, allowance, lines, decimal_comma=comma) for comma in commas), key=_unexplained)
    by_others = [
        _by_method_of(method, problem, _judged(samples, allowance, lines, decimal_comma=comma))
        for method, samples in [(method, PerturbedSamples(method)) for method in by_other_methods(problem)]
        for comma in commas
    ]
    better = [candidate for candidate in by_others if _recognised(candidate) > _recognised(working)]
    return min([working, *better], key=_unexplained)


def _recognised(working: Working) -> int:
    """How many lines are steps of the method, up to the first that is wrong."""
    return sum(line.quantity is not None for line in working.lines[: working.first_wrong])


def _unexplained(working: Working) -> int:
    """How many lines are not recognised; a wrong one counts twice."""
    return sum(2 if line.verdict in WRONG else line.quantity is None for line in working.lines)


def _by_method_of(method: Problem, problem: Problem, working: Working) -> Working:
    """A working judged by another method that is as good; it reaches the answer if both methods come to the same."""
    same = abs(method.values[problem.ask] - problem.values[problem.ask]) <= problem.tolerance(problem.ask)
    return replace(working, reaches_answer=working.reaches_answer and same, method=method.question.exercise.title)


def _judged(samples: PerturbedSamples, allowance: Allowance, texts: Sequence[str], *, decimal_comma: bool) -> Working:
    context, problem = WorkingContext(samples, allowance), samples.problem
    has_sizes = any(context.learner.kind(name) == "size" for name in problem.all_values)
    farads = any(dimension_of(problem.unit_of(name)) == dimension_of("F") for name in problem.known)
    reader = Reader(Symbols(problem), problem.question.rulebook if has_sizes else None, decimal_comma, farads)
    lines = [_line(place, text, context, reader) for place, text in enumerate(texts, start=1)]
    try:
        lines = BlameAssignment(context, lines).settled()
        return Working(tuple(map(_verdict, lines)), context.reached, proves_answer=_proves_the_answer(context, lines))
    except Exception:
        _log.exception("a working could not be settled, problem %s", problem.question.exercise.id)
        return Working(tuple(Judged(text, "unread", UNREADABLE) for text in texts), reaches_answer=False)


def _is_a_check(line: LineFindings) -> bool:
    """Whether a line only compares what was found already."""
    return any(sign in line.understood for sign in COMPARED) or line.text.casefold().startswith("check")


def _proves_the_answer(context: WorkingContext, lines: Sequence[LineFindings]) -> bool:
    """Whether every line was read and holds, and the last result is the answer in its unit."""
    last = next((line.findings[-1] for line in reversed(lines) if line.findings and not _is_a_check(line)), None)
    ask, proof, learner = context.problem.ask, context.problem.question.evidence, context.learner
    if last is None or last.name != ask or not context.reached or not all(line.is_read for line in lines):
        return False
    if proof is not None and not learner.is_right(proof, learner.entries.get(proof)):
        return False
    if learner.kind(ask) != "number" or not context.problem.unit_of(ask):
        return True
    return last.number is not None and bool(last.number.measured_in)


def _line(place: int, text: str, context: WorkingContext, reader: Reader) -> LineFindings:
    """What is found about a line after those before it; one that cannot be looked through is not read."""
    context.matcher.allowance.begin_line()
    try:
        return _looked_through(place, text, context, reader)
    except UnreadError as error:
        line = LineFindings(text, unread=str(error))
    except Exception:  # a fault of ours in one line takes neither the page nor the other lines down
        _log.exception("a line of a working could not be judged, problem %s", context.problem.question.exercise.id)
        line = LineFindings(text, unread=UNREADABLE)
    context.numbers.remember_unread(float(number.replace(",", ".")) for number in _NUMBER.findall(text))
    return line


def _read(place: int, plain: str, reader: Reader) -> list[Statement]:
    statements = read_line(plain, reader)
    operands = sum(len(side.leaves) for statement in statements for side in statement.sides if side is not None)
    if operands > MOST_OPERANDS:
        raise UnreadError(
            f"Line {place} contains {operands} numbers. One line can contain at most {MOST_OPERANDS}. Split the "
            "calculation into several lines, each with its result."
        )
    return statements


def _looked_through(place: int, text: str, context: WorkingContext, reader: Reader) -> LineFindings:
    """What is found about a line.

    Raises UnreadError, with a sentence, if it cannot be read.
    """
    plain = plain_line(text)
    line = LineFindings(text)
    if before := before_yes_or_no(plain):
        with suppress(UnreadError):
            line = _with_findings(line, context, _read(place, before, reader))
    if (answer := word_answer(plain, context)) is not None:
        context.take(answer)
        return replace(line, understood=plain, findings=(*line.findings, answer))
    statements = _read(place, plain, reader)
    understood = "; ".join(statement.understood for statement in statements)
    return _with_findings(replace(line, understood=understood), context, statements)


def _with_findings(line: LineFindings, context: WorkingContext, statements: Iterable[Statement]) -> LineFindings:
    """A line with what is found about some statements of it, one after the other."""
    for statement in statements:
        line = replace(line, unknown=line.unknown or statement.unknown)
        for finding in StatementJudge(context).statement(statement):
            taken = context.doubted(finding) if statement.unknown else finding
            context.take(taken)
            line = replace(line, findings=(*line.findings, taken))
    return line


def _verdict(line: LineFindings) -> Judged:
    finding = line.decisive
    if finding is None:
        return Judged(line.text, "unread", line.unread or UNREADABLE)
    mistake = finding.way.id if finding.way is not None and finding.verdict == "departs" else None
    return Judged(line.text, finding.verdict, finding.words, line.understood, finding.name, mistake)
