"""The first tables: learners, their attempts, the place they were at, their settings and unsent text."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "learner",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_learner"),
        sa.UniqueConstraint("token_hash", name="uq_learner_token_hash"),
    )
    op.create_table(
        "attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("exercise", sa.String(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("ask", sa.String(), nullable=False),
        sa.Column("rulebook", sa.String(), nullable=False),
        sa.Column("givens", sa.JSON(), nullable=False),
        sa.Column("entry", sa.Text(), nullable=True),
        sa.Column("steps", sa.JSON(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("named", sa.String(), nullable=True),
        sa.Column("mistakes", sa.JSON(), nullable=False),
        sa.Column("help", sa.String(), nullable=False),
        sa.Column("hints_seen", sa.Integer(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_attempt"),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_attempt_learner_id_learner"),
        sa.UniqueConstraint("learner_id", "key", name="uq_attempt_learner_id_key"),
    )
    op.create_index("ix_attempt_learner_id_exercise_number", "attempt", ["learner_id", "exercise", "number"])
    op.create_table(
        "place_kept",
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("where", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("learner_id", name="pk_place_kept"),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_place_kept_learner_id_learner"),
    )
    op.create_table(
        "setting",
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("learner_id", "name", name="pk_setting"),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_setting_learner_id_learner"),
    )
    op.create_table(
        "draft",
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("problem", sa.String(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("learner_id", "problem", "field", name="pk_draft"),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_draft_learner_id_learner"),
    )
