"""What the commands of the class share: the store, the engine, a set by its name, progress."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.shell import Fault, Output, may_replace, replace_option, store_option

if TYPE_CHECKING:
    from tutor.classroom.models import Member, StoredSet
    from tutor.engine.question import Engine
    from tutor.store.database import Store

class_option = click.option("--class", "class_name", help="The class; needed where several have such a set.")


def in_class(command: Callable[..., Any]) -> Callable[..., Any]:
    """The option for a class that a command adds to."""
    return click.option("--class", "class_name", default="class", show_default=True, help="The class.")(command)


def of_a_set(command: Callable[..., Any]) -> Callable[..., Any]:
    """The argument and options that say which set is meant."""
    for option in (click.argument("which", metavar="SET"), class_option, store_option):
        command = option(command)
    return command


def to_file(*, required: bool, of: str = "The file to write.") -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """The options that name the file that a command writes; without one it prints, where that is not required."""

    def options(command: Callable[..., Any]) -> Callable[..., Any]:
        out = click.option("--out", type=Output(or_print=not required), required=required, help=of)
        return replace_option(out(command))

    return options


@contextmanager
def opened(store: str | None) -> Iterator["Store"]:
    """The store that a command, or the program before it, was given."""
    from tutor.store.database import Store

    root = click.get_current_context().find_root()
    found = Store.open(store or root.params.get("store"))
    try:
        yield found
    finally:
        found.close()


def engine_of(content: Path | None) -> "Engine":
    """The engine over the built-in content and a folder of one's own."""
    from tutor.engine.declaration import load_proved
    from tutor.engine.question import Engine

    return Engine(load_proved(content))


def member_called(store: "Store", class_name: str, who: str) -> "Member":
    """The one member of a class with that number or name. Raises Fault if there is none, or several."""
    from tutor.classroom.names import same_name
    from tutor.classroom.register import Register

    members = Register(store).members(class_name)
    found = [one for one in members if one.number and same_name(one.number, who)]
    found = found or [one for one in members if same_name(one.name, who)]
    if len(found) != 1:
        raise Fault(
            f"{'Several are' if found else 'Nobody is'} called '{who[:60]}' in the class '{class_name}'. "
            "Give the number, or see 'coldmorning roster'."
        )
    return found[0]


def write_file(file: Path, data: bytes) -> None:
    """Write a file whole or not at all. Raises OutputError if it cannot or must not be written."""
    from tutor.whole_file import whole_file

    with whole_file(file, replace=may_replace()) as whole:
        whole.write(data)
    click.echo(f"Written: {file}", err=True)


def set_json(of: "StoredSet") -> dict[str, Any]:
    """A set as commands print it."""
    from datetime import UTC, datetime

    rules = of.declaration
    return {
        "id": rules.id,
        "class": of.class_name,
        "title": rules.title,
        "code": of.code,
        "state": of.state(datetime.now(UTC)),
        "problems": len(rules.places),
        "opens": rules.opens.isoformat() if rules.opens else None,
        "closes": rules.closes.isoformat() if rules.closes else None,
        "claim_with": rules.claim_with,
        "closed_at": of.closed_at.isoformat() if of.closed_at else None,
    }


@contextmanager
def told_progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """A line on standard error that says how far the work is, where a person looks on."""
    if not sys.stderr.isatty():
        yield lambda _done, _of: None
        return
    yield partial(_tell, label)
    click.echo("", err=True)


def _tell(label: str, done: int, of: int) -> None:
    click.echo(f"\r{label}: {done} of {of}", nl=False, err=True)
