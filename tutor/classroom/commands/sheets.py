"""The command `sheet`: sheets and answer key, as PDF and as pages."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.classroom.commands.common import engine_of, of_a_set, opened, told_progress, write_file
from tutor.shell import Fault, Output, content_option, replace_option, told_plainly

if TYPE_CHECKING:
    from tutor.classroom.models import Member, StoredSet
    from tutor.classroom.sheets.build import Coded
    from tutor.classroom.sheets.content import Style
    from tutor.store.database import Store


@click.command()
@of_a_set
@click.option("--sheets", type=Output(), help="Write the learners' sheets here: a .pdf or an .html file.")
@click.option("--key", type=Output(), help="Write the answer key here: a .pdf or an .html file.")
@replace_option
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), default="a4", show_default=True)
@click.option("--large", is_flag=True, help="Large print: nothing below 18 points.")
@click.option("--steps", is_flag=True, help="Print the steps on the way, to be filled in.")
@click.option("--address", help="The server's address: print the link and the codes, to go on with on a screen.")
@click.option("--note", "notes", multiple=True, help="A line of your own for every learner.")
@content_option
@told_plainly
def sheet(
    which: str,
    class_name: str | None,
    store: str | None,
    sheets: Path | None,
    key: Path | None,
    paper: Any,
    large: bool,
    steps: bool,
    address: str | None,
    notes: tuple[str, ...],
    content: Path | None,
) -> None:
    """Print the sheets of a set, or its answer key; what was not handed out yet is handed out first."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from tutor.classroom.addresses import origin_named
    from tutor.classroom.register import Register
    from tutor.classroom.sheets.build import handed_by_member, style_of

    files = [file for file in (sheets, key) if file is not None]
    if not files:
        raise Fault("Say what to print: --sheets FILE, --key FILE, or both.")
    _check_endings(files)
    origin = None if address is None else origin_named(address)
    if sheets is not None and origin is None:
        click.echo("The sheets carry no address and no codes for a screen. Add --address URL to print them.", err=True)
    with opened(store) as kept, told_progress("printed") as progress:
        of, engine = Register(kept).find(which, class_name), engine_of(content)
        today = datetime.now(ZoneInfo(of.declaration.zone)).date()
        style = style_of(of.declaration, engine.library, today, paper=paper, large=large)
        everyone = handed_by_member(kept, engine, of)
        if not everyone:
            raise Fault(f"The class '{of.class_name}' has no members yet: 'coldmorning roster FILE' enters them.")
        if sheets is not None:
            noted = _noted(kept, of, everyone, notes, origin)
            write_file(sheets, _sheets(sheets, style, everyone, noted, steps, partial(_told, progress, 0, len(files))))
        if key is not None:
            write_file(key, _key(key, style, everyone, partial(_told, progress, len(files) - 1, len(files))))


def _noted(
    store: "Store", of: "StoredSet", members: "Iterable[Member]", notes: Sequence[str], origin: str | None
) -> "dict[Member, Sequence[str]]":
    """The lines at the head of each learner's sheet."""
    from tutor.classroom.register import Register
    from tutor.classroom.sheets.slips import link, screen_note

    if origin is None:
        return dict.fromkeys(members, notes)
    codes = Register(store).personal_codes(of.class_name)
    return {one: [screen_note(of, link(of, origin), codes[one.id]), *notes] for one in members}


def _sheets(
    file: Path,
    style: "Style",
    everyone: "Mapping[Member, Sequence[Coded]]",
    notes: "Mapping[Member, Sequence[str]]",
    steps: bool,
    progress: Callable[[int, int], None],
) -> bytes:
    from tutor.classroom.sheets.build import learner_sheet
    from tutor.classroom.sheets.page import sheets_page
    from tutor.classroom.sheets.pdf import sheets_pdf

    made = [learner_sheet(member, coded, notes=notes[member], steps=steps) for member, coded in everyone.items()]
    if file.suffix == ".html":
        return sheets_page(style, made).encode()
    return sheets_pdf(style, made, lambda done: progress(done, len(made)))


def _key(
    file: Path, style: "Style", everyone: "Mapping[Member, Sequence[Coded]]", progress: Callable[[int, int], None]
) -> bytes:
    from tutor.classroom.sheets.build import learner_key
    from tutor.classroom.sheets.page import key_page
    from tutor.classroom.sheets.pdf import key_pdf

    made = [learner_key(member, coded) for member, coded in everyone.items()]
    if file.suffix == ".html":
        return key_page(style, made).encode()
    return key_pdf(style, made, lambda done: progress(done, len(made)))


def _told(progress: Callable[[int, int], None], files_before: int, files: int, done: int, of: int) -> None:
    progress(files_before * of + done, files * of)


def _check_endings(files: Sequence[Path]) -> None:
    for file in files:
        if file.suffix not in (".pdf", ".html"):
            raise Fault(f"'{file.name}' ends in neither .pdf nor .html; choose one of the two.")
