"""The commands `report` and `export`: a set's report and its files, from the shell.

A request that cannot be met raises FaultyRequestError; the program that these are attached to tells it in one line.
"""

# ruff: noqa: PLC0415 - a command imports what it needs, so that each starts fast

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.errors import FaultyRequestError

if TYPE_CHECKING:
    from tutor.classroom.exports.xapi import Told
    from tutor.classroom.models import Outcome, StoredSet
    from tutor.store.database import Store

PASSWORD = "COLDMORNING_RECORD_STORE_PASSWORD"  # the name of the variable, no password

_store = click.option("--store", help="Where work is kept: a file or a database URL.")
_class = click.option("--class", "class_name", help="The class, where several have a set of this name.")
_content = click.option(
    "--content", type=click.Path(path_type=Path), help="A folder with exercises/ and lessons/ of your own."
)
_to_file = click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="The file to write.")
_must_file = click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), required=True, help="The file to write."
)


class UnwritableError(FaultyRequestError):
    """A file cannot be written."""


def _of_a_set(command: Callable[..., Any]) -> Callable[..., Any]:
    """The argument and the options that say which set is meant."""
    for option in (click.argument("set_name", metavar="SET"), _class, _store):
        command = option(command)
    return command


@click.command()
@_of_a_set
@_content
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def report(set_name: str, class_name: str | None, store: str | None, content: Path | None, as_json: bool) -> None:
    """Tell how a class did: the places, the mistakes, the learners."""
    from tutor.classroom.report import class_report
    from tutor.classroom.report_words import report_lines
    from tutor.engine.declaration import load_proved
    from tutor.engine.question import Engine

    engine = Engine(load_proved(content))
    with _opened(set_name, class_name, store) as (of, outcomes, _):
        made = class_report(of.declaration, outcomes, engine, closed=_is_closed(of))
    if as_json:
        click.echo(json.dumps(made.as_json(), ensure_ascii=False, indent=2))
        return
    for line in report_lines(made):
        click.echo(line)


@click.group()
def export() -> None:
    """Write a class's work for other programs."""


@export.command()
@_of_a_set
@_to_file
@click.option("--semicolons", is_flag=True, help="Separate by semicolons, as spreadsheets in many countries expect.")
@click.option("--no-bom", is_flag=True, help="Leave the byte order mark out.")
def gradebook(
    set_name: str, class_name: str | None, store: str | None, out: Path | None, semicolons: bool, no_bom: bool
) -> None:
    """Write the gradebook as CSV."""
    from tutor.classroom.exports.gradebook import gradebook as written

    with _opened(set_name, class_name, store) as (of, outcomes, _):
        data = written(outcomes, bom=not no_bom, separator=";" if semicolons else ",", closed=_is_closed(of))
        _write(out, data)


@export.command()
@_of_a_set
@_must_file
@click.option("--school-id", required=True, help="The school's sourcedId.")
@click.option("--class-id", required=True, help="The class's sourcedId.")
@click.option("--category-id", required=True, help="The sourcedId of the category that the result counts in.")
@click.option("--session-id", required=True, help="The academic session's sourcedId.")
def oneroster(set_name: str, class_name: str | None, store: str | None, out: Path, **ids: str) -> None:
    """Write the results as a OneRoster 1.2 archive."""
    from datetime import UTC, datetime

    from tutor.classroom.exports.oneroster import SchoolIds
    from tutor.classroom.exports.oneroster import oneroster as written

    named = SchoolIds(
        school=ids["school_id"], class_=ids["class_id"], category=ids["category_id"], session=ids["session_id"]
    )
    with _opened(set_name, class_name, store) as (of, outcomes, _):
        _write(out, written(of.declaration, outcomes, named, now=datetime.now(UTC), closed=_is_closed(of)))


@export.command()
@_of_a_set
@_must_file
@_content
@click.option("--version", type=click.Choice(["2.1", "3.0"]), default="2.1", help="The version of the standard.")
@click.option("--variants", type=click.IntRange(1, 200), default=10, help="How many variants of each problem.")
def qti(
    set_name: str,
    class_name: str | None,
    store: str | None,
    out: Path,
    content: Path | None,
    version: Any,
    variants: int,
) -> None:
    """Write variants of the set's problems, none of them a learner's own, as a QTI package."""
    from tutor.classroom.exports.qti.package import package, variants_of
    from tutor.engine.declaration import load_proved
    from tutor.engine.question import Engine

    engine = Engine(load_proved(content))
    with _opened(set_name, class_name, store) as (of, _, _):
        problems = variants_of(engine, of.declaration, variants, of.secret)
        _write(out, package(of.declaration, problems, version))


