"""Marking an answer to a problem that was handed out, by the problem itself."""

from collections.abc import Mapping
from dataclasses import replace

from tutor.answers.marking import mark
from tutor.answers.verdicts import Marking
from tutor.base.errors import FaultyRequestError
from tutor.classroom.models import AssignedProblem
from tutor.classroom.sets.recorded import stands_alone
from tutor.classroom.sets.snapshots import problem_of
from tutor.problems.question import Engine

_RECORDED = "It was marked by the values kept when the problem was handed out, because the exercise has changed since."
_SAID = "It was marked by the right answer that your instructor gave."


class StepError(FaultyRequestError, ValueError):
    """A step that the problem does not have."""


def mark_assigned(
    engine: Engine, assigned: AssignedProblem, entry: str, steps: Mapping[str, str] | None = None
) -> Marking:
    """Mark an answer as typed, and those steps that were typed.

    No mistake is named where the right answer is the instructor's, or all that is left of the problem.
    Raises StepError for a step that the problem does not have.
    """
    typed = {name: text for name, text in (steps or {}).items() if text.strip()}
    offered = [name for name in assigned.expected if name != assigned.ask]
    unknown = next((name for name in typed if name not in offered), None)
    if unknown is not None:
        listed = f"It has: {', '.join(offered)}." if offered else "It has none."
        raise StepError(f"Problem {assigned.code} has no step '{unknown[:60]}'. {listed}")
    problem = problem_of(engine, assigned)
    marking = mark(problem, entry, typed, closed_book=True)
    if not (marking.counts and stands_alone(assigned, problem)):
        return marking
    verdict = "Right" if marking.verdict == "right" else "Not yet"
    return Marking(
        marking.verdict,
        marking.entry,
        f"{verdict}. {_SAID if assigned.snapshot.said else _RECORDED}",
        steps={name: replace(step, candidates=()) for name, step in marking.steps.items()},
    )
