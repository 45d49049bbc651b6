"""What an answer is kept as: its verdict, whether it counts, and what is said.

Nothing that costs no attempt may tell more than that an answer cannot be read. So one that is typed too coarsely is
sent back before it is looked at, whether it is right or not, and steps are told right or wrong only beside an answer
that counts. Where verdicts are kept back until the set closes, every answer that can be read takes an attempt.
"""

from collections.abc import Mapping
from typing import Any

from tutor.answers.verdicts import Marking
from tutor.classroom.models import Answer
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.sets.views import AttemptState
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem
from tutor.problems.question import Engine

FEWEST_FIGURES = 3
COARSEST = 0.0051  # half of the last place typed, as a share of the value: that of 1.00
_MORE_FIGURES = (
    "Give the answer to at least three significant figures, as '12.0'; it was not looked at, and nothing was counted."
)


_ALL_FIGURES = "Not yet. A value from a table is told with all its figures."


def judged(engine: Engine, state: AttemptState, marking: Marking, *, on_paper: bool = False) -> dict[str, Any]:
    """The fields of a marked answer; one on paper cannot be sent back for more figures."""
    assigned = state.handed
    problem = problem_of(engine, assigned)
    fields, evidence = of_marking(marking), problem.question.evidence
    lacks_evidence = evidence is not None and (evidence not in marking.steps or marking.steps[evidence].entry is None)
    readable = marking.entry is not None and not lacks_evidence
    if readable and not on_paper and assigned.snapshot.kind(assigned.ask) == "number":
        if _is_tabled(problem):
            if marking.verdict == "unclear":
                return fields | {"verdict": "wrong", "feedback": _ALL_FIGURES, "counted": True}
        elif _is_coarse(marking):
            return unmarked(state) | {"verdict": "refused", "feedback": _MORE_FIGURES}
    if fields["counted"] or (state.hidden and readable):
        return fields | {"counted": True}
    kept_back = {"verdict": "refused"} if state.hidden else {}  # its reason tells nothing, and has to be told
    return fields | {"step_verdicts": {}} | kept_back


def _is_tabled(problem: AnyProblem) -> bool:
    """Whether the answer is one of a table's values, which are told with all their figures."""
    if isinstance(problem, OrderProblem):
        return False
    return problem.ask in problem.question.discrete and problem.question.right.steps[-1].kind not in ("round", "trace")


def of_marking(marking: Marking) -> dict[str, Any]:
    """The fields of an answer that stands as it was marked."""
    return {
        "verdict": marking.verdict,
        "named": "+".join(mistake.id for mistake in marking.all_named) or None,
        "mistakes": {mistake.id: mistake.probability for mistake in marking.candidates},
        "feedback": marking.feedback,
        "counted": marking.counts,
        "step_verdicts": {name: mark.verdict for name, mark in marking.steps.items()},
    }


def counts(state: AttemptState, answer: Answer, values: Mapping[str, Any], unused: int) -> bool:
    """Whether an answer that is marked again counts: one that the desk has withdrawn stays so.

    One that did not count before counts now only while attempts are `unused`.
    """
    if answer.verdict in ("right", "wrong"):
        return answer.counted and (bool(values["counted"]) or state.practice_set.declaration.marked == "when closed")
    return answer.counted or (bool(values["counted"]) and unused > 0)


def unmarked(state: AttemptState) -> dict[str, Any]:
    """The fields of an answer that comes too late or is one too many: kept, but neither marked nor counted."""
    return {
        "verdict": "",
        "named": None,
        "mistakes": {},
        "feedback": f"{state.why_not} Your answer was kept, but not counted.".strip(),
        "counted": False,
        "step_verdicts": {},
    }


def _is_coarse(marking: Marking) -> bool:
    """Whether a number is typed with so few figures, or so wide a spread, that it covers many answers."""
    entry = marking.entry
    if entry is None:
        return False
    return entry.digits < FEWEST_FIGURES or entry.half_width > COARSEST * abs(entry.value)
