"""The commands about the members of a class."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from tutor.classroom.commands.common import in_class, member_called, of_a_set, opened, to_file, write_file
from tutor.shell import confirm, json_option, print_json, say, store_option, told_plainly, yes_option

_who = click.argument("who", metavar="NAME-OR-NUMBER")


@click.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@in_class
@store_option
@json_option
@told_plainly
def roster(file: Path | None, class_name: str, store: str | None, as_json: bool) -> None:
    """Enter the members of a class from a table; without a file, list them with their personal codes."""
    from tutor.classroom.register import Register
    from tutor.classroom.roster import Roster, read_roster
    from tutor.classroom.spreadsheet import read_file

    read = read_roster(read_file(file)) if file is not None else Roster()
    with opened(store) as kept:
        register = Register(kept)
        entered = register.enter(read.members, class_name) if file is not None else None
        members = register.members(class_name)
        codes = register.personal_codes(class_name)
    faults = [*read.faults, *read.duplicates]
    if as_json:
        print_json(
            {
                "class": class_name,
                "new": len(entered.new) if entered else 0,
                "there": len(entered.there) if entered else 0,
                "renamed": len(entered.renamed) if entered else 0,
                "faults": [{"line": fault.line, "reason": fault.reason} for fault in faults],
                "members": [
                    {"name": one.name, "number": one.number, "personal_code": codes[one.id]} for one in members
                ],
            }
        )
        return
    for fault in sorted(faults, key=lambda fault: fault.line):
        say(str(fault), err=True)
    if entered is not None:
        click.echo(
            f"{len(entered.new)} new, {len(entered.there)} there already, {len(entered.renamed)} renamed; "
            f"{len(members)} in the class."
        )
        return
    if not members:
        click.echo(f"Nobody is on the roster of the class '{class_name}'.", err=True)
    for one in members:
        say(f"{codes[one.id]}  {one.number:12} {one.name}")


@click.command()
@of_a_set
@click.option("--address", required=True, help="The server's address, as http://school.example:8501.")
@to_file(required=True, of="The .html file to write.")
@told_plainly
def slips(which: str, class_name: str | None, store: str | None, address: str, out: Path) -> None:
    """Write slips to cut apart: each learner's link, the set's code and the personal code."""
    from tutor.classroom.addresses import origin_named
    from tutor.classroom.register import Register
    from tutor.classroom.sheets.slips import link
    from tutor.classroom.sheets.slips import slips as page_of_slips

    origin = origin_named(address)
    with opened(store) as kept:
        register = Register(kept)
        of = register.find(which, class_name)
        members, codes = register.members(of.class_name), register.personal_codes(of.class_name)
    write_file(out, page_of_slips(of, link(of, origin), members, codes).encode("utf-8", "replace"))


@click.command()
@of_a_set
@json_option
@told_plainly
def where(which: str, class_name: str | None, store: str | None, as_json: bool) -> None:
    """Tell who of the class is where in a set, and how it goes."""
    from tutor.classroom.live import live_lines
    from tutor.classroom.register import Register
    from tutor.classroom.results import Results

    with opened(store) as kept:
        of = Register(kept).find(which, class_name)
        results = Results(kept, of)
        there, outcomes = results.who_is_where(), results.outcomes()
    if as_json:
        print_json({"set": of.declaration.id, "class": of.class_name, "learners": _where_json(there, outcomes)})
        return
    rules = of.declaration
    for line in live_lines(there, outcomes, len(rules.places), rules.attempts, datetime.now(UTC)):
        say(line)


def _where_json(there: Any, outcomes: Any) -> list[dict[str, Any]]:
    return [
        {
            "name": one.member.name,
            "number": one.member.number,
            "place": one.place,
            "at": one.at.isoformat() if one.at else None,
            "last_answer": one.last_answer.isoformat() if one.last_answer else None,
            "problems": [
                {"place": outcome.handed.place, "code": outcome.handed.code, "state": outcome.state}
                for outcome in outcomes
                if outcome.handed.member.id == one.member.id
            ],
        }
        for one in there
    ]


@click.command("release-learner")
@_who
@in_class
@yes_option
@store_option
@told_plainly
def release_learner(who: str, class_name: str, yes: bool, store: str | None) -> None:
    """Let a learner's name be taken anew on any device, as when somebody took the wrong one. No work is lost."""
    from tutor.classroom.names import called
    from tutor.classroom.register import Register

    with opened(store) as kept:
        found = member_called(kept, class_name, who)
        confirm(f"Let the name {called(found)} be taken again, on any device, with a new personal code?", yes=yes)
        Register(kept).release(found.id)
    say(f"{called(found)} can be taken again; the personal code is another one now.")


@click.command("erase-learner")
@_who
@in_class
@yes_option
@store_option
@told_plainly
def erase_learner(who: str, class_name: str, yes: bool, store: str | None) -> None:
    """Erase all that is kept about a learner of a class: name, problems, answers, practice. It cannot be undone."""
    from tutor.classroom.names import called
    from tutor.classroom.register import Register

    with opened(store) as kept:
        found = member_called(kept, class_name, who)
        confirm(f"Erase all of {called(found)}, for good?", yes=yes)
        Register(kept).erase(found.id)
    click.echo("Erased.")
