"""Answers in words within a working: yes or no, or one of a few choices."""

import re
from collections.abc import Sequence

from tutor.answers.naming import in_working_units
from tutor.answers.working.context import Finding, WorkingContext
from tutor.answers.working.phrases import pattern
from tutor.entries.entry import Entry, EntryError, read_entry
from tutor.entries.kinds import read_choice

_YES_OR_NO, _LEAD = pattern("yes_or_no"), pattern("before_a_choice")


def before_yes_or_no(plain: str) -> str:
    """What stands before a yes or no at a line's end, if it compares numbers; else nothing."""
    before = (match[1] or "") if (match := _YES_OR_NO.match(plain)) else ""
    return before if re.search(r"\d.*[<>≤≥].*\d", before) else ""


def word_answer(plain: str, context: WorkingContext) -> Finding | None:
    """What is found about a line that answers a step in words; None for another line."""
    learner, problem = context.learner, context.problem
    names = learner.open_steps() or [problem.ask]
    entries = [
        *((name, _yes_or_no(plain)) for name in names if learner.kind(name) == "answer"),
        *(
            (name, _choice(plain, problem.question.library.quantities[name].choices))
            for name in names
            if learner.kind(name) == "choice"
        ),
    ]
    for name, entry in entries:
        if entry is not None:
            if in_working_units(problem, name, entry) in learner.expected(name):
                return Finding(name=name, entry=entry, words=context.messages.say("step", name))
            return context.departing(name, entry, None)
    return None


def _yes_or_no(plain: str) -> Entry | None:
    match = _YES_OR_NO.match(plain)
    return read_entry(match[2], "", "yes-or-no") if match else None


def _choice(plain: str, choices: Sequence[str]) -> Entry | None:
    while plain:
        try:
            return read_choice(plain, choices)
        except EntryError:
            shorter = _LEAD.sub("", plain, count=1)
            if shorter == plain:
                return None
            plain = shorter
    return None
