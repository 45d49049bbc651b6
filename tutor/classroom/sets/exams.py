"""Exams: which exercises are closed to a learner outside class work, and why; the switch; who has looked all the same.

A set that is marked when it closes is an exam while it is open. Practice and Check my working, where anybody may type
the given numbers, would tell its answers. So they stay closed, for its exercises and for those that work out the same:
to the set's class, and while the switch is on to everybody on the server.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

from sqlalchemy import ColumnElement, Connection, and_, delete, insert, or_, select, true, update

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member, StoredSet
from tutor.classroom.roster.names import called
from tutor.classroom.rows import sets_query, stored_set
from tutor.classroom.sets.views import told_time
from tutor.content.models import Exercise
from tutor.expression.grammar import parse
from tutor.expression.tree import Name, Node, replace_names, residue
from tutor.learner.record import hash_of
from tutor.problems.question import Engine
from tutor.store.database import Store
from tutor.store.tables import binding, class_browser, exam_look, exam_switch, learner, member, practice_set

LIMITS = (
    "While this set is open, Practice and Check my working are closed to the class for its exercises, and for those "
    "that work out the same answer. Lessons stay open, except an example that is itself the answer. Only the exam "
    "switch stops a browser without a name. Nothing here stops another computer or phone that runs this program. "
    "In an exam, watch the devices."
)
ONE_LOOK = timedelta(seconds=1)  # a page that opens may run more than once
_ROW = 1


@dataclass(frozen=True, kw_only=True)
class Closed:
    """Why an exercise is closed to the learner of a browser: an open set.

    `in_class`: the browser is or was somebody in the set's class; `member` is who it is there now.
    """

    practice_set: StoredSet
    member: Member | None
    in_class: bool

    def words(self, title: str) -> str:
        """Why an exercise of that title is closed, and until when."""
        rules = self.practice_set.declaration
        if self.in_class:
            why = f"“{title}” would give away answers to the set “{rules.title}”, which is still open."
        else:
            why = f"An exam is running on this server, and “{title}” would give away its answers."
        if rules.closes is None:
            return f"{why} You can use this exercise again after your instructor closes the set."
        return f"{why} You can use this exercise again after the set closes on {told_time(rules.closes, rules.zone)}."


@dataclass(frozen=True, kw_only=True)
class Look:
    """How often, and from when to when, an exercise was asked for while it was closed; without a member: nameless."""

    member: Member | None
    exercise: str
    looks: int
    first_at: datetime
    last_at: datetime

    @property
    def visitor(self) -> str:
        """Who has looked, in words."""
        return called(self.member) if self.member else "A browser without a name"


@dataclass(frozen=True, kw_only=True)
class Switch:
    """The switch while it is on: for the set of an id, or for every exam (None); `practice_set` is that set, if any."""

    on_at: datetime
    set_id: int | None
    practice_set: StoredSet | None


class Exams:
    """The exams of a store; every method may raise StoreError."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def closed_to(self, engine: Engine, token: str, moment: datetime | None = None) -> Mapping[str, list[Closed]]:
        """The exercises that are closed to the learner of a browser, each with why; the set that closes last is last.

        An exercise that the content does not have any more may be among them.
        """
        moment = moment or datetime.now(UTC)
        with self._store.reading() as connection:
            classes = _classes(connection, hash_of(token))
            switch = _switch(connection)
            condition: ColumnElement[bool] = practice_set.c.school_class_id.in_(classes)
            if switch is not None:
                condition = true() if switch.set_id is None else or_(condition, practice_set.c.id == switch.set_id)
            sets = _sets(connection, and_(practice_set.c.closed_at.is_(None), condition))
        closed: dict[str, list[Closed]] = {}
        for exam in sorted((exam for exam in sets if exam.state(moment) == "open"), key=_closes_last):
            chosen = switch is not None and switch.set_id == exam.id
            all_exams = switch is not None and switch.set_id is None
            if chosen or (exam.declaration.is_exam and (all_exams or exam.class_id in classes)):
                why = Closed(practice_set=exam, member=classes.get(exam.class_id), in_class=exam.class_id in classes)
                for id_ in _giving_away(engine, exam):
                    closed.setdefault(id_, []).append(why)
        return closed

    def note_look(self, exercise: str, why: list[Closed], moment: datetime | None = None) -> None:
        """Count that somebody has asked for a closed exercise, in each set that closes it."""
        moment = moment or datetime.now(UTC)

        def work(connection: Connection) -> None:
            for reason in why:
                member_id = reason.member.id if reason.member else None
                if (
                    member_id is None
                    or connection.scalar(select(member.c.id).where(member.c.id == member_id)) is not None
                ):
                    _count(connection, reason.practice_set.id, member_id, exercise, moment)

        self._store.write(work)

    def recorded_looks(self, practice_set: StoredSet) -> list[Look]:
        """Who has asked for closed exercises because of a set, the latest first."""
        query = (
            select(exam_look, member.c.name, member.c.number)
            .join_from(exam_look, member, isouter=True)
            .where(exam_look.c.practice_set_id == practice_set.id)
            .order_by(exam_look.c.last_at.desc(), exam_look.c.id)
        )
        with self._store.reading() as connection:
            return [
                Look(
                    member=Member(id=row.member_id, name=row.name, number=row.number) if row.member_id else None,
                    exercise=row.exercise,
                    looks=row.looks,
                    first_at=row.first_at,
                    last_at=row.last_at,
                )
                for row in connection.execute(query)
            ]

    def switch(self) -> Switch | None:
        """The switch, or None while it is off."""
        with self._store.reading() as connection:
            return _switch(connection)

    def turn_on(self, practice_set: StoredSet | None, moment: datetime | None = None) -> None:
        """Close the exercises of a set, or of every exam, to everybody while it is open.

        Raises ClassError for a set that is closed.
        """
        moment = moment or datetime.now(UTC)
        if practice_set is not None and practice_set.state(moment) == "closed":
            raise ClassError(f"The set '{practice_set.declaration.title}' is closed. Reopen it, or choose another set.")
        row = {"id": _ROW, "practice_set_id": practice_set.id if practice_set else None, "on_at": moment}

        def work(connection: Connection) -> None:
            connection.execute(delete(exam_switch))
            connection.execute(insert(exam_switch).values(row))

        self._store.write(work)

    def turn_off(self) -> None:
        """Leave exams closed to their own classes only."""
        self._store.write(lambda connection: connection.execute(delete(exam_switch)))

    def switch_words(self, moment: datetime | None = None) -> str:
        """How the switch stands, and what it closes."""
        moment = moment or datetime.now(UTC)
        with self._store.reading() as connection:
            switch = _switch(connection)
            exams = [exam for exam in _sets(connection, practice_set.c.closed_at.is_(None)) if exam.declaration.is_exam]
        if switch is None:
            return "The exam switch is off."
        if switch.set_id is None:
            titles = ", ".join(f"“{exam.declaration.title}”" for exam in exams if exam.state(moment) == "open")
            listed = f"Open now: {titles}." if titles else "No such set is open, so nothing is closed now."
            return f"The exam switch is on for all sets that are marked when they close. {listed}"
        if switch.practice_set is None:
            return "The exam switch is on for a set that no longer exists, so nothing is closed. Turn it off."
        rules = switch.practice_set.declaration
        sentence = f"The exam switch is on for “{rules.title}”."
        match switch.practice_set.state(moment):
            case "closed":
                return f"{sentence} That set is closed, so nothing is closed by the switch now. Turn it off."
            case "not yet" if rules.opens is not None:
                return f"{sentence} It takes effect when the set opens on {told_time(rules.opens, rules.zone)}."
            case _:
                until = "you close the set" if rules.closes is None else told_time(rules.closes, rules.zone)
                return f"{sentence} The exercises are closed to everybody on this server until {until}."


