"""The secret that learners' tokens are signed with, and which token has taken another's place."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "token_secret",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("value", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_token_secret"),
    )
    op.create_table(
        "renewal",
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("earlier_hash", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("fetched", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_renewal_learner_id_learner"),
        sa.PrimaryKeyConstraint("learner_id", name="pk_renewal"),
    )
    op.create_index("ix_renewal_earlier_hash", "renewal", ["earlier_hash"])
