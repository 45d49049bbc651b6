"""The instructor's side of the store: the sets of a class and its members."""

import secrets
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.models import ClaimWith, Member, PracticeSet, StoredSet
from tutor.classroom.roster.codes import new_secret, new_set_code, personal_code, set_code
from tutor.classroom.roster.names import Roll, same_name
from tutor.classroom.rows import sets_query, stored_set
from tutor.store.database import Store
from tutor.store.erasing import erase_member
from tutor.store.tables import binding, member, practice_set, school_class

USUAL_CLASS = "class"
LONGEST_NAME = 200
_SECRET_BYTES = 32


@dataclass(frozen=True)
class Entered:
    """What became of a roster: the members that are new, those that were there already, those that were renamed."""

    new: list[Member]
    present: list[Member]
    renamed: list[Member]


class Register:
    """All classes; every method may raise tutor.store.database.StoreError, or ClassError for what is not allowed."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def open_set(self, declared: PracticeSet, class_name: str = USUAL_CLASS) -> StoredSet:
        """Open a set for a class, which is made at its first set; the same set again gives the one that is there.

        Raises ClassError if the class has another set of that id.
        """
        declaration = declared.model_dump(mode="json")

        def work(connection: Connection) -> StoredSet:
            owner = _class(connection, class_name)
            this_set = sets_query().where(practice_set.c.school_class_id == owner, practice_set.c.name == declared.id)
            row = connection.execute(this_set).mappings().first()
            if row is None:
                connection.execute(
                    insert(practice_set).values(
                        school_class_id=owner,
                        name=declared.id,
                        declaration=declaration,
                        secret=secrets.token_hex(_SECRET_BYTES),
                        code=_unused_code(connection),
                        made_at=datetime.now(UTC),
                    )
                )
                row = connection.execute(this_set).mappings().one()
            stored = stored_set(row)
            if _unchangeable(stored.declaration) != _unchangeable(declared):
                raise ClassError(
                    f"The class '{class_name}' has another set '{declared.id}' already. Give this one another id."
                )
            return stored

        return self._store.write(work)

    def sets(self, class_name: str | None = None) -> list[StoredSet]:
        """All sets, or those of one class, oldest first."""
        query = sets_query().order_by(practice_set.c.id)
        if class_name is not None:
            query = query.where(school_class.c.name == class_name)
        with self._store.reading() as connection:
            return [stored_set(row) for row in connection.execute(query).mappings()]

    def classes(self) -> list[str]:
        """The names of all classes."""
        with self._store.reading() as connection:
            return list(connection.scalars(select(school_class.c.name).order_by(school_class.c.id)))

    def set_of_code(self, code: str) -> StoredSet:
        """The set that a learner's code or link names. Raises ClassError if there is none."""
        printed = set_code(code)
        with self._store.reading() as connection:
            row = connection.execute(sets_query().where(practice_set.c.code == (printed or ""))).mappings().first()
        if row is None:
            raise ClassError("No practice set has this code. Compare it with the sheet or ask your instructor.")
        return stored_set(row)

    def find_set(self, name: str, class_name: str | None = None) -> StoredSet:
        """A set by its id, or by its code. Raises ClassError if there is none, or several of that id."""
        fitting = [stored for stored in self.sets(class_name) if name in (stored.declaration.id, stored.code)]
        fitting = fitting or [stored for stored in self.sets(class_name) if stored.code == set_code(name)]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            raise ClassError(f"Several classes have a set '{name}'. Name the class too, or give the set's code.")
        raise ClassError(f"There is no practice set '{name[:60]}' in the store. 'coldmorning set list' lists them.")

    def get(self, set_id: int) -> StoredSet:
        """A set by its number in the store."""
        with self._store.reading() as connection:
            row = connection.execute(sets_query().where(practice_set.c.id == set_id)).mappings().first()
        if row is None:
            raise ClassError("This practice set is not in the store any more.")
        return stored_set(row)

    def close(self, set_id: int, moment: datetime | None = None) -> StoredSet:
        """Take no more answers. A set that is closed already stays as it is."""
        stored = self.get(set_id)
        if stored.closed_at is None:
            self._change(set_id, closed_at=moment or datetime.now(UTC))
        return self.get(set_id)

    def reopen(self, set_id: int, closes: datetime | None = None, moment: datetime | None = None) -> StoredSet:
        """Take answers again, until `closes`, or until it is closed by hand.

        Learners who have seen the worked solutions meanwhile will know the answers.
        """
        stored = self.get(set_id)
        if closes is not None and closes <= (moment or datetime.now(UTC)):
            raise ClassError("The closing time lies in the past. Give a later one.")
        opens = stored.declaration.opens
        self._change(set_id, closed_at=None, declaration=_with_times(stored.declaration, opens, closes))
        return self.get(set_id)

    def change_times(self, set_id: int, opens: datetime | None, closes: datetime | None) -> StoredSet:
        """Give a set other opening and closing times."""
        self._change(set_id, declaration=_with_times(self.get(set_id).declaration, opens, closes))
        return self.get(set_id)

    def change_claiming(self, set_id: int, claim_with: ClaimWith) -> StoredSet:
        """Say with what names are taken from now on; who has taken one keeps it."""
        changed = self.get(set_id).declaration.model_copy(update={"claim_with": claim_with})
        self._change(set_id, declaration=changed.model_dump(mode="json"))
        return self.get(set_id)

    def _change(self, set_id: int, **values: Any) -> None:
        self._store.write(
            lambda connection: connection.execute(
                update(practice_set).where(practice_set.c.id == set_id).values(**values)
            )
        )

    def enter(self, roster: Iterable[Member], class_name: str = USUAL_CLASS) -> Entered:
        """Add the members of a roster (their ids do not matter); who is there already by number or name stays.

        With a number that is there and another name, the member is renamed; one without a number gets it by the name.
        """
        wanted = list(roster)

        def work(connection: Connection) -> Entered:
            owner = _class(connection, class_name)
            before = {person.id: person for person in _members(connection, owner)}
            entered, after = _compared(before.values(), wanted)
            ids = {id_: _write(connection, owner, before.get(id_), person) for id_, person in after.items()}
            lists = (entered.new, entered.present, entered.renamed)
            return Entered(
                *([replace(person, id=ids.get(person.id, person.id)) for person in people] for people in lists)
            )

        return self._store.write(work)

    def preview(self, roster: Iterable[Member], class_name: str = USUAL_CLASS) -> Entered:
        """What entering a roster would do, without doing it; the new members have no ids of the store's yet."""
        return _compared(self.members(class_name), roster)[0]

    def members(self, class_name: str = USUAL_CLASS) -> list[Member]:
        """The members of a class in the order in which they were entered."""
        with self._store.reading() as connection:
            query = select(school_class.c.id).where(school_class.c.name == class_name)
            owner = connection.scalar(query)
            return [] if owner is None else _members(connection, owner)

    def claimed(self, class_name: str = USUAL_CLASS) -> dict[int, datetime]:
        """When the members of a class took their names, by the member's id; those who have not are left out."""
        query = (
            select(member.c.id, member.c.claimed_at)
            .join_from(member, school_class)
            .where(school_class.c.name == class_name, member.c.claimed_at.is_not(None))
        )
        with self._store.reading() as connection:
            return {row.id: row.claimed_at for row in connection.execute(query)}

    def personal_codes(self, class_name: str = USUAL_CLASS) -> dict[int, str]:
        """What each member of a class types on a further device, by the member's id; for the desk alone."""
        query = (
            select(member.c.id, member.c.secret.label("own"), school_class.c.secret)
            .join_from(member, school_class)
            .where(school_class.c.name == class_name)
        )
        with self._store.reading() as connection:
            return {row.id: personal_code(row.secret, row.own) for row in connection.execute(query)}

    def release(self, member_id: int) -> None:
        """Let a name be taken again, on any device and without the personal code, which is another from then on.

        No work is lost.
        """

        def work(connection: Connection) -> None:
            connection.execute(binding.delete().where(binding.c.member_id == member_id))
            connection.execute(
                update(member).where(member.c.id == member_id).values(claimed_at=None, secret=new_secret())
            )

        self._store.write(work)

    def release_all(self, class_name: str = USUAL_CLASS) -> int:
        """Release the names of a whole class, as `release` does one; gives how many were taken.

        All members' personal codes change, so that a slip that went round opens nothing.
        """

        def work(connection: Connection) -> int:
            owner = select(school_class.c.id).where(school_class.c.name == class_name).scalar_subquery()
            members = connection.execute(
                select(member.c.id, member.c.claimed_at).where(member.c.school_class_id == owner)
            ).all()
            connection.execute(binding.delete().where(binding.c.school_class_id == owner))
            for row in members:
                fresh = {"claimed_at": None, "secret": new_secret()}
                connection.execute(update(member).where(member.c.id == row.id).values(fresh))
            return sum(row.claimed_at is not None for row in members)

        return self._store.write(work)

    def erase(self, member_id: int) -> None:
        """Delete all that is kept about a member, and the practice in browsers that are theirs alone."""
        self._store.write(lambda connection: erase_member(connection, member_id))
        self._store.clear_leftovers()


