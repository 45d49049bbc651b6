"""The class: its sets and members, the problems handed out, their answers, the desk, statements to be sent."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "desk",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("salt", sa.String(length=64), nullable=True),
        sa.Column("passphrase_hash", sa.String(length=128), nullable=True),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("wrong_tries", sa.Integer(), nullable=False),
        sa.Column("wait_until", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_desk"),
    )
    op.create_table(
        "desk_browser",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("wrong_tries", sa.Integer(), nullable=False),
        sa.Column("wait_until", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("token_hash", name="pk_desk_browser"),
    )
    op.create_table(
        "desk_session",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("token_hash", name="pk_desk_session"),
    )
    op.create_table(
        "school_class",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("secret", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_school_class"),
        sa.UniqueConstraint("name", name="uq_school_class_name"),
    )
    op.create_table(
        "member",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_class_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("secret", sa.String(length=32), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["school_class_id"], ["school_class.id"], name="fk_member_school_class_id_school_class"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_member"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_member_school_class_id", "member", ["school_class_id"])
    op.create_table(
        "practice_set",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_class_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("declaration", sa.JSON(), nullable=False),
        sa.Column("secret", sa.String(length=64), nullable=False),
        sa.Column("code", sa.String(length=12), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["school_class_id"], ["school_class.id"], name="fk_practice_set_school_class_id_school_class"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_practice_set"),
        sa.UniqueConstraint("code", name="uq_practice_set_code"),
        sa.UniqueConstraint("school_class_id", "name", name="uq_practice_set_school_class_id_name"),
    )
    op.create_table(
        "binding",
        sa.Column("learner_id", sa.Integer(), nullable=False),
        sa.Column("school_class_id", sa.Integer(), nullable=False),
        sa.Column("member_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["learner_id"], ["learner.id"], name="fk_binding_learner_id_learner"),
        sa.ForeignKeyConstraint(["member_id"], ["member.id"], name="fk_binding_member_id_member"),
        sa.ForeignKeyConstraint(
            ["school_class_id"], ["school_class.id"], name="fk_binding_school_class_id_school_class"
        ),
        sa.PrimaryKeyConstraint("learner_id", "school_class_id", name="pk_binding"),
    )
    op.create_index("ix_binding_member_id", "binding", ["member_id"])
    op.create_table(
        "handed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_set_id", sa.Integer(), nullable=False),
        sa.Column("member_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=12), nullable=False),
        sa.Column("exercise", sa.String(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("ask", sa.String(), nullable=False),
        sa.Column("rulebook", sa.String(), nullable=False),
        sa.Column("givens", sa.JSON(), nullable=False),
        sa.Column("expected", sa.JSON(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("tolerance", sa.Float(), nullable=False),
        sa.Column("kept", sa.JSON(), nullable=False),
        sa.Column("excused", sa.Boolean(), nullable=False),
        sa.Column("shown_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("help", sa.String(), nullable=False),
        sa.Column("hints_seen", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["member_id"], ["member.id"], name="fk_handed_member_id_member"),
        sa.ForeignKeyConstraint(
            ["practice_set_id"], ["practice_set.id"], name="fk_handed_practice_set_id_practice_set"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_handed"),
        sa.UniqueConstraint("code", name="uq_handed_code"),
        sa.UniqueConstraint("practice_set_id", "member_id", "place", name="uq_handed_practice_set_id_member_id_place"),
    )
    op.create_index("ix_handed_member_id", "handed", ["member_id"])
    op.create_table(
        "whereabouts",
        sa.Column("practice_set_id", sa.Integer(), nullable=False),
        sa.Column("member_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["member_id"], ["member.id"], name="fk_whereabouts_member_id_member"),
        sa.ForeignKeyConstraint(
            ["practice_set_id"], ["practice_set.id"], name="fk_whereabouts_practice_set_id_practice_set"
        ),
        sa.PrimaryKeyConstraint("practice_set_id", "member_id", name="pk_whereabouts"),
    )
    op.create_table(
        "class_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("handed_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("entry", sa.Text(), nullable=False),
        sa.Column("steps", sa.JSON(), nullable=False),
        sa.Column("step_verdicts", sa.JSON(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("named", sa.String(), nullable=True),
        sa.Column("mistakes", sa.JSON(), nullable=False),
        sa.Column("feedback", sa.Text(), nullable=False),
        sa.Column("counted", sa.Boolean(), nullable=False),
        sa.Column("help", sa.String(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=True),
        sa.Column("comment", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["handed_id"], ["handed.id"], name="fk_class_answer_handed_id_handed"),
        sa.PrimaryKeyConstraint("id", name="pk_class_answer"),
        sa.UniqueConstraint("handed_id", "key", name="uq_class_answer_handed_id_key"),
    )
    op.create_table(
        "class_draft",
        sa.Column("handed_id", sa.Integer(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["handed_id"], ["handed.id"], name="fk_class_draft_handed_id_handed"),
        sa.PrimaryKeyConstraint("handed_id", "field", name="pk_class_draft"),
    )
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("handed_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.Column("after", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["handed_id"], ["handed.id"], name="fk_correction_handed_id_handed"),
        sa.PrimaryKeyConstraint("id", name="pk_correction"),
    )
    op.create_index("ix_correction_handed_id", "correction", ["handed_id"])
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("member_id", sa.Integer(), nullable=False),
        sa.Column("class_answer_id", sa.Integer(), nullable=True),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("statement", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["class_answer_id"], ["class_answer.id"], name="fk_outbox_class_answer_id_class_answer"
        ),
        sa.ForeignKeyConstraint(["member_id"], ["member.id"], name="fk_outbox_member_id_member"),
        sa.PrimaryKeyConstraint("id", name="pk_outbox"),
        sa.UniqueConstraint("key", name="uq_outbox_key"),
    )
    op.create_index("ix_outbox_class_answer_id", "outbox", ["class_answer_id"])
    op.create_index("ix_outbox_member_id", "outbox", ["member_id"])
    op.create_table(
        "verdict_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("class_answer_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.Column("after", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["class_answer_id"], ["class_answer.id"], name="fk_verdict_change_class_answer_id_class_answer"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_verdict_change"),
    )
    op.create_index("ix_verdict_change_class_answer_id", "verdict_change", ["class_answer_id"])
