"""A copy of the store is kept, and put back."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tutor.operations.command import CLASS_COMMANDS, STORE, YES, operation
from tutor.operations.shell import Output, may_replace, replace_option

if TYPE_CHECKING:
    from tutor.store.database import Store


@operation(CLASS_COMMANDS, "backup", click.argument("file", type=Output()), STORE, replace_option)
def backup(store: "Store", file: Path) -> str:
    """Write all work kept into one FILE, also while the tutor runs."""
    from tutor.store.backup import back_up

    rows = back_up(store, file, replace=may_replace())
    return f"{rows} rows of {store.place} are in {file}. It holds what learners wrote: keep it as safe."


def _replacing(store: "Store", file: Path, replace: bool) -> Sequence[str]:
    return [f"Put {file} in place of all work in {store.place}, for good?"] if replace else []


@operation(
    CLASS_COMMANDS,
    "restore",
    click.argument("file", type=click.Path(path_type=Path)),
    STORE,
    click.option("--replace", is_flag=True, help="Put the backup in place of all work that is there."),
    YES,
    consequence=_replacing,
)
def restore(store: "Store", file: Path, replace: bool) -> str:
    """Put the work of a backup FILE of at most 2 GB back into an empty store, on SQLite or PostgreSQL."""
    from tutor.classroom.row_models import ROW_MODELS
    from tutor.store.backup import restore as put_back

    rows = put_back(store, file, replace=replace, models=ROW_MODELS)
    return f"{rows} rows of {file} are in {store.place}."
