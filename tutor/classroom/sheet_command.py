"""The files that `coldmorning sheet` writes: sheets and key, as PDF and as pages."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import click

from tutor.classroom.models import Member
from tutor.classroom.sheets.build import Coded, learner_key, learner_sheet
from tutor.classroom.sheets.content import Style
from tutor.classroom.sheets.page import key_page, sheets_page
from tutor.classroom.sheets.pdf import Progress, key_pdf, sheets_pdf, write_whole

Command = TypeVar("Command", bound=Callable[..., Any])


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Which files are wanted, None for none, and what stands on the sheets."""

    sheets: Path | None = None
    key: Path | None = None
    steps: bool = False
    notes: tuple[str, ...] = ()


def sheet_options(command: Command) -> Command:
    """The options of a command that prints: `sheets`, `key`, `paper`, `large`, `steps` and `notes`."""
    file = click.Path(dir_okay=False, writable=True, path_type=Path)
    for option in (
        click.option("--sheets", type=file, help="Write the learners' sheets here: a .pdf or an .html file."),
        click.option("--key", type=file, help="Write the answer key here: a .pdf or an .html file."),
        click.option("--paper", type=click.Choice(["a4", "us-letter"]), default="a4", show_default=True),
        click.option("--large", is_flag=True, help="Large print: nothing below 18 points."),
        click.option("--steps", is_flag=True, help="Print the steps on the way, to be filled in."),
        click.option("--note", "notes", multiple=True, help="A line of your own for every learner."),
    ):
        command = option(command)
    return command


def write_files(
    style: Style,
    handed_out: Sequence[tuple[Member, Sequence[Coded]]],
    wanted: Wanted,
    progress: Callable[[int, int], None],
) -> list[Path]:
    """Write the files that are wanted; give their paths. `progress` is told how many learners' parts are done, of all.

    A file is there whole or not at all. Raises ValueError if a name ends in neither .pdf nor .html, or if there is
    nobody to print for; OSError if a file cannot be written.
    """
    files = [file for file in (wanted.sheets, wanted.key) if file is not None]
    for file in files:
        _check_ending(file)
    everyone, whole = len(handed_out), len(files) * len(handed_out)
    if wanted.sheets:
        sheets = [learner_sheet(one, told, notes=wanted.notes, steps=wanted.steps) for one, told in handed_out]
        as_pdf, as_page = partial(sheets_pdf, style, sheets), partial(sheets_page, style, sheets)
        _write(wanted.sheets, as_pdf, as_page, partial(_told, progress, 0, whole))
    if wanted.key:
        keys = [learner_key(one, told) for one, told in handed_out]
        before = everyone if wanted.sheets else 0
        as_pdf, as_page = partial(key_pdf, style, keys), partial(key_page, style, keys)
        _write(wanted.key, as_pdf, as_page, partial(_told, progress, before, whole))
    progress(whole, whole)
    return files


def _write(file: Path, as_pdf: Callable[[Progress], bytes], as_page: Callable[[], str], done: Progress) -> None:
    write_whole(file, as_pdf(done) if file.suffix == ".pdf" else as_page().encode())


def _told(progress: Callable[[int, int], None], before: int, whole: int, done: int) -> None:
    progress(before + done, whole)


def _check_ending(file: Path) -> None:
    if file.suffix not in (".pdf", ".html"):
        raise ValueError(f"'{file.name}' ends in neither .pdf nor .html; choose one of the two.")
