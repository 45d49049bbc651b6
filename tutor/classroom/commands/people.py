"""The commands about the members of a class."""

from pathlib import Path

import click

from tutor.classroom.commands.common import in_class, opened
from tutor.shell import Fault, json_option, print_json, store_option, told_plainly


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
        click.echo(str(fault), err=True)
    if entered is not None:
        click.echo(
            f"{len(entered.new)} new, {len(entered.there)} there already, {len(entered.renamed)} renamed; "
            f"{len(members)} in the class."
        )
        return
    for one in members:
        click.echo(f"{codes[one.id]}  {one.number:12} {one.name}")


@click.command("erase-learner")
@click.argument("who", metavar="NAME-OR-NUMBER")
@in_class
@click.option("--yes", is_flag=True, help="Do not ask.")
@store_option
@told_plainly
def erase_learner(who: str, class_name: str, yes: bool, store: str | None) -> None:
    """Erase all that is kept about a learner of a class: name, problems, answers, practice. It cannot be undone."""
    from tutor.classroom.names import same_name
    from tutor.classroom.register import Register

    with opened(store) as kept:
        register = Register(kept)
        members = register.members(class_name)
        found = [one for one in members if one.number and same_name(one.number, who)]
        found = found or [one for one in members if same_name(one.name, who)]
        if len(found) != 1:
            raise Fault(
                f"{'Several are' if found else 'Nobody is'} called '{who[:60]}' in the class '{class_name}'. "
                "Give the number, or see 'coldmorning roster'."
            )
        if not yes:
            click.confirm(f"Erase all of {found[0].name or found[0].number}, for good?", abort=True)
        register.erase(found[0].id)
    click.echo("Erased.")
