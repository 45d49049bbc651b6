"""Handing out a set: every member gets a problem for every place, once, and what it was is kept."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sqlalchemy import Connection, insert, select

from tutor.classroom.codes import new_problem_code
from tutor.classroom.difficulty import Variants
from tutor.classroom.keeping import handed_from
from tutor.classroom.models import Handed, Member, StoredSet
from tutor.classroom.progress import Progress, untold
from tutor.classroom.rows import handed_problem, handed_query, handed_values
from tutor.engine.question import Engine
from tutor.store.database import Store
from tutor.store.tables import handed, member

_AT_ONCE = 500  # rows in one statement and ids in one condition


def hand_out(
    store: Store, engine: Engine, of: StoredSet, members: Iterable[Member] | None = None, progress: Progress = untold
) -> list[Handed]:
    """The problems of some members, or of all of the class; those that a member has not got yet are handed out.

    Handing out again gives what was handed out before. Raises StoreError, and RequestError, DrawError or ContentError
    if an exercise of the set cannot be set any more.
    """
    wanted = _all_members(store, of) if members is None else list(members)
    there = {(one.member.id, one.place) for one in _handed(store, of, wanted)}
    variants = Variants(engine, of.declaration, of.secret)
    places = range(1, len(of.declaration.places) + 1)
    for at, one in enumerate(wanted, start=1):
        if any((one.id, place) not in there for place in places):
            problems = enumerate(variants.of_learner(one.id), start=1)
            _keep(store, of, [handed_from(problem, one, place) for place, problem in problems])
        progress(at, len(wanted))
    return _handed(store, of, wanted)


def _keep(store: Store, of: StoredSet, problems: Sequence[Handed]) -> None:
    """Keep those of one member's problems whose places are still empty."""

    def work(connection: Connection) -> None:
        owner = problems[0].member.id
        if connection.scalar(select(member.c.id).where(member.c.id == owner)) is None:
            return
        query = select(handed.c.place).where(handed.c.practice_set_id == of.id, handed.c.member_id == owner)
        taken = set(connection.scalars(query))
        new = [one for one in problems if one.place not in taken]
        codes = _unused_codes(connection, len(new))
        rows = [handed_values(replace(one, code=code), of.id) for one, code in zip(new, codes, strict=True)]
        if rows:
            connection.execute(insert(handed), rows)

    store.write(work)


def _unused_codes(connection: Connection, count: int) -> list[str]:
    codes: set[str] = set()
    while len(codes) < count:
        new = {new_problem_code() for _ in range(count - len(codes))}
        codes |= new - set(connection.scalars(select(handed.c.code).where(handed.c.code.in_(new))))
    return sorted(codes)


def _all_members(store: Store, of: StoredSet) -> list[Member]:
    query = select(member.c.id, member.c.name, member.c.number).where(member.c.school_class_id == of.class_id)
    with store.reading() as connection:
        return [Member(**row) for row in connection.execute(query.order_by(member.c.id)).mappings()]


def _handed(store: Store, of: StoredSet, members: Sequence[Member]) -> list[Handed]:
    ids = [one.id for one in members]
    query = handed_query().where(handed.c.practice_set_id == of.id)
    found: list[Handed] = []
    with store.reading() as connection:
        for at in range(0, len(ids), _AT_ONCE):
            some = query.where(handed.c.member_id.in_(ids[at : at + _AT_ONCE]))
            found += [handed_problem(row) for row in connection.execute(some).mappings()]
    return found
