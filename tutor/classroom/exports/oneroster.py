"""A set's results as a OneRoster 1.2 archive (1EdTech OneRoster 1.2, CSV Binding): manifest, line item, results.

The learners are known to the school's system by the instructor's own numbers for them, so these are the
studentSourcedIds, and the instructor gives the sourcedIds of class, school, category and session.  The files are of the
kind 'delta': a bulk archive would have to hold the school's own records too.  Sent twice, the same results have the
same ids.

The standard requires a scoreStatus in every result, and no score.  By the rule of `reports.report`, who has not
submitted is 'not submitted' without a score (and 'missing' once the set is closed), a share that is not decided yet is
'partially graded'.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from tutor.base.errors import FaultyRequestError
from tutor.classroom.exports.tables import csv_bytes, stable_id, zip_bytes
from tutor.classroom.models import Outcome, PracticeSet
from tutor.classroom.reports.report import LearnerLine, learner_lines

FILES = (
    *("academicSessions", "categories", "classes", "classResources", "courses", "courseResources", "demographics"),
    *("enrollments", "lineItemLearningObjectiveIds", "lineItems", "lineItemScoreScales", "orgs", "resources"),
    *("resultLearningObjectiveIds", "results", "resultScoreScales", "roles", "scoreScales", "userProfiles"),
    *("userResources", "users"),
)
LINE_ITEM_COLUMNS = (
    *("sourcedId", "status", "dateLastModified", "title", "description", "assignDate", "dueDate", "classSourcedId"),
    *("categorySourcedId", "academicSessionSourcedId", "resultValueMin", "resultValueMax", "schoolSourcedId"),
)
RESULT_COLUMNS = (
    *("sourcedId", "status", "dateLastModified", "lineItemSourcedId", "studentSourcedId", "scoreStatus", "score"),
    *("scoreDate", "comment", "textScore", "classSourcedId", "inProgress", "incomplete", "late", "missing"),
)
LARGEST_SCORE = 100


class OneRosterError(FaultyRequestError):
    """The results cannot be told to the school's system; the message says what is missing."""


@dataclass(frozen=True, kw_only=True)
class SchoolIds:
    """The school's own ids (sourcedIds) of what the line item belongs to."""

    school: str
    class_: str
    category: str
    session: str


def oneroster(
    practice_set: PracticeSet,
    outcomes: Sequence[Outcome],
    ids: SchoolIds,
    *,
    moment: datetime,
    closed: bool = False,
) -> bytes:
    """Write the archive; the score is the percentage right of the places that count.

    Raises OneRosterError if an id is missing or two learners share one.
    """
    lines = learner_lines(outcomes)
    _check(lines, ids)
    line_item = stable_id("line item", ids.class_, practice_set.id)
    results = [_result(line, line_item, ids, moment, closed=closed) for line in lines]
    return zip_bytes(
        {
            "manifest.csv": csv_bytes([("propertyName", "value"), *_manifest()]),
            "lineItems.csv": csv_bytes([LINE_ITEM_COLUMNS, _line_item(practice_set, line_item, lines, ids, moment)]),
            "results.csv": csv_bytes([RESULT_COLUMNS, *results]),
        }
    )


def _check(lines: Sequence[LearnerLine], ids: SchoolIds) -> None:
    missing = [name.rstrip("_") for name, value in vars(ids).items() if not value.strip()]
    if missing:
        raise OneRosterError(f"The id of the {missing[0]} is missing. Ask the school's office for it.")
    unnumbered = [line.member.name for line in lines if not line.member.number.strip()]
    if unnumbered:
        raise OneRosterError(
            f"{unnumbered[0]!r} has no number on the roster ({len(unnumbered)} in all). "
            "Give each learner the school's own id as number."
        )
    numbers = [line.member.number for line in lines]
    repeated = next((number for number in numbers if numbers.count(number) > 1), None)
    if repeated is not None:
        raise OneRosterError(f"Two learners have the number {repeated!r}. Give each learner a number of their own.")


def _manifest() -> list[tuple[str, str]]:
    sent = {"lineItems", "results"}
    return [
        ("manifest.version", "1.0"),
        ("oneroster.version", "1.2"),
        *((f"file.{name}", "delta" if name in sent else "absent") for name in FILES),
        ("source.systemName", "Cold Morning"),
        ("source.systemCode", "coldmorning"),
    ]


def _line_item(
    practice_set: PracticeSet, line_item: str, lines: Sequence[LearnerLine], ids: SchoolIds, moment: datetime
) -> list[str]:
    answered = [line.last for line in lines if line.last]
    assigned = practice_set.opens or min(answered, default=moment)
    due = practice_set.closes or max([*answered, assigned])
    return [
        *(line_item, "active", _moment(moment), practice_set.title, "", _day(assigned), _day(due)),
        *(ids.class_, ids.category, ids.session, "0", str(LARGEST_SCORE), ids.school),
    ]


def _result(line: LearnerLine, line_item: str, ids: SchoolIds, moment: datetime, *, closed: bool) -> list[str]:
    status = _status(line, closed=closed)
    scored = status in ("fully graded", "partially graded")
    score = f"{LARGEST_SCORE * line.share:.2f}" if scored and line.share is not None else ""
    open_still = bool(line.open) and not closed
    flags = (open_still and bool(line.last), bool(line.open) and bool(line.last), False, closed and not line.last)
    return [
        *(stable_id("result", line_item, line.member.number), "active", _moment(moment), line_item, line.member.number),
        *(status, score, _day(line.last or moment), "", "", ids.class_),
        *("true" if flag else "false" for flag in flags),
    ]


def _status(line: LearnerLine, *, closed: bool) -> str:
    if not line.places:
        return "exempt"
    if not line.submitted:
        return "not submitted"
    return "fully graded" if line.decided(closed=closed) else "partially graded"


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


def _day(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%d")
