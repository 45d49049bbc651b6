"""The class's tables as queries, and their rows as what they mean."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Select, insert, select

from tutor.classroom.models import Answer, AssignedProblem, Member, PracticeSet, ProblemSnapshot, StoredSet
from tutor.classroom.sets.snapshots import declaration_hash, snapshot_as_json, snapshot_from_json
from tutor.classroom.sets.views import AttemptState
from tutor.content.models import Amount
from tutor.store.tables import class_answer, frozen_declaration, handed, member, practice_set, school_class

_SAME_FIELDS = ("place", "code", "exercise", "version", "number", "ask", "rulebook", "answer", "tolerance", "excused")
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


def assigned_problems(connection: Connection, condition: ColumnElement[bool]) -> list[AssignedProblem]:
    """Problems that are handed out, in the order of members and places."""
    return _assigned(connection, connection.execute(handed_query().where(condition)).mappings().all())


def _assigned(connection: Connection, rows: Sequence[RowMapping]) -> list[AssignedProblem]:
    """The problems of rows of `handed_query`."""
    hashes = {row["kept"]["declaration"] for row in rows if "declaration" in row["kept"]}
    query = select(frozen_declaration).where(frozen_declaration.c.hash.in_(hashes))
    declarations = {row.hash: row.text for row in connection.execute(query)} if hashes else {}
    return [
        AssignedProblem(
            **{name: row[name] for name in _SAME_FIELDS},
            id=row["id"],
            member=Member(id=row["member_id"], name=row["member_name"], number=row["member_number"]),
            givens={name: Amount.model_construct(**amount) for name, amount in row["givens"].items()},
            expected=row["expected"],
            snapshot=snapshot_from_json(row["kept"], row["ask"], declarations),
        )
        for row in rows
    ]


def keep_declarations(connection: Connection, snapshots: Iterable[ProblemSnapshot]) -> None:
    """Keep the frozen declarations of problems, each once for all problems that rest on it."""
    texts = {kept_snapshot.declaration for kept_snapshot in snapshots if kept_snapshot.record is None}
    declarations = {declaration_hash(text): text for text in texts}
    query = select(frozen_declaration.c.hash).where(frozen_declaration.c.hash.in_(declarations))
    present = set(connection.scalars(query))
    if rows := [{"hash": name, "text": text} for name, text in declarations.items() if name not in present]:
        connection.execute(insert(frozen_declaration), rows)


def standings(connection: Connection, condition: ColumnElement[bool], moment: datetime) -> list[AttemptState]:
    """How handed problems stand, with their sets and answers, by member and place."""
    rows = connection.execute(handed_query().where(condition)).mappings().all()
    sets = {row["id"]: stored_set(row) for row in _sets_of(connection, {row["practice_set_id"] for row in rows})}
    answers = _answers(connection, [row["id"] for row in rows])
    return [
        AttemptState(
            practice_set=sets[row["practice_set_id"]],
            handed=assigned,
            answers=answers[row["id"]],
            help=row["help"],
            hints_seen=row["hints_seen"],
            moment=moment,
        )
        for row, assigned in zip(rows, _assigned(connection, rows), strict=True)
    ]


def refreshed(connection: Connection, states: Iterable[AttemptState]) -> list[AttemptState]:
    """The same with what may have changed since it was read: answers, help seen, excuses; what is gone is left out.

    Left out, too, is what has been corrected since.
    """
    before = {state.handed.id: state for state in states}
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


def handed_values(assigned: AssignedProblem, set_id: int) -> dict[str, Any]:
    """The columns of a problem that is handed out."""
    return {
        **{name: getattr(assigned, name) for name in _SAME_FIELDS},
        "practice_set_id": set_id,
        "member_id": assigned.member.id,
        "givens": {name: amount.model_dump(mode="json") for name, amount in assigned.givens.items()},
        "expected": dict(assigned.expected),
        "kept": snapshot_as_json(assigned.snapshot),
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
    fields = [column.name for column in _ANSWER_FIELDS if column.name != "id"]
    return {"handed_id": answer.handed} | {name: _plain(getattr(answer, name)) for name in fields}


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value
