"""Marking an answer to a handed problem, by the problem set again or, where the content has changed, by what was kept.

By either way an answer is right only within the range kept at handing out, in which no limit is broken.
"""

from collections.abc import Mapping

from tutor.answers import feedback
from tutor.answers.marking import mark
from tutor.answers.verdicts import Mark, Marking
from tutor.classroom.keeping import SLACK, rebuild_problem
from tutor.classroom.models import Handed, KeptOrder
from tutor.engine.question import Engine
from tutor.entries.entry import Entry, EntryError
from tutor.entries.kinds import KINDS, read_letters
from tutor.errors import FaultyRequestError
from tutor.trade.rulebooks import rulebook
from tutor.units import conversion

FEWEST_FIGURES = 3
_CHANGED = "It was marked by the values kept when the problem was handed out, because the exercise has changed since."
_SAID = "It was marked by the right answer that your instructor gave."


class StepError(FaultyRequestError, ValueError):
    """A step that the problem does not have."""


def mark_handed(engine: Engine, handed: Handed, entry: str, steps: Mapping[str, str] | None = None) -> Marking:
    """Mark an answer as typed, and those steps that were typed.

    Raises StepError for a step that the problem does not have.
    """
    typed = {name: text for name, text in (steps or {}).items() if text.strip()}
    known = [name for name in handed.expected if name != handed.ask]
    unknown = next((name for name in typed if name not in known), None)
    if unknown is not None:
        listed = f"It has: {', '.join(known)}." if known else "It has none."
        raise StepError(f"Problem {handed.code} has no step '{unknown[:60]}'. {listed}")
    problem = rebuild_problem(engine, handed)
    if problem is None:
        return mark_by_kept(handed, entry, typed)
    marking = mark(problem, entry, typed, closed_book=True)
    if marking.verdict == "right" or problem.question.version != handed.version:
        by_kept = mark_by_kept(handed, entry, typed)
        return marking if (marking.verdict == "right") == (by_kept.verdict == "right") else by_kept
    return marking


def mark_by_kept(handed: Handed, entry: str, steps: Mapping[str, str]) -> Marking:
    """Mark an answer by the kept values alone; no mistake is named then."""
    if handed.kept.order is not None:
        return _mark_order(handed, handed.kept.order, entry)
    marks = {name: _mark_step(handed, name, text) for name, text in steps.items()}
    try:
        read = _read(handed, handed.ask, entry)
    except EntryError as error:
        return Marking(error.verdict, None, str(error), steps=marks)
    evidence = handed.kept.evidence
    if evidence is not None and (evidence not in marks or marks[evidence].entry is None):
        words = handed.kept.words.get(evidence, evidence)
        told = f"A yes or no alone may be luck. Give the {words} with it; nothing was counted."
        return Marking("unclear", read, told, steps=marks)
    proved = evidence is None or marks[evidence].verdict == "right"
    right = proved and _accepts(handed, read)
    if not right and _rounded_too_far(handed, read):
        return Marking("unclear", read, feedback.rounded_too_far(read), steps=marks)
    why = _SAID if handed.kept.said else _CHANGED
    return Marking("right" if right else "wrong", read, f"{'Right' if right else 'Not yet'}. {why}", steps=marks)


def read_value(handed: Handed, text: str) -> float:
    """A value for what a handed problem asks for, in working units. Raises EntryError if it cannot be read."""
    return _working(handed, handed.ask, _read(handed, handed.ask, text))


def _mark_step(handed: Handed, name: str, text: str) -> Mark:
    try:
        read = _read(handed, name, text)
    except EntryError as error:
        return Mark(error.verdict, None, str(error))
    expected = handed.expected[name]
    reach = handed.kept.tolerances.get(name, 0.0) + SLACK * max(1.0, abs(expected))
    right = abs(_working(handed, name, read) - expected) <= reach
    return Mark("right" if right else "wrong", read, "Right." if right else "Not yet.")


def _read(handed: Handed, name: str, text: str) -> Entry:
    kind = KINDS[handed.kept.kinds.get(name, "number")]
    return kind(handed.kept.units.get(name, ""), handed.kept.choices, None, rulebook(handed.rulebook)).read(text)


def _working(handed: Handed, name: str, read: Entry) -> float:
    if handed.kept.kinds.get(name) == "size":
        return conversion("mm^2").to_working(read.value)
    return conversion(handed.kept.units.get(name, "")).to_working(read.value)


def _rounded_too_far(handed: Handed, read: Entry) -> bool:
    """Whether an entry could be the right value with too few figures."""
    if handed.kept.kinds.get(handed.ask) != "number" or read.digits >= FEWEST_FIGURES:
        return False
    right = conversion(handed.kept.units.get(handed.ask, "")).to_shown(handed.expected[handed.ask])
    return abs(read.value - right) <= 1.05 * read.half_width


def _accepts(handed: Handed, read: Entry) -> bool:
    lowest, highest = handed.kept.accepted
    return lowest <= _working(handed, handed.ask, read) <= highest


def _mark_order(handed: Handed, order: KeptOrder, text: str) -> Marking:
    whole = handed.kept.kinds.get(handed.ask) == "order"
    try:
        letters = read_letters(text, list(order.letters), whole=whole)
    except EntryError as error:
        return Marking(error.verdict, None, str(error))
    entry = Entry(0.0, 0.0, "", text.strip(), len(letters))
    left = set(order.letters) - set(order.traps)
    needed = len(left) if whole else 1
    right = len(letters) == needed and not set(letters) & set(order.traps)
    for letter in letters:
        right = right and not any(then == letter and first in left for first, then in order.before)
        left.discard(letter)
    return Marking("right" if right else "wrong", entry, f"{'Right' if right else 'Not yet'}. {_CHANGED}")
