"""What the class work page says in words: labels, signs, progress; and the key under which a submit counts."""

from collections.abc import Mapping, Sequence
from uuid import NAMESPACE_URL, uuid5

from tutor.base.text import counted
from tutor.classroom.models import StoredSet
from tutor.classroom.roster.register import USUAL_CLASS
from tutor.classroom.sets.views import AnswerForLearner, ForLearner, PlaceForLearner, told_time


def attempts_words(left: int) -> str:
    """How many attempts are left."""
    return f"{left or 'no'} attempt{'' if left == 1 else 's'} left"


def earlier_words(earlier: Sequence[AnswerForLearner]) -> str:
    """How many answers came before the last one, and whether the instructor has said something to them."""
    comment = ", with what your instructor says" if any(answer.comment for answer in earlier) else ""
    return f"Your earlier answers: {len(earlier)}{comment}"


def state_words(line: PlaceForLearner, *, closed: bool) -> str:
    """How a problem stands."""
    if line.state in ("right", "excused"):
        return line.state
    words = {"open": "not answered", "wrong": "not right", "answered": "answered"}[line.state]
    if closed:
        return words
    suffix = " yet" if line.attempts_left and line.state != "answered" else ""
    return f"{words}{suffix}, {attempts_words(line.attempts_left)}"


def done(lines: Sequence[PlaceForLearner]) -> int:
    """How many of the problems need nothing more."""
    return sum(line.state in ("right", "answered", "excused") or line.attempts_left == 0 for line in lines)


def progress_words(lines: Sequence[PlaceForLearner]) -> str:
    """How far the learner is, as '2 of 5 done'."""
    return f"{done(lines)} of {len(lines)} done"


def rules_words(practice_set: StoredSet) -> str:
    """A set's rules for a learner: until when, how many attempts, when it is marked."""
    rules = practice_set.declaration
    parts = [f"Class {practice_set.class_name}"] if practice_set.class_name != USUAL_CLASS else []
    if rules.closes is not None and practice_set.closed_at is None:
        parts.append(f"closes on {told_time(rules.closes, rules.zone)}")
    parts.append(f"{counted(rules.attempts, 'attempt')} at each problem")
    parts.append("marked at once" if rules.marked == "at once" else "marked when the set closes")
    parts.append(f"rulebook {'US' if rules.rulebook == 'us' else 'IEC'}")
    return " · ".join(parts)


def submit_key(view: ForLearner, entry: str, steps: Mapping[str, str]) -> str:
    """The key of a submit: the same for the answer that was kept last, so that pressing again counts once.

    It comes from what the store holds and not from the browser or its session, so that this is so even if the server
    was killed between keeping an answer and telling it.
    """
    before = len(view.answers) - (1 if is_sent_again(view, entry, steps) else 0)
    return str(uuid5(NAMESPACE_URL, repr((view.code, before, entry, sorted(steps.items())))))


def is_sent_again(view: ForLearner, entry: str, steps: Mapping[str, str]) -> bool:
    """Whether an answer is the one that was kept last; one that came too late may be sent again."""
    if not view.answers:
        return False
    last = view.answers[-1]
    unchanged = last.source == "screen" and last.entry == entry and dict(last.steps) == dict(steps)
    return unchanged and (last.counted or last.verdict != "")


def saved_words(answer: AnswerForLearner, zone: str) -> str:
    """When an answer was kept."""
    way = "Typed in from paper" if answer.source == "paper" else "Saved"
    return f"{way} on {told_time(answer.at, zone)}."
