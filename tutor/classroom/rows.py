"""The class's tables as queries, and their rows as what they mean."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Select, select

from tutor.classroom.keeping import givens_as_json, kept_as_json, kept_from_json
from tutor.classroom.models import Answer, Handed, Member, PracticeSet, StoredSet
from tutor.classroom.views import Standing
from tutor.content.models import Amount
from tutor.store.tables import class_answer, handed, member, practice_set, school_class

_ANSWER_FIELDS = [column for column in class_answer.c if column.name != "handed_id"]


def sets_query() -> Select[Any]:
    """All sets with their classes."""
    columns = [*practice_set.c, school_class.c.name.label("class_name"), school_class.c.secret.label("class_secret")]
    return select(*columns).join_from(practice_set, school_class)


def stored_set(row: RowMapping) -> StoredSet:
    """A set from a row of `sets_query`."""
    return StoredSet(
        id=row["id"],
        class_id=row["school_class_id"],
        class_name=row["class_name"],
        # A set that does not say how names are claimed is from before there was a choice.
        declaration=PracticeSet.model_validate({"claim_with": "name alone", **row["declaration"]}),
        code=row["code"],
        secret=row["secret"],
        class_secret=row["class_secret"],
        made_at=row["made_at"],
        closed_at=row["closed_at"],
    )


def handed_query() -> Select[Any]:
    """All handed problems with their members, in the order of members and places."""
    columns = [*handed.c, member.c.name.label("member_name"), member.c.number.label("member_number")]
    return select(*columns).join_from(handed, member).order_by(handed.c.member_id, handed.c.place)


def handed_problem(row: RowMapping) -> Handed:
    """A handed problem from a row of `handed_query`."""
    return Handed(
        id=row["id"],
        member=Member(id=row["member_id"], name=row["member_name"], number=row["member_number"]),
        place=row["place"],
        code=row["code"],
        exercise=row["exercise"],
        version=row["version"],
        number=row["number"],
        ask=row["ask"],
        rulebook=row["rulebook"],
        givens={name: Amount.model_construct(**amount) for name, amount in row["givens"].items()},
        expected=row["expected"],
        answer=row["answer"],
        tolerance=row["tolerance"],
        excused=row["excused"],
        kept=kept_from_json(row["kept"]),
    )


def standings(connection: Connection, which: ColumnElement[bool], now: datetime) -> list[Standing]:
    """How handed problems stand, with their sets and answers, by member and place."""
    rows = connection.execute(handed_query().where(which)).mappings().all()
    sets = {row["id"]: stored_set(row) for row in _sets_of(connection, {row["practice_set_id"] for row in rows})}
    answers = _answers(connection, [row["id"] for row in rows])
    return [
        Standing(
            of=sets[row["practice_set_id"]],
            handed=handed_problem(row),
            answers=answers[row["id"]],
            help=row["help"],
            hints_seen=row["hints_seen"],
            now=now,
        )
        for row in rows
    ]


def refreshed(connection: Connection, found: Iterable[Standing]) -> list[Standing]:
    """The same with what may have changed since it was read: answers, help seen, excuses; what is gone is left out.

    Left out, too, is what has been corrected since.
    """
    before = {standing.handed.id: standing for standing in found}
    answers = _answers(connection, before)
    columns = (handed.c.id, handed.c.excused, handed.c.help, handed.c.hints_seen, handed.c.version, handed.c.expected)
    now_there = connection.execute(select(*columns).where(handed.c.id.in_(before))).all()
    return [
        replace(
            before[row.id],
            handed=replace(before[row.id].handed, excused=row.excused),
            answers=answers[row.id],
            help=row.help,
            hints_seen=row.hints_seen,
        )
        for row in now_there
        if (row.version, row.expected) == (before[row.id].handed.version, before[row.id].handed.expected)
    ]


def _answers(connection: Connection, handed_ids: Iterable[int]) -> dict[int, list[Answer]]:
    answers: dict[int, list[Answer]] = {id_: [] for id_ in handed_ids}
    for row in connection.execute(answers_query().where(class_answer.c.handed_id.in_(answers))).mappings():
        answers[row["handed_id"]].append(class_answer_of(row))
    return answers


def _sets_of(connection: Connection, ids: Iterable[int]) -> Sequence[RowMapping]:
    return connection.execute(sets_query().where(practice_set.c.id.in_(list(ids)))).mappings().all()


def handed_values(one: Handed, set_id: int) -> dict[str, Any]:
    """The columns of a problem that is handed out."""
    same = ("place", "code", "exercise", "version", "number", "ask", "rulebook", "answer", "tolerance", "excused")
    return {
        **{name: getattr(one, name) for name in same},
        "practice_set_id": set_id,
        "member_id": one.member.id,
        "givens": givens_as_json(one.givens),
        "expected": dict(one.expected),
        "kept": kept_as_json(one.kept),
        "help": "nothing",
        "hints_seen": 0,
    }


def answers_query() -> Select[Any]:
    """All answers, oldest first."""
    return select(class_answer).order_by(class_answer.c.id)


def class_answer_of(row: RowMapping) -> Answer:
    """An answer from a row of `answers_query`."""
    return Answer(handed=row["handed_id"], **{column.name: row[column.name] for column in _ANSWER_FIELDS})


def answer_values(answer: Answer) -> Mapping[str, Any]:
    """The columns of an answer that is added."""
    same = [column.name for column in _ANSWER_FIELDS if column.name != "id"]
    return {"handed_id": answer.handed} | {name: _plain(getattr(answer, name)) for name in same}


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value
