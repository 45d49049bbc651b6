"""The commands that open the desk: its passphrase, and a one-time code."""

import sys

import click

from tutor.classroom.commands.common import opened
from tutor.shell import store_option, told_plainly


@click.command()
@store_option
@told_plainly
def passphrase(store: str | None) -> None:
    """Set the passphrase of the class desk, typed or as the first line of standard input; ends all sessions."""
    from tutor.classroom.desk import Desk

    if sys.stdin.isatty():
        text = click.prompt("The new passphrase", hide_input=True, confirmation_prompt=True)
    else:
        text = sys.stdin.readline().rstrip("\r\n")
    with opened(store) as kept:
        Desk(kept).set_passphrase(text)
    click.echo("The passphrase is set.")


@click.command("desk-code")
@store_option
@told_plainly
def desk_code(store: str | None) -> None:
    """Print a one-time code that opens the class desk even while it makes people wait after wrong tries."""
    from tutor.classroom.desk import Desk

    with opened(store) as kept:
        desk = Desk(kept)
        code = desk.new_entry_code() if desk.has_passphrase() else ""
        first = "" if code else desk.new_set_up_code()
    if code:
        click.echo(f"{code}\nType it in the passphrase's box of the class desk. It is good once, for 10 minutes.")
    else:
        click.echo(f"{first}\nThe class desk has no passphrase yet. Set one there with this code, within a day.")
