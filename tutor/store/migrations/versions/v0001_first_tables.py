"""The first tables: learners, their attempts, the place they were at, their settings and unsent text."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "learner",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.UniqueConstraint("token_hash"),
    )
    op.create_table(
        "attempt",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), nullable=False),
        sa.Column("key", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("exercise", sa.String, nullable=False),
        sa.Column("version", sa.String, nullable=False),
        sa.Column("number", sa.BigInteger, nullable=False),
        sa.Column("ask", sa.String, nullable=False),
        sa.Column("rulebook", sa.String, nullable=False),
        sa.Column("givens", sa.JSON, nullable=False),
        sa.Column("entry", sa.Text),
        sa.Column("steps", sa.JSON, nullable=False),
        sa.Column("verdict", sa.String, nullable=False),
        sa.Column("named", sa.String),
        sa.Column("mistakes", sa.JSON, nullable=False),
        sa.Column("help", sa.String, nullable=False),
        sa.Column("hints_seen", sa.Integer, nullable=False),
        sa.Column("seconds", sa.Float),
        sa.UniqueConstraint("learner_id", "key"),
    )
    op.create_index(None, "attempt", ["learner_id", "exercise", "number"])
    op.create_table(
        "place_kept",
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), primary_key=True),
        sa.Column("where", sa.JSON, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "setting",
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), primary_key=True),
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("value", sa.JSON, nullable=False),
    )
    op.create_table(
        "draft",
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), primary_key=True),
        sa.Column("problem", sa.String, primary_key=True),
        sa.Column("field", sa.String, primary_key=True),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
