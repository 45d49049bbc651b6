"""Practice sets: a file is checked and opened for a class; a set is closed, reopened, given other rules."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from tutor.base.text import counted
from tutor.operations.command import CLASS, CLASS_ADDED_TO, CONTENT, JSON, SET, STORE, YES, operation
from tutor.operations.shell import Commands, Fault, say

if TYPE_CHECKING:
    from tutor.classroom.models import ClaimWith, PracticeSet, StoredSet
    from tutor.classroom.sets.difficulty import Spread
    from tutor.problems.question import Engine
    from tutor.store.database import Store

_FILE = click.argument("file", type=click.Path(path_type=Path))
Checked = tuple["PracticeSet", Sequence["Spread"]]


@click.group("set", cls=Commands)
def sets() -> None:
    """Practice sets: check a file, open it for a class, list, close, reopen."""


def _checked_json(result: Checked) -> Any:
    from dataclasses import asdict

    practice_set, spreads = result
    return {**practice_set.model_dump(mode="json"), "spread": [asdict(spread) for spread in spreads]}


def _checked_lines(result: Checked) -> Iterator[str]:
    practice_set, spreads = result
    yield f"{practice_set.id}: {practice_set.title} ({counted(len(practice_set.places), 'problem')})"
    for spread in spreads:
        yield (
            f"  {spread.place:2} {spread.exercise:36} steps {_range(spread.steps)}, mistakes {_range(spread.traps)}, "
            f"tens {_range(spread.size)}, alike {spread.alike:.0%}"
        )


def _range(ends: tuple[int, int]) -> str:
    return str(ends[0]) if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


@operation(
    sets,
    "check",
    _FILE,
    click.option("--learners", type=click.IntRange(0, 200), default=0, help="Show how alike their variants would be."),
    CONTENT,
    JSON,
    lines=_checked_lines,
    as_json=_checked_json,
)
def check(file: Path, learners: int, engine: "Engine") -> Checked:
    """Check a practice set's file against the content."""
    from secrets import token_hex

    from tutor.classroom.sets.difficulty import Variants, spread_of_preview
    from tutor.classroom.sets.set_files import read_set

    practice_set = read_set(file, engine.library)
    variants = Variants(engine, practice_set, token_hex(32))
    return practice_set, spread_of_preview(variants, learners) if learners else []


def set_json(stored: "StoredSet") -> dict[str, Any]:
    """A set as commands print it."""
    rules = stored.declaration
    return {
        "id": rules.id,
        "class": stored.class_name,
        "title": rules.title,
        "code": stored.code,
        "state": stored.state(datetime.now(UTC)),
        "problems": len(rules.places),
        "opens": rules.opens.isoformat() if rules.opens else None,
        "closes": rules.closes.isoformat() if rules.closes else None,
        "claim_with": rules.claim_with,
        "closed_at": stored.closed_at.isoformat() if stored.closed_at else None,
    }


def _set_lines(stored: "StoredSet") -> Iterator[str]:
    row = set_json(stored)
    yield f"{row['code']}  {row['id']:24} {row['class']:16} {row['state']:8} {row['title']}"


_set_operation = partial(operation, sets, lines=_set_lines, as_json=set_json)


@_set_operation("open", _FILE, CLASS_ADDED_TO, CONTENT, STORE, JSON)
def open_file(store: "Store", engine: "Engine", file: Path, class_name: str) -> "StoredSet":
    """Open a practice set's file for a class; prints the code that learners type."""
    from tutor.classroom.roster.register import Register
    from tutor.classroom.sets.exams import LIMITS
    from tutor.classroom.sets.set_files import read_set

    declared = read_set(file, engine.library)
    stored = Register(store).open_set(declared, class_name)
    rules = stored.declaration
    if (rules.opens, rules.closes) != (declared.opens, declared.closes):
        say("It was open already and keeps its times; 'coldmorning set times' changes them.", err=True)
    if rules.is_exam:
        say(f"{LIMITS} 'coldmorning exam on' turns the exam switch on.", err=True)
    if rules.claim_with != declared.claim_with:
        say("It keeps what learners claim their names with; 'coldmorning set claims' changes it.", err=True)
    return stored


@operation(
    sets,
    "list",
    CLASS,
    STORE,
    JSON,
    lines=lambda stored: (line for practice_set in stored for line in _set_lines(practice_set)),
    as_json=lambda stored: list(map(set_json, stored)),
)
def list_sets(store: "Store", class_name: str | None) -> "Sequence[StoredSet]":
    """List the sets in the store."""
    from tutor.classroom.roster.register import Register

    return Register(store).sets(class_name)


def closing_consequence(store: "Store", practice_set: "StoredSet") -> str:
    """What closing a set does, in sentences: to be read before it is done; '' for one that is closed already."""
    from tutor.classroom.reports.live import closing_told
    from tutor.classroom.reports.results import Results

    if practice_set.state(datetime.now(UTC)) == "closed":
        return ""
    results = Results(store, practice_set)
    return closing_told(practice_set, results.who_is_where(), results.outcomes())


def _closing(store: "Store", practice_set: "StoredSet") -> Sequence[str]:
    consequence = closing_consequence(store, practice_set)
    return [consequence, f"Close '{practice_set.declaration.title}'?"] if consequence else []


def _closing_by_time(store: "Store", practice_set: "StoredSet", opens: str | None, closes: str | None) -> Sequence[str]:
    zone = practice_set.declaration.zone
    _, until = _moment(opens, zone), _moment(closes, zone)
    return _closing(store, practice_set) if until is not None and until <= datetime.now(UTC) else []


@_set_operation("close", *SET, YES, JSON, consequence=_closing)
def close(store: "Store", practice_set: "StoredSet") -> "StoredSet":
    """Accept no more answers."""
    from tutor.classroom.roster.register import Register

    return Register(store).close(practice_set.id)


@_set_operation(
    "reopen",
    *SET,
    click.option("--closes", help="Until when, as '2026-03-09 18:00' in the set's time zone; else until it is closed."),
    JSON,
)
def reopen(store: "Store", practice_set: "StoredSet", closes: str | None) -> "StoredSet":
    """Take answers again."""
    from tutor.classroom.roster.register import Register

    return Register(store).reopen(practice_set.id, _moment(closes, practice_set.declaration.zone))


@_set_operation(
    "times",
    *SET,
    click.option("--opens", help="From when, as '2026-03-02 08:00' in the set's time zone; else at once."),
    click.option("--closes", help="Until when; else until it is closed."),
    YES,
    JSON,
    consequence=_closing_by_time,
)
def change_times(store: "Store", practice_set: "StoredSet", opens: str | None, closes: str | None) -> "StoredSet":
    """Give a set other opening and closing times."""
    from tutor.classroom.roster.register import Register

    zone = practice_set.declaration.zone
    return Register(store).change_times(practice_set.id, _moment(opens, zone), _moment(closes, zone))


@_set_operation(
    "claims",
    *SET,
    click.option(
        "--with",
        "claim_with",
        type=click.Choice(["personal code", "name alone"]),
        required=True,
        help="What a learner types the first time, beside the set's code and the name.",
    ),
    JSON,
)
def change_claiming(store: "Store", practice_set: "StoredSet", claim_with: "ClaimWith") -> "StoredSet":
    """Let learners claim their names with their personal code, or with the name alone."""
    from tutor.classroom.roster.register import Register

    return Register(store).change_claiming(practice_set.id, claim_with)


def _moment(text: str | None, zone: str) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Fault(f"'{text[:40]}' is no time. Write it as '2026-03-09 18:00'.") from None
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))
