"""The exam: the switch, who has looked at what it closes, in which classes a browser has been somebody."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "class_browser",
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("school_class_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_class_browser_learner_id_learner"),
        sa.ForeignKeyConstraint(
            ["school_class_id"], ["school_class.id"], name="fk_class_browser_school_class_id_school_class"
        ),
        sa.PrimaryKeyConstraint("learner_id", "school_class_id", name="pk_class_browser"),
    )
    op.execute("INSERT INTO class_browser SELECT learner_id, school_class_id FROM binding")
    op.create_table(
        "exam_switch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_set_id", sa.Integer(), nullable=True),
        sa.Column("on_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_set_id"], ["practice_set.id"], name="fk_exam_switch_practice_set_id_practice_set"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_exam_switch"),
    )
    op.create_table(
        "exam_look",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_set_id", sa.Integer(), nullable=False),
        sa.Column("member_id", sa.Integer(), nullable=True),
        sa.Column("exercise", sa.String(), nullable=False),
        sa.Column("looks", sa.Integer(), nullable=False),
        sa.Column("first_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["member_id"], ["member.id"], name="fk_exam_look_member_id_member"),
        sa.ForeignKeyConstraint(
            ["practice_set_id"], ["practice_set.id"], name="fk_exam_look_practice_set_id_practice_set"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_exam_look"),
    )
    op.create_index("ix_exam_look_member_id", "exam_look", ["member_id"])
    op.create_index("ix_exam_look_practice_set_id", "exam_look", ["practice_set_id"])
