"""Wrong tries are counted by browser, by address and in all; browsers that have been at the desk stay known."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table of tries from that of known browsers, and drop what it replaces."""
    op.create_table(
        "tries",
        sa.Column("who", sa.String(64), primary_key=True),
        sa.Column("wrong", sa.Float, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True)),
    )
    op.execute(
        "INSERT INTO tries (who, wrong, at, entered_at) "
        "SELECT token_hash, 0, CURRENT_TIMESTAMP, CURRENT_TIMESTAMP FROM desk_browser"
    )
    op.drop_table("desk_browser")
    with op.batch_alter_table("desk") as desk:
        desk.drop_column("wrong_tries")
        desk.drop_column("wait_until")
