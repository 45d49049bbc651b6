"""Who is where and how it goes, in words: for the desk and for the shell."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from tutor.base.text import counted
from tutor.classroom.models import Member, Outcome, StoredSet
from tutor.classroom.reports.results import Whereabouts
from tutor.classroom.roster.names import called

SIGNS: Final = {"open": "○", "right": "✔", "wrong": "✖", "answered": "●", "excused": "–"}
WORDS: Final = {"right": "right", "wrong": "not right yet", "open": "open", "excused": "excused"}
LEGEND = ", ".join(f"{SIGNS[state]} {words}" for state, words in WORDS.items())


def where_told(learner: Whereabouts, moment: datetime) -> str:
    """Where a learner is, in words."""
    if not learner.begun:
        return "not begun"
    return "on paper" if learner.place is None else f"problem {learner.place}, {ago(learner.last_at, moment)}"


def ago(past: datetime | None, moment: datetime) -> str:
    """How long before a moment something was, roughly."""
    if past is None:
        return "none"
    seconds = max(0.0, (moment - past).total_seconds())
    for name, length in (("days", 86400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * length or (seconds >= length and name != "days"):
            return f"{seconds / length:.0f} {name} ago"
    return "just now"


def who_needs_help(outcomes: Sequence[Outcome], attempts: int) -> dict[int, list[Member]]:
    """Who has used up the attempts at a problem without solving it, by the problem's place."""
    stuck: dict[int, list[Member]] = {}
    for outcome in outcomes:
        if outcome.state == "wrong" and sum(answer.counted for answer in outcome.answers) >= attempts:
            stuck.setdefault(outcome.handed.place, []).append(outcome.handed.member)
    return dict(sorted(stuck.items()))


def still_working(learners: Sequence[Whereabouts], outcomes: Sequence[Outcome], attempts: int) -> int:
    """How many learners have a problem that they could still answer, those who have not got theirs among them."""
    served = {outcome.handed.member.id for outcome in outcomes}
    unfinished = {outcome.handed.member.id for outcome in outcomes if _can_be_answered(outcome, attempts)}
    return sum(learner.member.id in unfinished or learner.member.id not in served for learner in learners)


def _can_be_answered(outcome: Outcome, attempts: int) -> bool:
    used = sum(answer.counted for answer in outcome.answers)
    return outcome.state == "open" or (outcome.state == "wrong" and used < attempts)


def closing_told(practice_set: StoredSet, learners: Sequence[Whereabouts], outcomes: Sequence[Outcome]) -> str:
    """What closing a set does, in sentences: to be read before it is done."""
    rules = practice_set.declaration
    open_still = still_working(learners, outcomes, rules.attempts)
    verb = "has" if open_still == 1 else "have"
    sentences = [
        f"{open_still} of {counted(len(learners), 'learner')} still {verb} open problems.",
        "Once the set is closed, learners can't answer on a screen.",
        "An open problem then counts as wrong for a learner who has answered another one.",
    ]
    shown = [
        *(["how each answer was marked"] if rules.marked == "when closed" else []),
        *(["the worked solutions"] if rules.solutions == "when closed" else []),
    ]
    if shown:
        sentences.append(f"Learners can then see {' and '.join(shown)}.")
    caveat = ", but what learners have seen by then stays known" if shown else ""
    sentences.append(f"To accept answers again, reopen the set{caveat}.")
    return " ".join(sentences)


def live_lines(
    learners: Sequence[Whereabouts], outcomes: Sequence[Outcome], places: int, attempts: int, moment: datetime
) -> Iterator[str]:
    """A line for each learner, then who has no attempts left."""
    states = {(outcome.handed.member.id, outcome.handed.place): outcome.state for outcome in outcomes}
    for learner in learners:
        learner_states = [states.get((learner.member.id, place), "open") for place in range(1, places + 1)]
        signs = "".join(SIGNS[state] for state in learner_states)
        right = learner_states.count("right")
        yield f"{signs}  {right} of {places}  {called(learner.member)}: {where_told(learner, moment)}"
    yield LEGEND
    for place, members in who_needs_help(outcomes, attempts).items():
        yield f"No attempts left at problem {place}: {', '.join(map(called, members))}"