def _classes(connection: Connection, token_hash: str) -> dict[int, Member | None]:
    """The classes in which a browser is or was somebody, each with who it is now."""
    me = select(learner.c.id).where(learner.c.token_hash == token_hash).scalar_subquery()
    been = select(class_browser.c.school_class_id).where(class_browser.c.learner_id == me)
    members: dict[int, Member | None] = dict.fromkeys(connection.scalars(been))
    bound = select(binding.c.school_class_id, member.c.id, member.c.name, member.c.number).join_from(binding, member)
    for row in connection.execute(bound.where(binding.c.learner_id == me)):
        members[row.school_class_id] = Member(id=row.id, name=row.name, number=row.number)
    return members


def _sets(connection: Connection, condition: ColumnElement[bool]) -> list[StoredSet]:
    return [stored_set(row) for row in connection.execute(sets_query().where(condition)).mappings()]


def _switch(connection: Connection) -> Switch | None:
    row = connection.execute(select(exam_switch)).first()
    if row is None:
        return None
    sets = [] if row.practice_set_id is None else _sets(connection, practice_set.c.id == row.practice_set_id)
    return Switch(on_at=row.on_at, set_id=row.practice_set_id, practice_set=sets[0] if sets else None)


def _closes_last(practice_set: StoredSet) -> tuple[bool, datetime]:
    closes = practice_set.declaration.closes
    return closes is None, closes or practice_set.made_at


