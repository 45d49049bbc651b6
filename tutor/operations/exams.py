"""The exam switch."""

from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from tutor.operations.command import CLASS, JSON, STORE, operation
from tutor.operations.sets import set_json
from tutor.operations.shell import Commands

if TYPE_CHECKING:
    from tutor.classroom.models import StoredSet
    from tutor.classroom.sets.exams import Switch
    from tutor.store.database import Store


@click.group("exam", cls=Commands)
def exam() -> None:
    """The exam switch: while it is on, an open exam's exercises are closed to everybody on this server."""


class SwitchState(NamedTuple):
    """The switch (None while it is off), and how it stands in words."""

    switch: "Switch | None"
    words: str


def _state_json(state: SwitchState) -> Any:
    switch = state.switch
    return {
        "on": switch is not None,
        "on_at": switch.on_at.isoformat() if switch else None,
        "all_exams": switch is not None and switch.set_id is None,
        "set": set_json(switch.practice_set) if switch and switch.practice_set else None,
    }


_exam_operation = partial(operation, exam, lines=lambda state: [state.words], as_json=_state_json)


@_exam_operation("on", click.argument("set_name", metavar="[SET]", required=False), CLASS, STORE, JSON)
def turn_on(store: "Store", practice_set: "StoredSet | None") -> SwitchState:
    """Turn it on for a set, or for all sets that are marked when they close."""
    from tutor.classroom.sets.exams import Exams

    Exams(store).turn_on(practice_set)
    return state(store)


@_exam_operation("off", STORE, JSON)
def turn_off(store: "Store") -> SwitchState:
    """Turn it off."""
    from tutor.classroom.sets.exams import Exams

    Exams(store).turn_off()
    return state(store)


@_exam_operation("state", STORE, JSON)
def state(store: "Store") -> SwitchState:
    """Say whether it is on, and for which set."""
    from tutor.classroom.sets.exams import Exams

    exams = Exams(store)
    return SwitchState(exams.switch(), exams.switch_words())
