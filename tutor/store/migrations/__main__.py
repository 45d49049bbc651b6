"""Drafts the next migration: the difference between the migrated tables and tutor/store/tables.py."""

import sys

from alembic import command
from sqlalchemy import create_engine

from tutor.store.migrations import configuration, migrate, revisions


def main() -> None:
    """Write versions/vNNNN_WORDS.py; read it through before use, and set SCHEMA in tutor/store/tables.py."""
    if len(sys.argv) != 2:
        sys.exit("Say in a few words what changes: python -m tutor.store.migrations 'WHAT CHANGES'")
    with create_engine("sqlite://").begin() as connection:
        migrate(connection)
        following = f"{int(revisions()[-1]) + 1:04}"
        command.revision(configuration(connection), sys.argv[1], autogenerate=True, rev_id=following)


if __name__ == "__main__":
    main()
