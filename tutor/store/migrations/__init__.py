"""Steps from each earlier shape of the tables to the next, run by Alembic.

`python -m tutor.store.migrations 'WHAT CHANGES'` drafts the next step from a change in tutor/store/tables.py.
"""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, select

from tutor.store.tables import schema_version


class UnknownRevisionError(LookupError):
    """The store's tables have a shape that this version does not know."""


def configuration(connection: Connection | None = None) -> Config:
    """Give Alembic its settings without a file; env.py takes the connection from them."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("file_template", "v%%(rev)s_%%(slug)s")
    config.attributes["connection"] = connection
    return config


def revisions() -> list[str]:
    """All revisions, oldest first."""
    return [script.revision for script in ScriptDirectory.from_config(configuration()).walk_revisions()][::-1]


def migrate(connection: Connection, revision: str = "head") -> None:
    """Bring the tables to a revision inside the connection's transaction.

    Raises UnknownRevisionError if they have a shape that only a newer version knows.
    """
    config = configuration(connection)
    if connection.dialect.has_table(connection, schema_version.name):
        _check_known(connection.scalar(select(schema_version.c.version_num)), config)
    command.upgrade(config, revision)


def _check_known(present: str | None, config: Config) -> None:
    try:
        if present is not None:
            ScriptDirectory.from_config(config).get_revision(present)
    except CommandError as error:
        raise UnknownRevisionError(present) from error
