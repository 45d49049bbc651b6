"""The commands that keep a copy of the store and put it back."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from tutor.store.database import Store

_file = click.argument("file", type=click.Path(path_type=Path))
_where = click.option("--store", "where", help="Where work is kept: a file or a database URL.")


@click.command()
@_file
@_where
def backup(file: Path, where: str | None) -> None:
    """Write all work kept into one FILE, also while the tutor runs."""
    from tutor.store.backup import back_up  # noqa: PLC0415 - so that every other command starts fast

    with _opened(where) as store:
        rows = back_up(store, file)
        click.echo(f"{rows} rows of {store.place} are in {file}. It holds what learners wrote: keep it as safe.")


@click.command()
@_file
@_where
@click.option("--replace", is_flag=True, help="Put the backup in place of all work that is there.")
def restore(file: Path, where: str | None, replace: bool) -> None:
    """Put the work of a backup FILE back into an empty store, on SQLite or PostgreSQL."""
    from tutor.store.backup import restore as put_back  # noqa: PLC0415 - so that every other command starts fast

    with _opened(where) as store:
        rows = put_back(store, file, replace=replace)
        click.echo(f"{rows} rows of {file} are in {store.place}.")


@contextmanager
def _opened(where: str | None) -> Iterator["Store"]:
    """Open the store named after the command, or before it as for the tutor itself."""
    from tutor.store.database import Store  # noqa: PLC0415 - so that every other command starts fast

    store = Store.open(where or click.get_current_context().find_root().params.get("store"))
    try:
        yield store
    finally:
        store.close()
