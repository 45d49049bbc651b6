"""Which learner is which member: a name is taken with the set's code and the personal code.

A class can have names taken first with the set's code alone; then the personal code is for further devices. Whoever
tries names is not told which of them are on the class list, or taken, or had another code.
"""

from datetime import UTC, datetime

from sqlalchemy import Connection, and_, delete, insert, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member, StoredSet
from tutor.classroom.roster.codes import is_personal_code, personal_code
from tutor.classroom.roster.names import same_name
from tutor.classroom.roster.tries import NAMES, Tries
from tutor.classroom.rows import sets_query, stored_set
from tutor.learner.record import hash_of, learner_row
from tutor.learner.tokens import renew
from tutor.store.database import Store
from tutor.store.tables import binding, class_browser, learner, member, practice_set

NO_MATCH = (
    "This name and this code do not match the class list. Compare both with your slip. If you have no slip, ask your "
    "instructor."
)
NO_MATCH_OF_NAMES = (
    "This name alone does not let you in. Compare it with the class list, or type your number. If you have used "
    "another device before, also type your personal code. Your instructor has it."
)
_NOBODY = "00" * 16  # a secret that is compared with where there is no such name, so that it takes as long


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

    def __init__(self, store: Store, practice_set: StoredSet) -> None:
        self._store, self._set = store, practice_set

    def member(self, token: str) -> Member | None:
        """The member that the learner is, or None before a name was taken."""
        with self._store.reading() as connection:
            return self._bound(connection, hash_of(token))

    def want_code(self, moment: datetime | None = None) -> bool:
        """Whether a name is taken first with the personal code: as this set says, or another of the class not closed.

        Whoever has a name has it in all sets of the class, so the strictest of them decides.
        """
        moment = moment or datetime.now(UTC)
        with self._store.reading() as connection:
            return self._want_code(connection, moment)

    def claim(
        self,
        token: str,
        name_or_number: str,
        personal: str = "",
        renewed: str | None = None,
        *,
        address: str = "",
        moment: datetime | None = None,
    ) -> Member:
        """Take a name of the roster, or the number, for the learner of a browser at an address.

        The browser is to hold `renewed` from now on.

        Raises ClassError if name and code do not fit together, while an address waits after wrong tries, and if this
        browser is another member already.
        """
        moment = moment or datetime.now(UTC)
        if not name_or_number.strip():
            raise ClassError("Nothing was typed. Type your name or your number as it stands on the class list.")
        tries = Tries(NAMES, address)
        with self._store.reading() as connection:  # most of a flood ends here, without a turn at writing
            _check_wait(tries, connection, moment)
            strict = self._want_code(connection, moment)

        def work(connection: Connection) -> Member | None:
            bound = self._bound(connection, hash_of(token))
            if bound is not None:
                return _check_same_member(bound, name_or_number)
            _check_wait(tries, connection, moment)
            claimant = self._fitting(connection, name_or_number, personal, strict)
            if claimant is None:
                tries.count(connection, moment)
                return None
            self._bind(connection, claimant, hash_of(token), moment)
            if renewed is not None:
                renew(connection, token, renewed)
            tries.entered(connection, moment)
            return claimant

        claimant = self._store.write(work)
        if claimant is None:
            raise ClassError(NO_MATCH if strict else NO_MATCH_OF_NAMES)
        return claimant

    def leave(self, token: str, renewed: str | None = None) -> None:
        """Be nobody on this device any more; the name stays taken, and its personal code lets the learner back in.

        The browser is to hold `renewed` from now on.
        """
        me = select(learner.c.id).where(learner.c.token_hash == hash_of(token)).scalar_subquery()
        membership = and_(binding.c.learner_id == me, binding.c.school_class_id == self._set.class_id)

        def work(connection: Connection) -> None:
            connection.execute(delete(binding).where(membership))
            if renewed is not None:
                renew(connection, token, renewed)

        self._store.write(work)

    def personal_code(self, claimant: Member) -> str:
        """What a member types on a further device; for the desk and for the member alone."""
        with self._store.reading() as connection:
            secret = connection.scalar(select(member.c.secret).where(member.c.id == claimant.id))
        if secret is None:
            raise ClassError("This name is not on the class list any more. Ask your instructor.")
        return personal_code(self._set.class_secret, secret)

    def _bound(self, connection: Connection, token_hash: str) -> Member | None:
        query = (
            select(member.c.id, member.c.name, member.c.number)
            .join_from(member, binding)
            .join(learner)
            .where(learner.c.token_hash == token_hash, binding.c.school_class_id == self._set.class_id)
        )
        row = connection.execute(query).mappings().first()
        return Member(**row) if row else None

    def _want_code(self, connection: Connection, moment: datetime) -> bool:
        rows = connection.execute(sets_query().where(practice_set.c.school_class_id == self._set.class_id)).mappings()
        sets = [
            stored for stored in map(stored_set, rows) if stored.id == self._set.id or stored.state(moment) != "closed"
        ]
        return any(stored.declaration.claim_with == "personal code" for stored in sets)

    def _fitting(self, connection: Connection, typed: str, personal: str, strict: bool) -> Member | None:
        """The one member whose name or number and code were typed; if not `strict`, a free name without a code too."""
        query = select(member).where(member.c.school_class_id == self._set.class_id)
        roster = connection.execute(query).all()
        numbered = [entry for entry in roster if same_name(entry.number, typed)]
        named = [entry for entry in roster if same_name(entry.name, typed)]  # looked for in any case: it takes as long
        candidates = numbered or named
        secrets = [entry.secret for entry in candidates] or [_NOBODY]
        fits = [is_personal_code(personal, self._set.class_secret, secret) for secret in secrets]
        matches = [entry for entry, fit in zip(candidates, fits, strict=False) if fit]
        if not strict and len(candidates) == 1 and candidates[0].claimed_at is None:
            matches = candidates
        return Member(id=matches[0].id, name=matches[0].name, number=matches[0].number) if len(matches) == 1 else None

    def _bind(self, connection: Connection, claimant: Member, token_hash: str, moment: datetime) -> None:
        owner = learner_row(connection, token_hash)
        row = {"learner_id": owner, "school_class_id": self._set.class_id, "member_id": claimant.id, "made_at": moment}
        connection.execute(insert(binding).values(row))
        of_class = {"learner_id": owner, "school_class_id": self._set.class_id}
        connection.execute(delete(class_browser).filter_by(**of_class))
        connection.execute(insert(class_browser).values(of_class))
        first = and_(member.c.id == claimant.id, member.c.claimed_at.is_(None))
        connection.execute(update(member).where(first).values(claimed_at=moment))


def _check_wait(tries: Tries, connection: Connection, moment: datetime) -> None:
    if seconds := tries.wait(connection, moment):
        raise ClassError(f"Too many tries did not match the class list. Wait {seconds} s, then try again.")


def _check_same_member(bound: Member, typed: str) -> Member:
    """The member that this browser is already. Raises ClassError if another name was typed."""
    if same_name(bound.name, typed) or same_name(bound.number, typed):
        return bound
    raise ClassError(f"On this device you are {bound.name or bound.number}. Leave that name first.")