def _count(connection: Connection, set_id: int, member_id: int | None, exercise: str, moment: datetime) -> None:
    condition = and_(
        exam_look.c.practice_set_id == set_id, exam_look.c.member_id == member_id, exam_look.c.exercise == exercise
    )
    before = connection.execute(select(exam_look.c.looks, exam_look.c.last_at).where(condition)).first()
    if before is None:
        row = {"practice_set_id": set_id, "member_id": member_id, "exercise": exercise, "looks": 1}
        connection.execute(insert(exam_look).values(**row, first_at=moment, last_at=moment))
    elif not timedelta() <= moment - before.last_at < ONE_LOOK:
        connection.execute(update(exam_look).where(condition).values(looks=before.looks + 1, last_at=moment))


def _giving_away(engine: Engine, practice_set: StoredSet) -> set[str]:
    """The exercises that would tell an answer of a set: its own and those that work out the same."""
    return {
        id_ for item in practice_set.declaration.items for id_ in _giving_same_answer(engine, item.exercise, item.ask)
    }


@lru_cache(maxsize=256)
def _giving_same_answer(engine: Engine, exercise: str, ask: str | None) -> frozenset[str]:
    """The exercises that tell the answer of one: by its relations, or by a method that is as good."""
    declared = {id_: worked_out.exercise for id_, worked_out in engine.library.declared.items()}
    if exercise not in declared:
        return frozenset({exercise})
    exercise_declared = declared[exercise]
    wanted = ask if ask in exercise_declared.relations else next(iter(exercise_declared.asks))
    answers = {worked_out[wanted] for worked_out in _worked_out(engine, exercise) if wanted in worked_out}
    alike = {
        id_ for id_ in declared if any(answers & {*worked_out.values()} for worked_out in _worked_out(engine, id_))
    }
    as_good = {
        id_
        for id_, worked_out in declared.items()
        if id_ in exercise_declared.other_methods or exercise in worked_out.other_methods
    }
    return frozenset({exercise, *alike, *as_good})


@lru_cache(maxsize=1024)
def _worked_out(engine: Engine, exercise: str) -> tuple[Mapping[str, int], ...]:
    """What an exercise works out under each of its rulebooks: each quantity's arithmetic from the givens alone."""
    declared = engine.library.declared[exercise]
    return tuple(_from_givens(declared.under(book).exercise) for book in declared.exercise.rulebooks)


def _from_givens(exercise: Exercise) -> Mapping[str, int]:
    trees = {name: parse(text) for name, text in exercise.relations.items()}

    def unfolded(name: str) -> Node:
        return replace_names(trees[name], unfolded) if name in trees else Name(name)

    return {name: residue(unfolded(name)) for name in trees}
