"""Answers in words within a working: yes or no, or one of a few choices."""

import re

from tutor.answers.naming import in_working_units
from tutor.answers.working.own import Own
from tutor.engine.problem import Problem
from tutor.entries.entry import Entry, EntryError, read_entry
from tutor.entries.kinds import read_choice

_YES_OR_NO = re.compile(
    r"^(.*(?:[,:=;]|[<>≤≥][^<>≤≥]*|\b(?:is|so|therefore|thus|hence|then|and|answer|says)\b) *)?"
    r"\b(yes|no)\b(?:[ .!,]*(?:it (?:does|is|does not|is not).*)?|[.,;!][^\d=<>≤≥]*)$",
    re.IGNORECASE,
)
_LEAD = re.compile(r"^.*?(?:=|:|;|\bis\b|\bso\b|\btherefore\b|\bthen\b)\s*", re.IGNORECASE)


def before_yes_or_no(plain: str) -> str:
    """What stands before a yes or no at a line's end, if it compares numbers; else nothing."""
    before = (match[1] or "") if (match := _YES_OR_NO.match(plain)) else ""
    return before if re.search(r"\d.*[<>≤≥].*\d", before) else ""


def word_answer(plain: str, problem: Problem, own: Own) -> tuple[str, Entry, bool] | None:
    """The step that a line answers in words, the entry, and whether it is right or follows; None for another line."""
    quantities = problem.question.library.quantities
    for name in own.open_steps() or [problem.ask]:
        if quantities[name].kind == "answer" and (match := _YES_OR_NO.match(plain)):
            return _judged(name, read_entry(match[2], "", "yes-or-no"), problem, own)
    for name in own.open_steps() or [problem.ask]:
        if quantities[name].kind == "choice" and (entry := _choice(plain, quantities[name].choices)) is not None:
            return _judged(name, entry, problem, own)
    return None


def _choice(plain: str, choices: list[str]) -> Entry | None:
    while plain:
        try:
            return read_choice(plain, choices)
        except EntryError:
            shorter = _LEAD.sub("", plain, count=1)
            if shorter == plain:
                return None
            plain = shorter
    return None


def _judged(name: str, entry: Entry, problem: Problem, own: Own) -> tuple[str, Entry, bool]:
    value = in_working_units(problem, name, entry)
    return name, entry, any(value == expected for expected in own.expected(name))
