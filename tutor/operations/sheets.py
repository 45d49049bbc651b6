"""The sheets of a set and its answer key, as PDF and as pages."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.operations.command import CLASS_COMMANDS, CONTENT, SET, operation, write
from tutor.operations.shell import Fault, Output, replace_option, say

if TYPE_CHECKING:
    from tutor.classroom.models import Member, StoredSet
    from tutor.classroom.progress import Progress
    from tutor.classroom.sheets.build import Coded
    from tutor.classroom.sheets.content import Paper
    from tutor.problems.question import Engine
    from tutor.store.database import Store


@dataclass(frozen=True)
class Printing:
    """How sheets are printed: the answer key or the learners' sheets, as a page or as PDF.

    `origin` is that of the links; '' where there is none that leads anywhere, None for sheets that say nothing of a
    screen. `notes` are lines of the instructor's own for every learner.
    """

    key: bool
    page: bool
    paper: "Paper" = "a4"
    large: bool = False
    steps: bool = False
    origin: str | None = None
    notes: Sequence[str] = ()


def printed(
    store: "Store",
    engine: "Engine",
    practice_set: "StoredSet",
    problems: "Mapping[Member, Sequence[Coded]]",
    printing: Printing,
    progress: Callable[[int], None],
) -> bytes:
    """The sheets or the answer key of some members, whose problems are those of `handed_by_member`."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from tutor.classroom.sheets.build import learner_key, learner_sheet, style_of
    from tutor.classroom.sheets.page import key_page, sheets_page
    from tutor.classroom.sheets.pdf import key_pdf, sheets_pdf

    declared = practice_set.declaration
    today = datetime.now(ZoneInfo(declared.zone)).date()
    style = style_of(declared, engine.library, today, paper=printing.paper, large=printing.large)
    if printing.key:
        keys = [learner_key(member, coded) for member, coded in problems.items()]
        return key_page(style, keys).encode() if printing.page else key_pdf(style, keys, progress)
    notes = _notes(store, practice_set, problems, printing)
    sheets = [
        learner_sheet(member, coded, notes=notes[member], steps=printing.steps) for member, coded in problems.items()
    ]
    return sheets_page(style, sheets).encode() if printing.page else sheets_pdf(style, sheets, progress)


def _notes(
    store: "Store", practice_set: "StoredSet", members: "Mapping[Member, object]", printing: Printing
) -> "Mapping[Member, Sequence[str]]":
    """The lines at the head of each learner's sheet."""
    from tutor.classroom.roster.register import Register
    from tutor.classroom.sheets.name_cards import link, screen_note

    if printing.origin is None:
        return dict.fromkeys(members, printing.notes)
    address = link(practice_set, printing.origin) if printing.origin else ""
    codes = Register(store).personal_codes(practice_set.class_name)
    return {member: [screen_note(practice_set, address, codes[member.id]), *printing.notes] for member in members}


def _check_files(typed: Mapping[str, Any]) -> None:
    files = [file for file in (typed["sheets"], typed["key"]) if file is not None]
    if not files:
        raise Fault("Say what to print: --sheets FILE, --key FILE, or both.")
    for file in files:
        if file.suffix not in (".pdf", ".html"):
            raise Fault(f"'{file.name}' ends in neither .pdf nor .html; choose one of the two.")


@operation(
    CLASS_COMMANDS,
    "sheet",
    *SET,
    click.option("--sheets", type=Output(), help="Write the learners' sheets here: a .pdf or an .html file."),
    click.option("--key", type=Output(), help="Write the answer key here: a .pdf or an .html file."),
    replace_option,
    click.option("--paper", type=click.Choice(["a4", "us-letter"]), default="a4", show_default=True),
    click.option("--large", is_flag=True, help="Large print: nothing below 18 points."),
    click.option("--steps", is_flag=True, help="Print the steps on the way, to be filled in."),
    click.option("--address", help="The server's address: print the link and the codes, to go on with on a screen."),
    click.option("--note", "notes", multiple=True, help="A line of your own for every learner."),
    CONTENT,
    check=_check_files,
    progress="printed",
)
def sheet(
    store: "Store",
    engine: "Engine",
    practice_set: "StoredSet",
    sheets: Path | None,
    key: Path | None,
    address: str | None,
    progress: "Progress",
    **style: Any,
) -> None:
    """Print the sheets of a set, or its answer key; what was not handed out yet is handed out first."""
    from tutor.classroom.addresses import origin_named
    from tutor.classroom.sheets.build import handed_by_member

    origin = None if address is None else origin_named(address)
    if sheets is not None and origin is None:
        say("The sheets carry no address and no codes for a screen. Add --address URL to print them.", err=True)
    problems = handed_by_member(store, engine, practice_set)
    if not problems:
        raise Fault(f"The class '{practice_set.class_name}' has no members yet: 'coldmorning roster FILE' enters them.")
    files = {is_key: file for is_key, file in ((False, sheets), (True, key)) if file is not None}
    for position, (is_key, file) in enumerate(files.items()):
        printing = Printing(is_key, file.suffix == ".html", origin=origin, **style)
        report_part = partial(_report_progress, progress, position * len(problems), len(files) * len(problems))
        write(file, printed(store, engine, practice_set, problems, printing, report_part))


def _report_progress(progress: "Progress", before: int, total: int, count: int) -> None:
    progress(before + count, total)
