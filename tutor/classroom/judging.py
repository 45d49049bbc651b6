"""What an answer is kept as: its verdict, whether it counts, and what is said.

Where verdicts are kept back until the set closes, nothing that is said or counted may give one away. So every answer
that can be read takes an attempt there, and one with too few figures is sent back whether it is right or not.
"""

from collections.abc import Mapping
from typing import Any

from tutor.answers.verdicts import Marking
from tutor.classroom.marking import FEWEST_FIGURES
from tutor.classroom.models import Answer, Handed
from tutor.classroom.views import Standing

_MORE_FIGURES = (
    "Answers of this set are marked when it closes, so give at least three significant figures, as '12.0'; "
    "nothing was counted."
)


def judged(standing: Standing, marking: Marking, *, on_paper: bool = False) -> dict[str, Any]:
    """The fields of a marked answer; one on paper cannot be sent back for more figures."""
    found = of_marking(marking)
    if not standing.hidden or marking.entry is None or _lacks_evidence(standing.handed, marking):
        return found
    kind = standing.handed.kept.kinds.get(standing.handed.ask)
    if kind == "number" and marking.entry.digits < FEWEST_FIGURES and not on_paper:
        return unmarked(standing) | {"verdict": "refused", "feedback": _MORE_FIGURES}
    return found | {"counted": True}


def of_marking(marking: Marking) -> dict[str, Any]:
    """The fields of an answer that stands as it was marked."""
    return {
        "verdict": marking.verdict,
        "named": marking.named.id if marking.named else None,
        "mistakes": {one.id: one.probability for one in marking.candidates},
        "feedback": marking.feedback,
        "counted": marking.counts,
        "step_verdicts": {name: mark.verdict for name, mark in marking.steps.items()},
    }


def counts(standing: Standing, answer: Answer, values: Mapping[str, Any]) -> bool:
    """Whether an answer that is marked again counts: one that the desk has withdrawn stays so."""
    if answer.verdict in ("right", "wrong"):
        return answer.counted and (bool(values["counted"]) or standing.of.declaration.marked == "when closed")
    return answer.counted or bool(values["counted"])


def unmarked(standing: Standing) -> dict[str, Any]:
    """The fields of an answer that comes too late or is one too many: kept, but neither marked nor counted."""
    return {
        "verdict": "",
        "named": None,
        "mistakes": {},
        "feedback": f"{standing.why_not} Your answer was kept, but not counted.".strip(),
        "counted": False,
        "step_verdicts": {},
    }


def _lacks_evidence(handed: Handed, marking: Marking) -> bool:
    evidence = handed.kept.evidence
    return evidence is not None and (evidence not in marking.steps or marking.steps[evidence].entry is None)
