"""The commands of the exam switch."""

from typing import TYPE_CHECKING

import click

from tutor.classroom.commands.common import class_option, opened, set_json
from tutor.shell import Commands, json_option, print_json, say, store_option, told_plainly

if TYPE_CHECKING:
    from tutor.classroom.exams import Exams


@click.group("exam", cls=Commands)
def exam() -> None:
    """The exam switch: while it is on, an open exam's exercises are closed to everybody on this server."""


@exam.command("on")
@click.argument("which", metavar="[SET]", required=False)
@class_option
@store_option
@json_option
@told_plainly
def on(which: str | None, class_name: str | None, store: str | None, as_json: bool) -> None:
    """Turn it on for a set, or for all sets that are marked when they close."""
    from tutor.classroom.exams import Exams
    from tutor.classroom.register import Register

    with opened(store) as kept:
        Exams(kept).turn_on(Register(kept).find(which, class_name) if which else None)
        _print_switch(Exams(kept), as_json)


@exam.command("off")
@store_option
@json_option
@told_plainly
def off(store: str | None, as_json: bool) -> None:
    """Turn it off."""
    from tutor.classroom.exams import Exams

    with opened(store) as kept:
        Exams(kept).turn_off()
        _print_switch(Exams(kept), as_json)


@exam.command()
@store_option
@json_option
@told_plainly
def state(store: str | None, as_json: bool) -> None:
    """Say whether it is on, and for which set."""
    from tutor.classroom.exams import Exams

    with opened(store) as kept:
        _print_switch(Exams(kept), as_json)


def _print_switch(exams: "Exams", as_json: bool) -> None:
    switch = exams.switch()
    if not as_json:
        say(exams.switch_words())
        return
    print_json(
        {
            "on": switch is not None,
            "on_at": switch.on_at.isoformat() if switch else None,
            "all_exams": switch is not None and switch.set_id is None,
            "set": set_json(switch.of) if switch and switch.of else None,
        }
    )
