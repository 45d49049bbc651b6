"""The members of a class: entered, listed, looked at, released, erased; the slips with their codes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.operations.command import (
    CLASS_ADDED_TO,
    CLASS_COMMANDS,
    JSON,
    SET,
    STORE,
    YES,
    Note,
    operation,
    out_option,
)

if TYPE_CHECKING:
    from tutor.classroom.models import Member, Outcome, StoredSet
    from tutor.classroom.reports.results import Whereabouts
    from tutor.classroom.roster.register import Entered
    from tutor.classroom.spreadsheet import Fault
    from tutor.store.database import Store

_MEMBER_ASKED = (click.argument("who", metavar="NAME-OR-NUMBER"), CLASS_ADDED_TO, YES, STORE)


@dataclass(frozen=True)
class ClassList:
    """The members of a class with their personal codes by id; `entered` is what became of a file, if there was one."""

    class_name: str
    members: "Sequence[Member]"
    codes: dict[int, str]
    entered: "Entered | None"
    faults: "Sequence[Fault]"

    def as_json(self) -> Any:
        """The same, ready for JSON."""
        entered = self.entered
        return {
            "class": self.class_name,
            "new": len(entered.new) if entered else 0,
            "there": len(entered.present) if entered else 0,
            "renamed": len(entered.renamed) if entered else 0,
            "faults": [{"line": fault.line, "reason": fault.reason} for fault in self.faults],
            "members": [
                {"name": member.name, "number": member.number, "personal_code": self.codes[member.id]}
                for member in self.members
            ],
        }

    def lines(self) -> Iterator[str]:
        """The same in lines."""
        for fault in sorted(self.faults, key=lambda fault: fault.line):
            yield Note(fault)
        if entered := self.entered:
            yield (
                f"{len(entered.new)} new, {len(entered.present)} there already, {len(entered.renamed)} renamed; "
                f"{len(self.members)} in the class."
            )
            return
        if not self.members:
            yield Note(f"Nobody is on the roster of the class '{self.class_name}'.")
        for member in self.members:
            yield f"{self.codes[member.id]}  {member.number:12} {member.name}"


@operation(
    CLASS_COMMANDS,
    "roster",
    click.argument("table", metavar="[FILE]", type=click.Path(path_type=Path), required=False),
    CLASS_ADDED_TO,
    STORE,
    JSON,
    lines=ClassList.lines,
    as_json=ClassList.as_json,
)
def roster(store: "Store", data: bytes | None, class_name: str) -> ClassList:
    """Enter the members of a class from a table; without a file, list them with their personal codes."""
    from tutor.classroom.roster.register import Register
    from tutor.classroom.roster.tables import Roster, read_roster

    listed = Roster() if data is None else read_roster(data)
    register = Register(store)
    entered = None if data is None else register.enter(listed.members, class_name)
    codes = register.personal_codes(class_name)
    return ClassList(class_name, register.members(class_name), codes, entered, [*listed.faults, *listed.duplicates])


def name_cards(store: "Store", practice_set: "StoredSet", origin: str) -> str:
    """The slips of a class as a page; `origin` is that of the links, '' where there is none that leads anywhere."""
    from tutor.classroom.roster.register import Register
    from tutor.classroom.sheets.name_cards import link
    from tutor.classroom.sheets.name_cards import name_cards as name_cards_page

    register = Register(store)
    members, codes = register.members(practice_set.class_name), register.personal_codes(practice_set.class_name)
    return name_cards_page(practice_set, link(practice_set, origin) if origin else "", members, codes)


@operation(
    CLASS_COMMANDS,
    "slips",
    *SET,
    click.option("--address", required=True, help="The server's address, as http://school.example:8501."),
    *out_option(required=True, help="The .html file to write."),
)
def slips(store: "Store", practice_set: "StoredSet", address: str) -> bytes:
    """Write slips to cut apart: each learner's link, the set's code and the personal code."""
    from tutor.classroom.addresses import origin_named

    return name_cards(store, practice_set, origin_named(address)).encode("utf-8", "replace")


@dataclass(frozen=True)
class ClassView:
    """Where the learners of a class are in a set, and how it goes."""

    practice_set: "StoredSet"
    learners: "Sequence[Whereabouts]"
    outcomes: "Sequence[Outcome]"

    def as_json(self) -> Any:
        """The same, ready for JSON."""
        practice_set = self.practice_set
        learners = list(map(self._learner_json, self.learners))
        return {"set": practice_set.declaration.id, "class": practice_set.class_name, "learners": learners}

    def _learner_json(self, learner: "Whereabouts") -> Any:
        return {
            "name": learner.member.name,
            "number": learner.member.number,
            "place": learner.place,
            "at": learner.last_at.isoformat() if learner.last_at else None,
            "last_answer": learner.last_answer.isoformat() if learner.last_answer else None,
            "problems": [
                {"place": outcome.handed.place, "code": outcome.handed.code, "state": outcome.state}
                for outcome in self.outcomes
                if outcome.handed.member.id == learner.member.id
            ],
        }

    def lines(self) -> Iterator[str]:
        """The same in lines."""
        from tutor.classroom.reports.live import live_lines

        rules = self.practice_set.declaration
        return live_lines(self.learners, self.outcomes, len(rules.places), rules.attempts, datetime.now(UTC))


@operation(CLASS_COMMANDS, "where", *SET, JSON, lines=ClassView.lines, as_json=ClassView.as_json)
def where(store: "Store", practice_set: "StoredSet") -> ClassView:
    """Tell who of the class is where in a set, and how it goes."""
    from tutor.classroom.reports.results import Results

    results = Results(store, practice_set)
    return ClassView(practice_set, results.who_is_where(), results.outcomes())


def _called(member: "Member") -> str:
    from tutor.classroom.roster.names import called

    return called(member)


def _releasing(store: "Store", member: "Member") -> Sequence[str]:  # noqa: ARG001 (the arguments of the operation)
    return [f"Let the name {_called(member)} be taken again, on any device, with a new personal code?"]


@operation(CLASS_COMMANDS, "release-learner", *_MEMBER_ASKED, consequence=_releasing)
def release(store: "Store", member: "Member") -> str:
    """Let a learner's name be taken anew on any device, as when somebody took the wrong one. No work is lost."""
    from tutor.classroom.roster.register import Register

    Register(store).release(member.id)
    return f"{_called(member)} can be taken again; the personal code is another one now."


def _erasing(store: "Store", member: "Member") -> Sequence[str]:  # noqa: ARG001 (the arguments of the operation)
    return [f"Erase all of {_called(member)}, for good?"]


@operation(CLASS_COMMANDS, "erase-learner", *_MEMBER_ASKED, consequence=_erasing)
def erase(store: "Store", member: "Member") -> str:
    """Erase all that is kept about a learner of a class: name, problems, answers, practice. It cannot be undone."""
    from tutor.classroom.roster.register import Register

    Register(store).erase(member.id)
    return "Erased."
