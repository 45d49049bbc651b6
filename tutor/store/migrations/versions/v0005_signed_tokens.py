"""The secret that learners' tokens are signed with, and which token has taken another's place."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "token_secret",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("value", sa.String(64), nullable=False),
    )
    op.create_table(
        "renewal",
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), primary_key=True),
        sa.Column("earlier_hash", sa.String(64), nullable=False, index=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("fetched", sa.Boolean, nullable=False),
    )
