"""The gradebook as CSV: a row a learner, a column a place, sums at the end.

No standard says what its cells hold.  By the rule of `reports.report`, the percent of who has not submitted is
the words 'not submitted', their open cells and their sum are empty; a spreadsheet leaves both out of its averages.
"""

from collections.abc import Sequence

from tutor.classroom.exports.tables import Separator, csv_bytes, harmless
from tutor.classroom.models import Member, Outcome
from tutor.classroom.reports.report import LearnerLine, learner_lines

_CELLS = {"right": "1", "wrong": "0", "excused": "excused", "open": ""}


def gradebook(
    outcomes: Sequence[Outcome], *, bom: bool = True, separator: Separator = ",", closed: bool = False
) -> bytes:
    """Write the gradebook; once the set is closed an open place of who has submitted is 0, before that it is empty.

    The percent is empty until it is decided.

    Names and numbers are made harmless: none is taken for a formula.
    """
    places = sorted({outcome.handed.place: outcome.handed.exercise for outcome in outcomes}.items())
    lines = learner_lines(outcomes)
    zero = {line.member for line in lines if closed and line.submitted}
    cells: dict[Member, dict[int, str]] = {}
    for outcome in outcomes:
        cell = "0" if outcome.state == "open" and outcome.handed.member in zero else _CELLS[outcome.state]
        cells.setdefault(outcome.handed.member, {})[outcome.handed.place] = cell
    header = ["number", "name", *(f"{place} {exercise}" for place, exercise in places)]
    rows = [[*header, "right", "of", "percent"]]
    for line in lines:
        of_learner = cells[line.member]
        rows.append(
            [
                harmless(line.member.number),
                harmless(line.member.name),
                *(of_learner.get(place, "") for place, _ in places),
                str(line.right) if line.submitted else "",
                str(line.places),
                _percent(line, closed=closed),
            ]
        )
    return csv_bytes(rows, bom=bom, separator=separator)


def _percent(line: LearnerLine, *, closed: bool) -> str:
    if line.places and not line.submitted:
        return "not submitted"
    return f"{100 * line.share:.1f}" if line.share is not None and line.decided(closed=closed) else ""
