"""The declarations that problems rest on which are handed out, frozen, each once."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "frozen_declaration",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("hash", name="pk_frozen_declaration"),
    )
