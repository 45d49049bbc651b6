"""Handing out a set: every member gets a problem for every place, once, and what it was is kept."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sqlalchemy import Connection, insert, select

from tutor.classroom.models import AssignedProblem, Member, StoredSet
from tutor.classroom.progress import Progress, untold
from tutor.classroom.roster.codes import new_problem_code
from tutor.classroom.rows import assigned_problems, handed_values, keep_declarations
from tutor.classroom.sets.difficulty import Variants
from tutor.classroom.sets.snapshots import assigned_from
from tutor.problems.question import Engine
from tutor.store.database import Store
from tutor.store.tables import handed, member

_AT_ONCE = 500  # rows in one statement and ids in one condition


def hand_out(
    store: Store,
    engine: Engine,
    practice_set: StoredSet,
    members: Iterable[Member] | None = None,
    progress: Progress = untold,
) -> list[AssignedProblem]:
    """The problems of some members, or of all of the class; those that a member has not got yet are handed out.

    Handing out again gives what was handed out before. Raises StoreError, and RequestError, DrawError or ContentError
    if an exercise of the set cannot be set any more.
    """
    wanted = _all_members(store, practice_set) if members is None else list(members)
    present = {(learner.member.id, learner.place) for learner in _handed(store, practice_set, wanted)}
    variants = Variants(engine, practice_set.declaration, practice_set.secret)
    places = range(1, len(practice_set.declaration.places) + 1)
    for position, learner in enumerate(wanted, start=1):
        if any((learner.id, place) not in present for place in places):
            problems = enumerate(variants.of_learner(learner.id), start=1)
            _keep_problems(store, practice_set, [assigned_from(problem, learner, place) for place, problem in problems])
        progress(position, len(wanted))
    return _handed(store, practice_set, wanted)


def _keep_problems(store: Store, practice_set: StoredSet, problems: Sequence[AssignedProblem]) -> None:
    """Keep those of one member's problems whose places are still empty."""

    def work(connection: Connection) -> None:
        owner = problems[0].member.id
        if connection.scalar(select(member.c.id).where(member.c.id == owner)) is None:
            return
        query = select(handed.c.place).where(handed.c.practice_set_id == practice_set.id, handed.c.member_id == owner)
        present = set(connection.scalars(query))
        new = [assigned for assigned in problems if assigned.place not in present]
        codes = _unused_codes(connection, len(new))
        rows = [
            handed_values(replace(assigned, code=code), practice_set.id)
            for assigned, code in zip(new, codes, strict=True)
        ]
        if rows:
            keep_declarations(connection, [assigned.snapshot for assigned in new])
            connection.execute(insert(handed), rows)

    store.write(work)


def _unused_codes(connection: Connection, count: int) -> list[str]:
    codes: set[str] = set()
    while len(codes) < count:
        new = {new_problem_code() for _ in range(count - len(codes))}
        codes |= new - set(connection.scalars(select(handed.c.code).where(handed.c.code.in_(new))))
    return sorted(codes)


def _all_members(store: Store, practice_set: StoredSet) -> list[Member]:
    query = select(member.c.id, member.c.name, member.c.number).where(member.c.school_class_id == practice_set.class_id)
    with store.reading() as connection:
        return [Member(**row) for row in connection.execute(query.order_by(member.c.id)).mappings()]


def _handed(store: Store, practice_set: StoredSet, members: Sequence[Member]) -> list[AssignedProblem]:
    ids = [learner.id for learner in members]
    assigned: list[AssignedProblem] = []
    with store.reading() as connection:
        for start in range(0, len(ids), _AT_ONCE):
            owners = handed.c.member_id.in_(ids[start : start + _AT_ONCE])
            assigned += assigned_problems(connection, (handed.c.practice_set_id == practice_set.id) & owners)
    return assigned
