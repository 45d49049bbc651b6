"""A set's answers as xAPI statements (ADL Experience API 1.0.3; IEEE 9274.1.1-2023 as version 2.0).

One statement for each counted answer (ADL's verb 'answered'), and one (`completed`) for each member whose share is
decided by the rule of `reports.report`: a statement says what somebody did, so of who has not submitted the set
there is none.  The actor is an account: the instructor's number for the learner, else our own; no name is sent.  Right
answers are not sent either, for a record store may be open to learners.

A statement's id is made from all that it says: the same statement has the same id whenever it is made, so that sending
it twice is harmless, and one that says something else has another.
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote, urlsplit

from tutor.base.errors import FaultyRequestError
from tutor.classroom.exports.tables import stable_id
from tutor.classroom.models import Answer, AssignedProblem, Member, Outcome, PracticeSet
from tutor.classroom.reports.report import learner_lines

VERBS = "http://adlnet.gov/expapi/verbs/"
ACTIVITIES = "http://adlnet.gov/expapi/activities/"
INTERACTION = {"number": "numeric", "count": "numeric", "answer": "true-false"}
HELP = "help"
SOURCE = "source"

Json = dict[str, Any]


@dataclass(frozen=True)
class Told:
    """A statement and what it is about: of two about the same subject the later one replaces the earlier.

    `member` and `answer` are the numbers in the store of whom and what it tells.
    """

    subject: str
    statement: Json
    member: int
    answer: int | None = None

    @property
    def id(self) -> str:
        """The statement's id."""
        return str(self.statement["id"])


class HomeError(FaultyRequestError):
    """The address under which learners and problems get their names is no address."""


def statements(
    practice_set: PracticeSet, outcomes: Sequence[Outcome], home: str, *, closed: bool = False
) -> list[Told]:
    """Make the statements, oldest answer first; `home` is the school's address, such as 'https://school.example'.

    Raises HomeError if `home` is no web address.
    """
    home = _checked(home)
    set_activity = _activity(f"{home}/sets/{practice_set.id}", practice_set.title, "assessment")
    answered = [
        _answered(outcome.handed, answer, set_activity, home)
        for outcome in outcomes
        for answer in outcome.answers
        if answer.counted and answer.verdict in ("right", "wrong")
    ]
    answered.sort(key=lambda answer_statement: (answer_statement.statement["timestamp"], answer_statement.id))
    return [*answered, *_completed(outcomes, set_activity, home, closed=closed)]


def lines(statements: Sequence[Told]) -> Iterator[str]:
    """The statements as JSON lines."""
    for statement in statements:
        yield json.dumps(statement.statement, ensure_ascii=False, sort_keys=True)


def voiding(statement: Told, earlier: str) -> Told:
    """The statement that takes back an earlier one that this one replaces."""
    reference = {"objectType": "StatementRef", "id": earlier}
    shared = {"actor": statement.statement["actor"], "timestamp": statement.statement["timestamp"]}
    void = shared | {"verb": _verb("voided"), "object": reference}
    return _with_id(f"void {earlier}", void, statement.member, statement.answer)


def account(member: Member, home: str) -> Json:
    """How a member is named in statements."""
    name = member.number.strip() or f"member-{member.id}"
    return {"objectType": "Agent", "account": {"homePage": _checked(home), "name": name}}


def _answered(handed: AssignedProblem, answer: Answer, set_activity: Json, home: str) -> Told:
    kind = INTERACTION.get(handed.snapshot.kind(handed.ask), "other")
    place = "/".join(quote(part, safe="") for part in (handed.exercise, handed.ask, handed.code))
    title = handed.snapshot.title or handed.exercise
    activity = _activity(f"{home}/problems/{place}", title, "cmi.interaction", interactionType=kind)
    result: Json = {"success": answer.verdict == "right", "response": answer.entry}
    result["score"] = {"scaled": 1 if answer.verdict == "right" else 0}
    if answer.seconds is not None:
        result["duration"] = _duration(answer.seconds)
    if answer.named:
        result["extensions"] = {f"{home}/extensions/mistake": answer.named}
    context = {
        "contextActivities": {"parent": [set_activity]},
        "extensions": {f"{home}/extensions/{SOURCE}": answer.source, f"{home}/extensions/{HELP}": answer.help},
    }
    return _with_id(
        f"answer {answer.id}",
        {
            "actor": account(handed.member, home),
            "verb": _verb("answered"),
            "object": activity,
            "result": result,
            "context": context,
            "timestamp": _moment(answer.at),
        },
        handed.member.id,
        answer.id,
    )


def _completed(outcomes: Sequence[Outcome], set_activity: Json, home: str, *, closed: bool) -> Iterator[Told]:
    times: Mapping[Member, list[float]] = defaultdict(list)
    for outcome in outcomes:
        times[outcome.handed.member].extend(answer.seconds or 0.0 for answer in outcome.answers[-1:])
    for line in learner_lines(outcomes):
        if line.share is None or line.last is None or not line.decided(closed=closed):
            continue
        score = {"scaled": round(line.share, 6), "raw": line.right, "min": 0, "max": line.places}
        yield _with_id(
            f"set {set_activity['id']} {line.member.id}",
            {
                "actor": account(line.member, home),
                "verb": _verb("completed"),
                "object": set_activity,
                "result": {"completion": True, "score": score, "duration": _duration(sum(times[line.member]))},
                "timestamp": _moment(line.last),
            },
            line.member.id,
        )


def _with_id(subject: str, statement: Json, member: int, answer: int | None = None) -> Told:
    text = json.dumps(statement, ensure_ascii=False, sort_keys=True)
    return Told(subject, {"id": stable_id("statement", subject, text), **statement}, member, answer)


def _verb(name: str) -> Json:
    return {"id": f"{VERBS}{name}", "display": {"en": name}}


def _activity(id_: str, title: str, kind: str, **fields: str) -> Json:
    definition = {"name": {"en": title}, "type": f"{ACTIVITIES}{kind}", **fields}
    return {"objectType": "Activity", "id": id_, "definition": definition}


def _duration(seconds: float) -> str:
    """An ISO 8601 duration to a hundredth of a second, as the standard compares them."""
    return f"PT{seconds:.2f}S"


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _checked(home: str) -> str:
    try:
        parts = urlsplit(home.strip())
    except ValueError:
        parts = urlsplit("")
    if parts.scheme not in ("http", "https") or not parts.hostname or any(c.isspace() for c in home.strip()):
        raise HomeError(f"'{home[:60]}' is no web address. Give the school's own, such as 'https://school.example'.")
    return home.strip().rstrip("/")
