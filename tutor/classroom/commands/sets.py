"""The commands about practice sets."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from tutor.classroom.commands.common import class_option, engine_of, in_class, of_a_set, opened, set_json
from tutor.counting import counted
from tutor.shell import (
    Commands,
    Fault,
    confirm,
    content_option,
    json_option,
    print_json,
    say,
    store_option,
    told_plainly,
    yes_option,
)

if TYPE_CHECKING:
    from tutor.classroom.models import ClaimWith, StoredSet
    from tutor.store.database import Store

_file = click.argument("file", type=click.Path(path_type=Path))


@click.group("set", cls=Commands)
def sets() -> None:
    """Practice sets: check a file, open it for a class, list, close, reopen."""


@sets.command()
@_file
@click.option("--learners", type=click.IntRange(0, 200), default=0, help="Show how alike their variants would be.")
@content_option
@json_option
@told_plainly
def check(file: Path, learners: int, content: Path | None, as_json: bool) -> None:
    """Check a practice set's file against the content."""
    from dataclasses import asdict
    from secrets import token_hex

    from tutor.classroom.difficulty import Variants, spread_of_preview
    from tutor.classroom.sets import read_set

    engine = engine_of(content)
    found = read_set(file, engine.library)
    spreads = spread_of_preview(Variants(engine, found, token_hex(32)), learners) if learners else []
    if as_json:
        print_json({**found.model_dump(mode="json"), "spread": [asdict(one) for one in spreads]})
        return
    click.echo(f"{found.id}: {found.title} ({counted(len(found.places), 'problem')})")
    for one in spreads:
        click.echo(
            f"  {one.place:2} {one.exercise:36} steps {_range(one.steps)}, mistakes {_range(one.traps)}, "
            f"tens {_range(one.size)}, alike {one.alike:.0%}"
        )


def _range(ends: tuple[int, int]) -> str:
    return str(ends[0]) if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


@sets.command("open")
@_file
@in_class
@content_option
@store_option
@json_option
@told_plainly
def open_(file: Path, class_name: str, content: Path | None, store: str | None, as_json: bool) -> None:
    """Open a practice set's file for a class; prints the code that learners type."""
    from tutor.classroom.exams import LIMITS
    from tutor.classroom.register import Register
    from tutor.classroom.sets import read_set

    found = read_set(file, engine_of(content).library)
    with opened(store) as kept:
        of = Register(kept).put(found, class_name)
        _print_set(of, as_json)
    if (of.declaration.opens, of.declaration.closes) != (found.opens, found.closes):
        click.echo("It was open already and keeps its times; 'coldmorning set times' changes them.", err=True)
    if of.declaration.is_exam:
        click.echo(f"{LIMITS} 'coldmorning exam on' turns the exam switch on.", err=True)
    if of.declaration.claim_with != found.claim_with:
        click.echo("It keeps what learners claim their names with; 'coldmorning set claims' changes it.", err=True)


@sets.command("list")
@class_option
@store_option
@json_option
@told_plainly
def list_(class_name: str | None, store: str | None, as_json: bool) -> None:
    """List the sets in the store."""
    from tutor.classroom.register import Register

    with opened(store) as kept:
        found = Register(kept).sets(class_name)
    if as_json:
        print_json([set_json(one) for one in found])
        return
    for one in found:
        _print_set(one, as_json=False)


@sets.command()
@of_a_set
@yes_option
@json_option
@told_plainly
def close(which: str, class_name: str | None, store: str | None, yes: bool, as_json: bool) -> None:
    """Accept no more answers."""
    from tutor.classroom.register import Register

    with opened(store) as kept:
        register = Register(kept)
        found = register.find(which, class_name)
        _confirm_closing(kept, found, yes)
        _print_set(register.close(found.id), as_json)


def _confirm_closing(store: "Store", of: "StoredSet", yes: bool) -> None:
    """Say what closing does, and ask; a set that is closed already needs no question."""
    from tutor.classroom.live import closing_told
    from tutor.classroom.results import Results

    if yes or of.state(datetime.now(UTC)) == "closed":
        return
    results = Results(store, of)
    say(closing_told(of, results.who_is_where(), results.outcomes()), err=True)
    confirm(f"Close '{of.declaration.title}'?", yes=False)


@sets.command()
@of_a_set
@click.option("--closes", help="Until when, as '2026-03-09 18:00' in the set's time zone; else until it is closed.")
@json_option
@told_plainly
def reopen(which: str, class_name: str | None, store: str | None, closes: str | None, as_json: bool) -> None:
    """Take answers again."""
    from tutor.classroom.register import Register

    with opened(store) as kept:
        register = Register(kept)
        found = register.find(which, class_name)
        _print_set(register.reopen(found.id, _moment(closes, found.declaration.zone)), as_json)


@sets.command()
@of_a_set
@click.option("--opens", help="From when, as '2026-03-02 08:00' in the set's time zone; else at once.")
@click.option("--closes", help="Until when; else until it is closed.")
@yes_option
@json_option
@told_plainly
def times(
    which: str,
    class_name: str | None,
    store: str | None,
    opens: str | None,
    closes: str | None,
    yes: bool,
    as_json: bool,
) -> None:
    """Give a set other opening and closing times."""
    from tutor.classroom.register import Register

    with opened(store) as kept:
        register = Register(kept)
        found = register.find(which, class_name)
        zone = found.declaration.zone
        from_, until = _moment(opens, zone), _moment(closes, zone)
        if until is not None and until <= datetime.now(UTC):
            _confirm_closing(kept, found, yes)
        _print_set(register.change_times(found.id, from_, until), as_json)


@sets.command()
@of_a_set
@click.option(
    "--with",
    "claim_with",
    type=click.Choice(["personal code", "name alone"]),
    required=True,
    help="What a learner types the first time, beside the set's code and the name.",
)
@json_option
@told_plainly
def claims(which: str, class_name: str | None, store: str | None, claim_with: "ClaimWith", as_json: bool) -> None:
    """Let learners claim their names with their personal code, or with the name alone."""
    from tutor.classroom.register import Register

    with opened(store) as kept:
        register = Register(kept)
        _print_set(register.change_claiming(register.find(which, class_name).id, claim_with), as_json)


def _moment(text: str | None, zone: str) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Fault(f"'{text[:40]}' is no time. Write it as '2026-03-09 18:00'.") from None
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))


def _print_set(of: Any, as_json: bool) -> None:
    told = set_json(of)
    if as_json:
        print_json(told)
        return
    say(f"{told['code']}  {told['id']:24} {told['class']:16} {told['state']:8} {told['title']}")
