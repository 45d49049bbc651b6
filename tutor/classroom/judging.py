"""What an answer is kept as: its verdict, whether it counts, and what is said.

Nothing that costs no attempt may tell more than that an answer cannot be read. So one that is typed too coarsely is
sent back before it is looked at, whether it is right or not, and steps are told right or wrong only beside an answer
that counts. Where verdicts are kept back until the set closes, every answer that can be read takes an attempt.
"""

from collections.abc import Mapping
from typing import Any

from tutor.answers.verdicts import Marking
from tutor.classroom.marking import FEWEST_FIGURES
from tutor.classroom.models import Answer, Handed
from tutor.classroom.views import Standing

COARSEST = 0.0051  # half of the last place typed, as a share of the value: that of 1.00
_MORE_FIGURES = (
    "Give the answer to at least three significant figures, as '12.0'; it was not looked at, and nothing was counted."
)


_ALL_FIGURES = "Not yet. A value from a table is told with all its figures."


def judged(standing: Standing, marking: Marking, *, on_paper: bool = False) -> dict[str, Any]:
    """The fields of a marked answer; one on paper cannot be sent back for more figures."""
    found = of_marking(marking)
    readable = marking.entry is not None and not _lacks_evidence(standing.handed, marking)
    if readable and not on_paper and standing.handed.kept.kinds.get(standing.handed.ask) == "number":
        if standing.handed.kept.tabled and marking.verdict == "unclear":
            return found | {"verdict": "wrong", "feedback": _ALL_FIGURES, "counted": True}
        if not standing.handed.kept.tabled and _is_coarse(marking):
            return unmarked(standing) | {"verdict": "refused", "feedback": _MORE_FIGURES}
    if found["counted"] or (standing.hidden and readable):
        return found | {"counted": True}
    kept_back = {"verdict": "refused"} if standing.hidden else {}  # its reason tells nothing, and has to be told
    return found | {"step_verdicts": {}} | kept_back


def of_marking(marking: Marking) -> dict[str, Any]:
    """The fields of an answer that stands as it was marked."""
    return {
        "verdict": marking.verdict,
        "named": "+".join(one.id for one in marking.all_named) or None,
        "mistakes": {one.id: one.probability for one in marking.candidates},
        "feedback": marking.feedback,
        "counted": marking.counts,
        "step_verdicts": {name: mark.verdict for name, mark in marking.steps.items()},
    }


def counts(standing: Standing, answer: Answer, values: Mapping[str, Any], unused: int) -> bool:
    """Whether an answer that is marked again counts: one that the desk has withdrawn stays so.

    One that did not count before counts now only while attempts are `unused`.
    """
    if answer.verdict in ("right", "wrong"):
        return answer.counted and (bool(values["counted"]) or standing.of.declaration.marked == "when closed")
    return answer.counted or (bool(values["counted"]) and unused > 0)


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


def _is_coarse(marking: Marking) -> bool:
    """Whether a number is typed with so few figures, or so wide a spread, that it covers many answers."""
    entry = marking.entry
    if entry is None:
        return False
    return entry.digits < FEWEST_FIGURES or entry.half_width > COARSEST * abs(entry.value)


def _lacks_evidence(handed: Handed, marking: Marking) -> bool:
    evidence = handed.kept.evidence
    return evidence is not None and (evidence not in marking.steps or marking.steps[evidence].entry is None)