@export.command()
@_of_a_set
@_to_file
@click.option("--home", required=True, help="The school's address, under which learners and problems are named.")
@click.option("--send-to", help="The address of a record store, to send the statements to it.")
@click.option("--user", default="", help=f"The user at the record store; the password is taken from ${PASSWORD}.")
@click.option("--version", type=click.Choice(["1.0.3", "2.0.0"]), default="1.0.3", help="The record store's version.")
@click.option("--refused-again", is_flag=True, help="Send once more what the record store refused earlier.")
def xapi(
    set_name: str,
    class_name: str | None,
    store: str | None,
    out: Path | None,
    home: str,
    send_to: str | None,
    user: str,
    version: Any,
    refused_again: bool,
) -> None:
    """Write the answers as xAPI statements, a JSON line each, or send them to a record store."""
    from tutor.classroom.exports.xapi import lines, statements

    with _opened(set_name, class_name, store) as (of, outcomes, opened):
        told = statements(of.declaration, outcomes, home, closed=_is_closed(of))
        if send_to is None:
            _write(out, "".join(f"{line}\n" for line in lines(told)).encode())
            return
        _send(told, opened, send_to, user, version, refused_again=refused_again)


@export.command()
@click.argument("learner")
@click.option("--class", "class_name", default="class", show_default=True, help="The learner's class.")
@_store
@_to_file
def person(learner: str, class_name: str, store: str | None, out: Path | None) -> None:
    """Write everything that is kept about one LEARNER, named by number or name, as JSON."""
    from tutor.classroom.exports.person import person as everything
    from tutor.classroom.register import Register
    from tutor.store.database import Store

    opened = Store.open(store)
    try:
        members = Register(opened).members(class_name)
        fitting = [one for one in members if learner == one.number] or [one for one in members if learner == one.name]
        if len(fitting) != 1:
            there = "Several are" if fitting else "Nobody is"
            raise UnwritableError(f"{there} called '{learner[:60]}' in the class '{class_name}'. Give the number.")
        told = json.dumps(everything(opened, fitting[0].id), ensure_ascii=False, indent=2)
    finally:
        opened.close()
    _write(out, f"{told}\n".encode("utf-8", "replace"))


def _send(told: "list[Told]", store: "Store", url: str, user: str, version: Any, *, refused_again: bool) -> None:
    from tutor.classroom.exports.outbox import Outbox
    from tutor.classroom.exports.record_store import RecordStore

    outbox = Outbox(store)
    outbox.put(told)
    if refused_again:
        outbox.try_refused_again()
    delivery = RecordStore(url, user, os.environ.get(PASSWORD, ""), version=version).deliver(outbox)
    click.echo(f"Sent: {delivery.sent} statements.")
    for id_, reason in delivery.refused:
        click.echo(f"Refused: {id_}: {reason}", err=True)
    if delivery.refused:
        sys.exit(1)


@contextmanager
def _opened(
    set_name: str, class_name: str | None, store: str | None
) -> "Iterator[tuple[StoredSet, list[Outcome], Store]]":
    """A set by its name or code, its outcomes, and the store while it is open."""
    from tutor.classroom.register import Register
    from tutor.classroom.results import Results
    from tutor.store.database import Store

    opened = Store.open(store)
    try:
        of = Register(opened).find(set_name, class_name)
        yield of, Results(opened, of).outcomes(), opened
    finally:
        opened.close()


def _is_closed(of: "StoredSet") -> bool:
    from datetime import UTC, datetime

    return of.state(datetime.now(UTC)) == "closed"


def _write(out: Path | None, data: bytes) -> None:
    """Write a file whole or not at all; without one, to the standard output."""
    if out is None:
        click.echo(data, nl=False)
        return
    half = out.with_name(f".{out.name}.half")
    try:
        half.write_bytes(data)
        half.replace(out)
    except OSError as error:
        half.unlink(missing_ok=True)
        raise UnwritableError(f"{out} cannot be written ({error.strerror}). Name another file.") from error
    click.echo(f"Written: {out}", err=True)
