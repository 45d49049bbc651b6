"""Judging a working line by line: arithmetic, dimensions, which quantity it is, and where it departs from the method.

A slip is said where it first happens; what follows rightly from it is not blamed again.  A result without a name that
may be a part of the method as well as of a wrong way stays suspected until it is clear where it leads.
"""

import logging
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

from tutor.answers.working.dims import dimension_of
from tutor.answers.working.expression import UnreadError
from tutor.answers.working.knowledge import Finding, Knowledge, LineFindings
from tutor.answers.working.methods import Allowance
from tutor.answers.working.reading import (
    COMPARED,
    MOST_LINES,
    UNREADABLE,
    Statement,
    comma_readings,
    plain_line,
    read_line,
)
from tutor.answers.working.settling import Settling
from tutor.answers.working.sides import Sides
from tutor.answers.working.symbols import Symbols
from tutor.answers.working.tokens import Reader
from tutor.answers.working.verdicts import WRONG, Judged, Verdict, Working
from tutor.answers.working.words import before_yes_or_no, word_answer
from tutor.answers.working.worlds import Worlds
from tutor.engine.problem import Problem
from tutor.engine.problem_factory import by_other_methods
from tutor.entries.entry import Entry
from tutor.errors import FaultyRequestError

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
    readings = comma_readings(text)
    worlds, allowance = Worlds(problem), Allowance()
    own = min((_judged(worlds, allowance, lines, decimal_comma=comma) for comma in readings), key=_unexplained)
    alike = [Worlds(other) for other in by_other_methods(problem)]
    others = [
        _by(problem, _judged(other, allowance, lines, decimal_comma=comma), other.problem)
        for other in alike
        for comma in readings
    ]
    return min([own, *(other for other in others if _recognised(other) > _recognised(own))], key=_unexplained)


def _recognised(working: Working) -> int:
    """How many lines are steps of the method, up to the first that is wrong."""
    return sum(line.quantity is not None for line in working.lines[: working.first_wrong])


def _unexplained(working: Working) -> int:
    """How many lines are not recognised; a wrong one counts twice."""
    return sum(2 if line.verdict in WRONG else line.quantity is None for line in working.lines)


def _is_a_check(line: LineFindings) -> bool:
    """Whether a line only compares what was found already."""
    return any(sign in line.understood for sign in COMPARED) or line.text.casefold().startswith("check")


def _by(problem: Problem, working: Working, other: Problem) -> Working:
    """A working judged by another method that is as good; it reaches the answer if both methods come to the same."""
    room = problem.tolerance(problem.ask)
    same = abs(other.values[problem.ask] - problem.values[problem.ask]) <= room
    return replace(working, reaches_answer=working.reaches_answer and same, method=other.question.exercise.title)


def _judged(worlds: Worlds, allowance: Allowance, texts: Sequence[str], *, decimal_comma: bool) -> Working:
    known, problem = Knowledge(worlds, allowance), worlds.problem
    quantities = problem.question.library.quantities
    has_sizes = any(quantities[name].kind == "size" for name in (*problem.known, *problem.step_names))
    farads = any(dimension_of(problem.unit_of(name)) == dimension_of("F") for name in problem.known)
    reader = Reader(Symbols(problem), problem.question.rulebook if has_sizes else None, decimal_comma, farads)
    sides = Sides(known)
    lines = [_line(at, text, known, reader, sides) for at, text in enumerate(texts, start=1)]
    try:
        Settling(known).settle(lines)
        return Working(tuple(map(_told, lines)), known.reached, proves_answer=_proves_the_answer(known, lines))
    except Exception:
        _log.exception("a working could not be settled, problem %s", problem.question.exercise.id)
        return Working(tuple(Judged(text, "unread", UNREADABLE) for text in texts), reaches_answer=False)


def _proves_the_answer(known: Knowledge, lines: Sequence[LineFindings]) -> bool:
    """Whether every line was read and holds, and the last result is the answer in its unit."""
    last = next((line.findings[-1] for line in reversed(lines) if line.findings and not _is_a_check(line)), None)
    ask, proof = known.problem.ask, known.problem.question.evidence
    if last is None or last.name != ask or not known.reached or not all(line.is_read for line in lines):
        return False
    if proof is not None and not (proof in known.own.entries and known.own.is_right(proof, known.own.entries[proof])):
        return False
    measured = known.problem.question.library.quantities[ask].kind == "number" and known.problem.unit_of(ask)
    return not measured or (last.number is not None and last.number.unit not in (None, "count"))


def _line(at: int, text: str, known: Knowledge, reader: Reader, sides: Sides) -> LineFindings:
    """What is found about line `at` after those before it; one that cannot be looked through is not read."""
    known.methods.allowance.begin_line()
    line = LineFindings(text)
    try:
        _look_through(at, line, known, reader, sides)
    except UnreadError as error:
        line = LineFindings(text, unread=str(error))
    except Exception:  # a fault of ours in one line takes neither the page nor the other lines down
        _log.exception("a line of a working could not be judged, problem %s", known.problem.question.exercise.id)
        line = LineFindings(text, unread=UNREADABLE)
    if line.unread:
        known.sources.keep_unread(float(number.replace(",", ".")) for number in _NUMBER.findall(text))
    return line


def _read(at: int, plain: str, reader: Reader) -> list[Statement]:
    statements = read_line(plain, reader)
    operands = sum(len(side.leaves) for statement in statements for side in statement.sides if side is not None)
    if operands > MOST_OPERANDS:
        raise UnreadError(
            f"Line {at} contains {operands} numbers. One line can contain at most {MOST_OPERANDS}. Split the "
            "calculation into several lines, each with its result."
        )
    return statements


def _look_through(at: int, line: LineFindings, known: Knowledge, reader: Reader, sides: Sides) -> None:
    plain = plain_line(line.text)
    if before := before_yes_or_no(plain):
        with suppress(UnreadError):
            _take_statements(line, _read(at, before, reader), known, sides)
    if (found := word_answer(plain, known.problem, known.own)) is not None:
        name, entry, right = found
        line.understood = plain
        line.findings.append(_in_words(known, name, entry, right=right))
        known.take(line.findings[-1])
        return
    statements = _read(at, plain, reader)
    line.understood = "; ".join(statement.understood for statement in statements)
    _take_statements(line, statements, known, sides)


def _take_statements(line: LineFindings, statements: Sequence[Statement], known: Knowledge, sides: Sides) -> None:
    for statement in statements:
        line.unknown = line.unknown or statement.unknown
        for finding in sides.statement(statement):
            line.findings.append(known.doubted(finding) if statement.unknown else finding)
            known.take(line.findings[-1])


def _in_words(known: Knowledge, name: str, entry: Entry, *, right: bool) -> Finding:
    if right:
        return Finding(name=name, entry=entry, words=known.teller.holds(name))
    return known.departing(name, entry, None)


def _told(line: LineFindings) -> Judged:
    finding = line.decisive
    if finding is None:
        return Judged(line.text, "unread", line.unread or UNREADABLE)
    mistake = finding.way.id if finding.way is not None and finding.verdict == "departs" else None
    return Judged(line.text, finding.verdict, finding.words, line.understood, finding.name, mistake)
