"""Which learner is which member: a name is taken once, with the set's code; on a further device by a personal code."""

from datetime import UTC, datetime

from sqlalchemy import Connection, and_, delete, insert, select, update

from tutor.classroom.codes import is_personal_code, personal_code
from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member, StoredSet
from tutor.classroom.names import same_name
from tutor.classroom.rows import sets_query, stored_set
from tutor.learner.record import hash_of, learner_row
from tutor.store.database import Store
from tutor.store.tables import binding, class_browser, learner, member, practice_set


class CodeWantedError(ClassError):
    """The name is taken on another device; the personal code shows that it is the same learner."""


def sets_of(store: Store, token: str) -> list[StoredSet]:
    """The sets of all classes in which the learner of a browser has taken a name, the newest first."""
    query = (
        sets_query()
        .join(binding, binding.c.school_class_id == practice_set.c.school_class_id)
        .join(learner, learner.c.id == binding.c.learner_id)
        .where(learner.c.token_hash == hash_of(token))
        .order_by(practice_set.c.id.desc())
    )
    with store.reading() as connection:
        return [stored_set(row) for row in connection.execute(query).mappings()]


class Claims:
    """Who the learner of a browser is in the class of a set; `token` is what the browser holds."""

    def __init__(self, store: Store, of: StoredSet) -> None:
        self._store, self._set = store, of

    def member(self, token: str) -> Member | None:
        """The member that the learner is, or None before a name was taken."""
        with self._store.reading() as connection:
            return self._bound(connection, hash_of(token))

    def claim(self, token: str, name_or_number: str, personal: str = "") -> Member:
        """Take a name of the roster, or the number, for the learner of a browser.

        Raises CodeWantedError if the name is taken and `personal` is not that member's personal code, ClassError if the
        roster has no such name, or several, or if this browser is another member already.
        """

        def work(connection: Connection) -> Member:
            bound = self._bound(connection, hash_of(token))
            found = self._on_roster(connection, name_or_number)
            if bound is not None and bound.id != found.id:
                raise ClassError(f"On this device you are {bound.name or bound.number}. Leave that name first.")
            if bound is None:
                self._check_free(connection, found, personal)
                self._bind(connection, found, hash_of(token))
            return found

        return self._store.write(work)

    def leave(self, token: str) -> None:
        """Be nobody on this device any more; the name stays taken, and its personal code lets the learner back in."""
        me = select(learner.c.id).where(learner.c.token_hash == hash_of(token)).scalar_subquery()
        mine = and_(binding.c.learner_id == me, binding.c.school_class_id == self._set.class_id)
        self._store.write(lambda connection: connection.execute(delete(binding).where(mine)))

    def personal_code(self, of: Member) -> str:
        """What a member types on a further device; for the desk and for the member alone."""
        with self._store.reading() as connection:
            own = connection.scalar(select(member.c.secret).where(member.c.id == of.id))
        if own is None:
            raise ClassError("This name is not on the class list any more. Ask your instructor.")
        return personal_code(self._set.class_secret, own)

    def _bound(self, connection: Connection, token_hash: str) -> Member | None:
        query = (
            select(member.c.id, member.c.name, member.c.number)
            .join_from(member, binding)
            .join(learner)
            .where(learner.c.token_hash == token_hash, binding.c.school_class_id == self._set.class_id)
        )
        row = connection.execute(query).mappings().first()
        return Member(**row) if row else None

    def _on_roster(self, connection: Connection, typed: str) -> Member:
        query = select(member.c.id, member.c.name, member.c.number).where(
            member.c.school_class_id == self._set.class_id
        )
        roster = [Member(**row) for row in connection.execute(query).mappings()]
        if not typed.strip():
            raise ClassError("Nothing was typed. Type your name or your number as it stands on the class list.")
        fitting = [one for one in roster if one.number and same_name(one.number, typed)]
        fitting = fitting or [one for one in roster if same_name(one.name, typed)]
        if not fitting:
            raise ClassError("The class list has no such name or number. Type it as it stands there, or ask.")
        if len(fitting) > 1:
            raise ClassError("Several on the class list have this name. Type your number, or ask for it.")
        return fitting[0]

    def _check_free(self, connection: Connection, found: Member, personal: str) -> None:
        row = connection.execute(select(member.c.claimed_at, member.c.secret).where(member.c.id == found.id)).one()
        if row.claimed_at is None or is_personal_code(personal, self._set.class_secret, row.secret):
            return
        if personal.strip():
            raise CodeWantedError("This is not the personal code for that name. Compare it, or ask your instructor.")
        raise CodeWantedError(
            "This name is taken on another device. Type your personal code, which that device shows and your "
            "instructor has."
        )

    def _bind(self, connection: Connection, found: Member, token_hash: str) -> None:
        now = datetime.now(UTC)
        owner = learner_row(connection, token_hash)
        row = {"learner_id": owner, "school_class_id": self._set.class_id, "member_id": found.id, "made_at": now}
        connection.execute(insert(binding).values(row))
        of_class = {"learner_id": owner, "school_class_id": self._set.class_id}
        connection.execute(delete(class_browser).filter_by(**of_class))
        connection.execute(insert(class_browser).values(of_class))
        first = and_(member.c.id == found.id, member.c.claimed_at.is_(None))
        connection.execute(update(member).where(first).values(claimed_at=now))
