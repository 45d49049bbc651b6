"""The exam: the switch, who has looked at what it closes, in which classes a browser has been somebody."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "class_browser",
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), primary_key=True),
        sa.Column("school_class_id", sa.Integer, sa.ForeignKey("school_class.id"), primary_key=True),
    )
    op.execute("INSERT INTO class_browser SELECT learner_id, school_class_id FROM binding")
    op.create_table(
        "exam_switch",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("practice_set_id", sa.Integer, sa.ForeignKey("practice_set.id")),
        sa.Column("on_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "exam_look",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("practice_set_id", sa.Integer, sa.ForeignKey("practice_set.id"), nullable=False, index=True),
        sa.Column("member_id", sa.Integer, sa.ForeignKey("member.id"), index=True),
        sa.Column("exercise", sa.String, nullable=False),
        sa.Column("looks", sa.Integer, nullable=False),
        sa.Column("first_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
    )
