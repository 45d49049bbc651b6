"""The roster of a class, from a table as spreadsheet programs save it."""

from dataclasses import dataclass, field, replace

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member
from tutor.classroom.roster.names import Roll
from tutor.classroom.roster.register import LONGEST_NAME
from tutor.classroom.spreadsheet import Fault, decoded, rows

MOST_MEMBERS = 5000
_COLUMNS = {
    "name": ["full name", "learner", "student", "pupil", "participant", "names"],
    "number": ["no", "no.", "id", "student number", "learner number", "student id", "learner id", "roll number"],
    "first": ["first name", "given name", "forename"],
    "last": ["last name", "family name", "surname"],
}


@dataclass(frozen=True)
class Roster:
    """The members of a roster (ids 0), the lines that could not be used, and those that repeat an earlier one."""

    members: list[Member] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    duplicates: list[Fault] = field(default_factory=list)


def read_roster(data: bytes) -> Roster:
    """Read a roster with a column 'name' (or 'first name' and 'last name'), 'number', or both.

    Raises ClassError for a file that is no table or names neither column.
    """
    roster = Roster()
    roll = Roll()
    for row in rows(decoded(data), _COLUMNS, roster.faults):
        if not row.cells.keys() & _COLUMNS.keys():
            listed = ", ".join(f"'{name[:40]}'" for name in row.cells)
            raise ClassError(f"No column is called 'name' or 'number'; there are {listed}. Name them in the first row.")
        parts = [row.cells.get("first", ""), row.cells.get("last", "")]
        member = Member(
            id=0, name=row.cells.get("name") or " ".join(filter(None, parts)), number=row.cells.get("number", "")
        )
        if not member.name and not member.number:
            roster.faults.append(Fault(row.line, "neither a name nor a number. Fill in one of the two."))
        elif max(len(member.name), len(member.number)) > LONGEST_NAME:
            roster.faults.append(Fault(row.line, f"a name longer than {LONGEST_NAME} characters. Shorten it."))
        elif (earlier := roll.find_member(member)) is not None:
            name = member.name or member.number
            roster.duplicates.append(Fault(row.line, f"'{name}' stands on line {earlier.id} already; it was left out."))
        else:
            roll.add(replace(member, id=row.line))
            roster.members.append(member)
        if len(roster.members) > MOST_MEMBERS:
            raise ClassError(f"The roster has more than {MOST_MEMBERS} members. Split it into classes.")
    return roster
