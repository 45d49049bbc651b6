"""The report of a set, and its files for other programs."""

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from tutor.operations.command import (
    CLASS_COMMANDS,
    CONTENT,
    JSON,
    SET,
    STORE,
    Note,
    operation,
    out_option,
)
from tutor.operations.shell import Fault

if TYPE_CHECKING:
    from tutor.classroom.exports.qti.elements import Version
    from tutor.classroom.exports.record_store import Delivery
    from tutor.classroom.exports.record_store import Version as StatementVersion
    from tutor.classroom.models import Member, Outcome, StoredSet
    from tutor.classroom.reports.report import ClassReport
    from tutor.problems.question import Engine
    from tutor.store.database import Store

PASSWORD = "COLDMORNING_RECORD_STORE_PASSWORD"  # the name of the variable, no password

_OUT_OR_PRINT = out_option(required=False)
_OUT = out_option(required=True)


def outcomes_of(store: "Store", practice_set: "StoredSet") -> "list[Outcome]":
    """How everybody stands with a set."""
    from tutor.classroom.reports.results import Results

    return Results(store, practice_set).outcomes()


def is_closed(practice_set: "StoredSet") -> bool:
    """Whether what is open stays unanswered."""
    return practice_set.state(datetime.now(UTC)) == "closed"


def class_report_of(engine: "Engine", practice_set: "StoredSet", outcomes: "Sequence[Outcome]") -> "ClassReport":
    """How a class did with a set."""
    from tutor.classroom.reports.report import class_report

    return class_report(practice_set.declaration, outcomes, engine, closed=is_closed(practice_set))


def _check_follow_up(typed: Mapping[str, Any]) -> None:
    if typed["follow_up"] is None and typed["out"] is not None:
        raise Fault("--out takes the set that --follow-up makes. Give both, or send the report itself on with '>'.")


def _report_lines(report: "ClassReport") -> Iterator[str]:
    from tutor.classroom.reports.report_words import report_lines

    return report_lines(report)


@operation(
    CLASS_COMMANDS,
    "report",
    *SET,
    click.option(
        "--follow-up", type=click.IntRange(min=1), help="Write the follow-up set on this mistake of the list."
    ),
    *_OUT_OR_PRINT,
    CONTENT,
    JSON,
    lines=_report_lines,
    as_json=lambda report: report.as_json(),
    check=_check_follow_up,
)
def report(store: "Store", engine: "Engine", practice_set: "StoredSet", follow_up: int | None) -> "ClassReport | bytes":
    """Tell how a class did: the places, the mistakes, the learners; or write a set on one of the mistakes."""
    from tutor.classroom.sets.set_files import written_set

    class_report = class_report_of(engine, practice_set, outcomes_of(store, practice_set))
    if follow_up is None:
        return class_report
    if follow_up > len(class_report.mistakes):
        raise Fault(f"The report lists {len(class_report.mistakes)} mistakes; there is no number {follow_up}.")
    return written_set(class_report.mistakes[follow_up - 1].follow_up).encode()


@click.group()
def export() -> None:
    """Write a class's work for other programs."""


@operation(
    export,
    "gradebook",
    *SET,
    *_OUT_OR_PRINT,
    click.option(
        "--semicolons", is_flag=True, help="Separate by semicolons, as spreadsheets in many countries expect."
    ),
    click.option("--no-bom", is_flag=True, help="Leave the byte order mark out."),
)
def gradebook(store: "Store", practice_set: "StoredSet", semicolons: bool, no_bom: bool = False) -> bytes:
    """Write the gradebook as CSV."""
    from tutor.classroom.exports.gradebook import gradebook as written

    outcomes, closed = outcomes_of(store, practice_set), is_closed(practice_set)
    return written(outcomes, bom=not no_bom, separator=";" if semicolons else ",", closed=closed)


