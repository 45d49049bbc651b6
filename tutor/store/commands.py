"""The commands that keep a copy of the store and put it back."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tutor.shell import Output, confirm, may_replace, replace_option, store_option, told_plainly, yes_option

if TYPE_CHECKING:
    from tutor.store.database import Store


@click.command()
@click.argument("file", type=Output())
@store_option
@replace_option
@told_plainly
def backup(file: Path, store: str | None) -> None:
    """Write all work kept into one FILE, also while the tutor runs."""
    from tutor.store.backup import back_up  # noqa: PLC0415 - so that every other command starts fast

    with _opened(store) as opened:
        rows = back_up(opened, file, replace=may_replace())
        click.echo(f"{rows} rows of {opened.place} are in {file}. It holds what learners wrote: keep it as safe.")


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@store_option
@click.option("--replace", is_flag=True, help="Put the backup in place of all work that is there.")
@yes_option
@told_plainly
def restore(file: Path, store: str | None, replace: bool, yes: bool) -> None:
    """Put the work of a backup FILE of at most 2 GB back into an empty store, on SQLite or PostgreSQL."""
    from tutor.classroom.row_models import ROW_MODELS  # noqa: PLC0415 - so that every other command starts fast
    from tutor.store.backup import restore as put_back  # noqa: PLC0415

    with _opened(store) as opened:
        if replace:
            confirm(f"Put {file} in place of all work in {opened.place}, for good?", yes=yes)
        rows = put_back(opened, file, replace=replace, models=ROW_MODELS)
        click.echo(f"{rows} rows of {file} are in {opened.place}.")


@contextmanager
def _opened(store: str | None) -> Iterator["Store"]:
    """Open the store named after the command, or before it as for the tutor itself."""
    from tutor.store.database import Store  # noqa: PLC0415 - so that every other command starts fast

    with closing(Store.open(store or click.get_current_context().find_root().params.get("store"))) as opened:
        yield opened
