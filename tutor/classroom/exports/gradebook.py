"""The gradebook as CSV: a row a learner, a column a place, sums at the end."""

from collections.abc import Sequence

from tutor.classroom.exports.tables import Separator, csv_bytes, harmless
from tutor.classroom.models import Member, Outcome
from tutor.classroom.report import learner_lines

_CELLS = {"right": "1", "wrong": "0", "excused": "excused", "open": ""}


def gradebook(
    outcomes: Sequence[Outcome], *, bom: bool = True, separator: Separator = ",", closed: bool = False
) -> bytes:
    """Write the gradebook; in a closed set an open place is 0, before that its cell and the percent are empty.

    Names and numbers are made harmless: none is taken for a formula.
    """
    places = sorted({outcome.handed.place: outcome.handed.exercise for outcome in outcomes}.items())
    cells: dict[Member, dict[int, str]] = {}
    for outcome in outcomes:
        cell = "0" if closed and outcome.state == "open" else _CELLS[outcome.state]
        cells.setdefault(outcome.handed.member, {})[outcome.handed.place] = cell
    header = ["number", "name", *(f"{place} {exercise}" for place, exercise in places)]
    rows = [[*header, "right", "of", "percent"]]
    for line in learner_lines(outcomes):
        mine = cells[line.member]
        decided = closed or not line.open
        percent = f"{100 * line.share:.1f}" if decided and line.share is not None else ""
        rows.append(
            [
                harmless(line.member.number),
                harmless(line.member.name),
                *(mine.get(place, "") for place, _ in places),
                str(line.right),
                str(line.places),
                percent,
            ]
        )
    return csv_bytes(rows, bom=bom, separator=separator)
