"""Marking an order: the first arrow broken, or the trap stepped into, is what is told."""

from tutor.answers.verdicts import Explanation, Marking
from tutor.base.text import counted
from tutor.entries.entry import Entry, EntryError
from tutor.entries.kinds import read_letters
from tutor.problems.order import WHOLE, OrderProblem


def mark_order(problem: OrderProblem, answer: str) -> Marking:
    """Mark an order typed in letters, such as 'C A B', or the one letter that may come next."""
    try:
        actions = _read(problem, answer)
    except EntryError as error:
        return Marking(error.verdict, None, str(error))
    entry = Entry(0.0, 0.0, "", answer.strip(), len(actions))
    wrong = _trap(problem, actions) or _broken_arrow(problem, actions)
    if wrong is not None:
        id_, says = wrong
        words = problem.question.exercise.mistakes[id_].words
        mistake = Explanation(id_, words, 1.0)
        return Marking("wrong", entry, says, (mistake,), mistake)
    if problem.ask == WHOLE and len(actions) < len(problem.to_order):
        left = len(problem.to_order) - len(actions)
        missing = counted(left, "of the steps is", "of the steps are")
        return Marking("wrong", entry, f"Nothing stands before what it needs, but {missing} still missing.")
    return Marking("right", entry, _right(problem))


def _read(problem: OrderProblem, answer: str) -> list[str]:
    letters = read_letters(answer, list(problem.letters), whole=problem.ask == WHOLE)
    return [problem.letters[letter] for letter in letters]


def _trap(problem: OrderProblem, actions: list[str]) -> tuple[str, str] | None:
    """The first step that must never be taken, and the reason."""
    traps = problem.question.exercise.traps
    for action in actions:
        if action in traps:
            return action, f"Step {problem.letter_of(action)} must never be taken. {traps[action].why}"
    return None


def _broken_arrow(problem: OrderProblem, actions: list[str]) -> tuple[str, str] | None:
    """The first step that something has to come before which has not come yet, and the reason."""
    left = problem.to_order
    for action in actions:
        waiting_for = problem.must_wait(action, left)
        if waiting_for is not None:
            arrow = problem.question.reason(waiting_for, action)
            assert arrow is not None
            early, before = problem.letter_of(action), problem.letter_of(waiting_for)
            return arrow.id, f"Step {early} comes too early: {before} has to come first. {arrow.why}"
        left = [remaining for remaining in left if remaining != action]
    return None


def _right(problem: OrderProblem) -> str:
    if problem.ask == WHOLE:
        return "Right: nothing stands before what it needs, and no step is among them that must never be taken."
    return "Right: nothing else has to come before it."
