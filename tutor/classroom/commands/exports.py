"""The commands `report` and `export`: a set's report and its files, from the shell."""

import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.classroom.commands.common import engine_of, member_called, of_a_set, opened, to_file, write_file
from tutor.shell import Fault, content_option, json_option, print_json, say, store_option, told_plainly

if TYPE_CHECKING:
    from tutor.classroom.exports.xapi import Told
    from tutor.classroom.models import Outcome, StoredSet
    from tutor.classroom.report import ClassReport
    from tutor.store.database import Store

PASSWORD = "COLDMORNING_RECORD_STORE_PASSWORD"  # the name of the variable, no password

_to_file = to_file(required=False)
_must_file = to_file(required=True)


@click.command()
@of_a_set
@click.option("--follow-up", type=click.IntRange(min=1), help="Write the follow-up set on this mistake of the list.")
@_to_file
@content_option
@json_option
@told_plainly
def report(
    which: str,
    class_name: str | None,
    store: str | None,
    follow_up: int | None,
    out: Path | None,
    content: Path | None,
    as_json: bool,
) -> None:
    """Tell how a class did: the places, the mistakes, the learners; or write a set on one of the mistakes."""
    from tutor.classroom.report import class_report
    from tutor.classroom.report_words import report_lines

    engine = engine_of(content)
    with _worked(which, class_name, store) as (of, outcomes, _):
        made = class_report(of.declaration, outcomes, engine, closed=_is_closed(of))
    if follow_up is not None:
        _write(out, _follow_up(made, follow_up))
        return
    if out is not None:
        raise Fault("--out takes the set that --follow-up makes. Give both, or send the report itself on with '>'.")
    if as_json:
        print_json(made.as_json())
        return
    for line in report_lines(made):
        say(line)


def _follow_up(made: "ClassReport", at: int) -> bytes:
    from tutor.classroom.sets import written_set

    if at > len(made.mistakes):
        raise Fault(f"The report lists {len(made.mistakes)} mistakes; there is no number {at}.")
    return written_set(made.mistakes[at - 1].follow_up).encode()


@click.group()
def export() -> None:
    """Write a class's work for other programs."""


@export.command()
@of_a_set
@_to_file
@click.option("--semicolons", is_flag=True, help="Separate by semicolons, as spreadsheets in many countries expect.")
@click.option("--no-bom", is_flag=True, help="Leave the byte order mark out.")
@told_plainly
def gradebook(
    which: str, class_name: str | None, store: str | None, out: Path | None, semicolons: bool, no_bom: bool
) -> None:
    """Write the gradebook as CSV."""
    from tutor.classroom.exports.gradebook import gradebook as written

    with _worked(which, class_name, store) as (of, outcomes, _):
        data = written(outcomes, bom=not no_bom, separator=";" if semicolons else ",", closed=_is_closed(of))
        _write(out, data)


@export.command()
@of_a_set
@_must_file
@click.option("--school-id", required=True, help="The school's sourcedId.")
@click.option("--class-id", required=True, help="The class's sourcedId.")
@click.option("--category-id", required=True, help="The sourcedId of the category that the result counts in.")
@click.option("--session-id", required=True, help="The academic session's sourcedId.")
@told_plainly
def oneroster(which: str, class_name: str | None, store: str | None, out: Path, **ids: str) -> None:
    """Write the results as a OneRoster 1.2 archive."""
    from datetime import UTC, datetime

    from tutor.classroom.exports.oneroster import SchoolIds
    from tutor.classroom.exports.oneroster import oneroster as written

    named = SchoolIds(
        school=ids["school_id"], class_=ids["class_id"], category=ids["category_id"], session=ids["session_id"]
    )
    with _worked(which, class_name, store) as (of, outcomes, _):
        _write(out, written(of.declaration, outcomes, named, now=datetime.now(UTC), closed=_is_closed(of)))


@export.command()
@of_a_set
@_must_file
@content_option
@click.option("--version", type=click.Choice(["2.1", "3.0"]), default="2.1", help="The version of the standard.")
@click.option("--variants", type=click.IntRange(1, 200), default=10, help="How many variants of each problem.")
@told_plainly
def qti(
    which: str,
    class_name: str | None,
    store: str | None,
    out: Path,
    content: Path | None,
    version: Any,
    variants: int,
) -> None:
    """Write variants of the set's problems, none of them a learner's own, as a QTI package."""
    from tutor.classroom.exports.qti.package import package, variants_of

    engine = engine_of(content)
    with _worked(which, class_name, store) as (of, _, _):
        problems = variants_of(engine, of.declaration, variants, of.secret)
        _write(out, package(of.declaration, problems, version))


@export.command()
@of_a_set
@_to_file
@click.option("--home", required=True, help="The school's address, under which learners and problems are named.")
@click.option("--send-to", help="The address of a record store, to send the statements to it.")
@click.option("--user", default="", help=f"The user at the record store; the password is taken from ${PASSWORD}.")
@click.option("--version", type=click.Choice(["1.0.3", "2.0.0"]), default="1.0.3", help="The record store's version.")
@click.option("--refused-again", is_flag=True, help="Send once more what the record store refused earlier.")
@told_plainly
def xapi(
    which: str,
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

    with _worked(which, class_name, store) as (of, outcomes, kept):
        told = statements(of.declaration, outcomes, home, closed=_is_closed(of))
        if send_to is None:
            _write(out, "".join(f"{line}\n" for line in lines(told)).encode())
            return
        _send(told, kept, send_to, user, version, refused_again=refused_again)


@export.command()
@click.argument("learner")
@click.option("--class", "class_name", default="class", show_default=True, help="The learner's class.")
@store_option
@_to_file
@told_plainly
def person(learner: str, class_name: str, store: str | None, out: Path | None) -> None:
    """Write everything that is kept about one LEARNER, named by number or name, as JSON."""
    from tutor.classroom.exports.person import person as everything

    with opened(store) as kept:
        found = member_called(kept, class_name, learner)
        told = json.dumps(everything(kept, found.id), ensure_ascii=False, indent=2)
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
        say(f"Refused: {id_}: {reason}", err=True)
    if delivery.refused:
        sys.exit(1)


@contextmanager
def _worked(
    which: str, class_name: str | None, store: str | None
) -> "Iterator[tuple[StoredSet, list[Outcome], Store]]":
    """A set by its name or code, its outcomes, and the store while it is open."""
    from tutor.classroom.register import Register
    from tutor.classroom.results import Results

    with opened(store) as kept:
        of = Register(kept).find(which, class_name)
        yield of, Results(kept, of).outcomes(), kept


def _is_closed(of: "StoredSet") -> bool:
    from datetime import UTC, datetime

    return of.state(datetime.now(UTC)) == "closed"


def _write(out: Path | None, data: bytes) -> None:
    """To the file; without one, to the standard output."""
    if out is None:
        click.echo(data, nl=False)
    else:
        write_file(out, data)
