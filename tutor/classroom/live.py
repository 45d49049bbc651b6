"""Who is where and how it goes, in words: for the desk and for the shell."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from tutor.classroom.models import Member, Outcome, StoredSet
from tutor.classroom.names import called
from tutor.classroom.results import Whereabouts
from tutor.counting import counted

SIGNS: Final = {"open": "○", "right": "✔", "wrong": "✖", "answered": "●", "excused": "–"}
WORDS: Final = {"right": "right", "wrong": "not right yet", "open": "open", "excused": "excused"}
LEGEND = ", ".join(f"{SIGNS[state]} {words}" for state, words in WORDS.items())


def where_told(one: Whereabouts, now: datetime) -> str:
    """Where a learner is, in words."""
    if not one.begun:
        return "not begun"
    return "on paper" if one.place is None else f"problem {one.place}, {ago(one.at, now)}"


def ago(moment: datetime | None, now: datetime) -> str:
    """How long ago something was, roughly."""
    if moment is None:
        return "none"
    seconds = max(0.0, (now - moment).total_seconds())
    for name, length in (("days", 86400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * length or (seconds >= length and name != "days"):
            return f"{seconds / length:.0f} {name} ago"
    return "just now"


def who_needs_help(outcomes: Sequence[Outcome], attempts: int) -> dict[int, list[Member]]:
    """Who has used up the attempts at a problem without solving it, by the problem's place."""
    stuck: dict[int, list[Member]] = {}
    for one in outcomes:
        if one.state == "wrong" and sum(answer.counted for answer in one.answers) >= attempts:
            stuck.setdefault(one.handed.place, []).append(one.handed.member)
    return dict(sorted(stuck.items()))


def still_working(there: Sequence[Whereabouts], outcomes: Sequence[Outcome], attempts: int) -> int:
    """How many learners have a problem that they could still answer, those who have not got theirs among them."""
    have = {one.handed.member.id for one in outcomes}
    can = {one.handed.member.id for one in outcomes if _can_be_answered(one, attempts)}
    return sum(one.member.id in can or one.member.id not in have for one in there)


def _can_be_answered(one: Outcome, attempts: int) -> bool:
    used = sum(answer.counted for answer in one.answers)
    return one.state == "open" or (one.state == "wrong" and used < attempts)


def closing_told(of: StoredSet, there: Sequence[Whereabouts], outcomes: Sequence[Outcome]) -> str:
    """What closing a set does, in sentences: to be read before it is done."""
    rules = of.declaration
    open_still = still_working(there, outcomes, rules.attempts)
    has = "has" if open_still == 1 else "have"
    told = [
        f"{open_still} of {counted(len(there), 'learner')} still {has} open problems.",
        "Once the set is closed, learners can't answer on a screen.",
        "An open problem then counts as wrong for a learner who has answered another one.",
    ]
    shown = [
        *(["how each answer was marked"] if rules.marked == "when closed" else []),
        *(["the worked solutions"] if rules.solutions == "when closed" else []),
    ]
    if shown:
        told.append(f"Learners can then see {' and '.join(shown)}.")
    seen = ", but what learners have seen by then stays known" if shown else ""
    told.append(f"To accept answers again, reopen the set{seen}.")
    return " ".join(told)


def live_lines(
    there: Sequence[Whereabouts], outcomes: Sequence[Outcome], places: int, attempts: int, now: datetime
) -> Iterator[str]:
    """A line for each learner, then who has no attempts left."""
    states = {(one.handed.member.id, one.handed.place): one.state for one in outcomes}
    for one in there:
        mine = [states.get((one.member.id, at), "open") for at in range(1, places + 1)]
        signs = "".join(SIGNS[state] for state in mine)
        yield f"{signs}  {mine.count('right')} of {places}  {called(one.member)}: {where_told(one, now)}"
    yield LEGEND
    for place, members in who_needs_help(outcomes, attempts).items():
        yield f"No attempts left at problem {place}: {', '.join(map(called, members))}"