def _class(connection: Connection, name: str) -> int:
    """The id of a class, which is made if there is none of that name."""
    name = " ".join(name.split())
    if not 1 <= len(name) <= LONGEST_NAME:
        raise ClassError(f"A class's name has 1 to {LONGEST_NAME} characters. Give it another.")
    query = select(school_class.c.id).where(school_class.c.name == name)
    if connection.scalar(query) is None:
        secret = secrets.token_hex(_SECRET_BYTES)
        connection.execute(insert(school_class).values(name=name, secret=secret, made_at=datetime.now(UTC)))
    class_id: int = connection.scalars(query).one()
    return class_id


def _unused_code(connection: Connection) -> str:
    while True:
        code = new_set_code()
        if connection.scalar(select(func.count()).where(practice_set.c.code == code)) == 0:
            return code


def _members(connection: Connection, owner: int) -> list[Member]:
    query = select(member.c.id, member.c.name, member.c.number).where(member.c.school_class_id == owner)
    return [Member(**row) for row in connection.execute(query.order_by(member.c.id)).mappings()]


def _compared(listed: Iterable[Member], roster: Iterable[Member]) -> tuple[Entered, dict[int, Member]]:
    """What a roster says that is new, and by their ids the members that it adds (below 0) or changes."""
    roll, entered = Roll(listed), Entered([], [], [])
    after: dict[int, Member] = {}
    for position, person in enumerate(roster, start=1):
        earlier = roll.find_member(person)
        if earlier is None:
            entry = replace(person, id=-position)
            entered.new.append(entry)
        elif person.name and not same_name(earlier.name, person.name):
            entry = replace(earlier, name=person.name)
            entered.renamed.append(entry)
        else:
            entry = earlier if earlier.number else replace(earlier, number=person.number)
            entered.present.append(entry)
        if entry != earlier:
            after[entry.id] = entry
            roll.add(entry)
    return entered, after


def _write(connection: Connection, owner: int, before: Member | None, person: Member) -> int:
    """Add a member, or change the one that was there before; gives the id."""
    name_and_number = {"name": person.name, "number": person.number}
    if before is not None:
        connection.execute(update(member).where(member.c.id == before.id).values(name_and_number))
        return before.id
    row = {"school_class_id": owner, **name_and_number, "secret": new_secret(), "made_at": datetime.now(UTC)}
    key = connection.execute(insert(member).values(row)).inserted_primary_key
    return int(key[0]) if key else 0


def _with_times(declared: PracticeSet, opens: datetime | None, closes: datetime | None) -> dict[str, Any]:
    if opens is not None and closes is not None and closes <= opens:
        raise ClassError("The closing time is not after the opening time. Mend one of the two.")
    return declared.model_copy(update={"opens": opens, "closes": closes}).model_dump(mode="json")


def _unchangeable(declared: PracticeSet) -> PracticeSet:
    """A set apart from what may differ from its file once it is open."""
    return declared.model_copy(update={"opens": None, "closes": None, "claim_with": "personal code"})