@operation(
    export,
    "oneroster",
    *SET,
    *_OUT,
    click.option("--school-id", required=True, help="The school's sourcedId."),
    click.option("--class-id", required=True, help="The class's sourcedId."),
    click.option("--category-id", required=True, help="The sourcedId of the category that the result counts in."),
    click.option("--session-id", required=True, help="The academic session's sourcedId."),
)
def oneroster(
    store: "Store", practice_set: "StoredSet", school_id: str, class_id: str, category_id: str, session_id: str
) -> bytes:
    """Write the results as a OneRoster 1.2 archive."""
    from tutor.classroom.exports.oneroster import SchoolIds
    from tutor.classroom.exports.oneroster import oneroster as written

    ids = SchoolIds(school=school_id, class_=class_id, category=category_id, session=session_id)
    outcomes, closed = outcomes_of(store, practice_set), is_closed(practice_set)
    return written(practice_set.declaration, outcomes, ids, moment=datetime.now(UTC), closed=closed)


@operation(
    export,
    "qti",
    *SET,
    *_OUT,
    CONTENT,
    click.option("--version", type=click.Choice(["2.1", "3.0"]), default="2.1", help="The version of the standard."),
    click.option("--variants", type=click.IntRange(1, 200), default=10, help="How many variants of each problem."),
)
def qti(engine: "Engine", practice_set: "StoredSet", version: "Version", variants: int) -> bytes:
    """Write variants of the set's problems, none of them a learner's own, as a QTI package."""
    from tutor.classroom.exports.qti.package import package, variants_of

    problems = variants_of(engine, practice_set.declaration, variants, practice_set.secret)
    return package(practice_set.declaration, problems, version)


def statement_lines(practice_set: "StoredSet", outcomes: "Sequence[Outcome]", home: str) -> bytes:
    """The answers as xAPI statements, a JSON line each. Raises HomeError for what is no school's address."""
    from tutor.classroom.exports.xapi import lines, statements

    statements_made = statements(practice_set.declaration, outcomes, home, closed=is_closed(practice_set))
    return "".join(f"{line}\n" for line in lines(statements_made)).encode()


def _delivery_lines(delivery: "Delivery") -> Iterator[str]:
    yield f"Sent: {delivery.sent} statements."
    for id_, reason in delivery.refused:
        yield Note(f"Refused: {id_}: {reason}")
    if delivery.refused:
        raise click.exceptions.Exit(1)


@operation(
    export,
    "xapi",
    *SET,
    *_OUT_OR_PRINT,
    click.option("--home", required=True, help="The school's address, under which learners and problems are named."),
    click.option("--send-to", help="The address of a record store, to send the statements to it."),
    click.option("--user", default="", help=f"The user at the record store; the password is taken from ${PASSWORD}."),
    click.option(
        "--version", type=click.Choice(["1.0.3", "2.0.0"]), default="1.0.3", help="The record store's version."
    ),
    click.option("--refused-again", is_flag=True, help="Send once more what the record store refused earlier."),
    lines=_delivery_lines,
)
def xapi(
    store: "Store",
    practice_set: "StoredSet",
    home: str,
    send_to: str | None,
    user: str,
    version: "StatementVersion",
    refused_again: bool,
) -> "bytes | Delivery":
    """Write the answers as xAPI statements, a JSON line each, or send them to a record store."""
    from tutor.classroom.exports.outbox import Outbox
    from tutor.classroom.exports.record_store import RecordStore
    from tutor.classroom.exports.xapi import statements

    outcomes = outcomes_of(store, practice_set)
    if send_to is None:
        return statement_lines(practice_set, outcomes, home)
    outbox = Outbox(store)
    outbox.keep_statements(statements(practice_set.declaration, outcomes, home, closed=is_closed(practice_set)))
    if refused_again:
        outbox.try_refused_again()
    return RecordStore(send_to, user, os.environ.get(PASSWORD, ""), version=version).deliver(outbox)


@operation(
    export,
    "person",
    click.argument("who", metavar="LEARNER"),
    click.option("--class", "class_name", default="class", show_default=True, help="The learner's class."),
    STORE,
    *_OUT_OR_PRINT,
)
def person(store: "Store", member: "Member") -> bytes:
    """Write everything that is kept about one LEARNER, named by number or name, as JSON."""
    from tutor.classroom.exports.person import person as about

    return f"{json.dumps(about(store, member.id), ensure_ascii=False, indent=2)}\n".encode("utf-8", "replace")
