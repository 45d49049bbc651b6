"""The command that sets the desk's passphrase."""

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
