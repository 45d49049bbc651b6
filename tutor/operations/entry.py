"""What opens the class desk: its passphrase, and a one-time code."""

import sys
from typing import TYPE_CHECKING

import click

from tutor.operations.command import CLASS_COMMANDS, STORE, operation

if TYPE_CHECKING:
    from tutor.store.database import Store


@operation(CLASS_COMMANDS, "passphrase", STORE)
def passphrase(store: "Store") -> str:
    """Set the passphrase of the class desk, typed or as the first line of standard input; ends all sessions."""
    from tutor.classroom.desk import InstructorAuth

    if sys.stdin.isatty():
        text = click.prompt("The new passphrase", hide_input=True, confirmation_prompt=True)
    else:
        text = sys.stdin.readline().rstrip("\r\n")
    InstructorAuth(store).set_passphrase(text)
    return "The passphrase is set."


@operation(CLASS_COMMANDS, "desk-code", STORE, lines=list)
def desk_code(store: "Store") -> tuple[str, str]:
    """Print a one-time code that opens the class desk even while it makes people wait after wrong tries."""
    from tutor.classroom.desk import InstructorAuth

    auth = InstructorAuth(store)
    if auth.has_passphrase():
        words = "Type it in the passphrase's box of the class desk. It is good once, for 10 minutes."
        return auth.new_entry_code(), words
    words = "The class desk has no passphrase yet. Set one there with this code, within a day."
    return auth.new_set_up_code(), words
