"""The class: its sets and members, the problems handed out, their answers, the desk, statements to be sent."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "desk",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("salt", sa.String(64)),
        sa.Column("passphrase_hash", sa.String(128)),
        sa.Column("set_at", sa.DateTime(timezone=True)),
        sa.Column("wrong_tries", sa.Integer, nullable=False),
        sa.Column("wait_until", sa.DateTime(timezone=True)),
    )
    op.create_table(
        "desk_browser",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("wrong_tries", sa.Integer, nullable=False),
        sa.Column("wait_until", sa.DateTime(timezone=True)),
    )
    op.create_table(
        "desk_session",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "school_class",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("secret", sa.String(64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "member",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("school_class_id", sa.Integer, sa.ForeignKey("school_class.id"), nullable=False, index=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("number", sa.Text, nullable=False),
        sa.Column("secret", sa.String(32), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("claimed_at", sa.DateTime(timezone=True)),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "practice_set",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("school_class_id", sa.Integer, sa.ForeignKey("school_class.id"), nullable=False),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("declaration", sa.JSON, nullable=False),
        sa.Column("secret", sa.String(64), nullable=False),
        sa.Column("code", sa.String(12), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True)),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.UniqueConstraint("code"),
        sa.UniqueConstraint("school_class_id", "name"),
    )
    op.create_table(
        "binding",
        sa.Column("learner_id", sa.Integer, sa.ForeignKey("learner.id"), primary_key=True),
        sa.Column("school_class_id", sa.Integer, sa.ForeignKey("school_class.id"), primary_key=True),
        sa.Column("member_id", sa.Integer, sa.ForeignKey("member.id"), nullable=False, index=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "handed",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("practice_set_id", sa.Integer, sa.ForeignKey("practice_set.id"), nullable=False),
        sa.Column("member_id", sa.Integer, sa.ForeignKey("member.id"), nullable=False, index=True),
        sa.Column("place", sa.Integer, nullable=False),
        sa.Column("code", sa.String(12), nullable=False),
        sa.Column("exercise", sa.String, nullable=False),
        sa.Column("version", sa.String, nullable=False),
        sa.Column("number", sa.BigInteger, nullable=False),
        sa.Column("ask", sa.String, nullable=False),
        sa.Column("rulebook", sa.String, nullable=False),
        sa.Column("givens", sa.JSON, nullable=False),
        sa.Column("expected", sa.JSON, nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("tolerance", sa.Float, nullable=False),
        sa.Column("kept", sa.JSON, nullable=False),
        sa.Column("excused", sa.Boolean, nullable=False),
        sa.Column("shown_at", sa.DateTime(timezone=True)),
        sa.Column("help", sa.String, nullable=False),
        sa.Column("hints_seen", sa.Integer, nullable=False),
        sa.UniqueConstraint("code"),
        sa.UniqueConstraint("practice_set_id", "member_id", "place"),
    )
    op.create_table(
        "whereabouts",
        sa.Column("practice_set_id", sa.Integer, sa.ForeignKey("practice_set.id"), primary_key=True),
        sa.Column("member_id", sa.Integer, sa.ForeignKey("member.id"), primary_key=True),
        sa.Column("place", sa.Integer, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "class_answer",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("handed_id", sa.Integer, sa.ForeignKey("handed.id"), nullable=False),
        sa.Column("key", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("source", sa.String, nullable=False),
        sa.Column("entry", sa.Text, nullable=False),
        sa.Column("steps", sa.JSON, nullable=False),
        sa.Column("step_verdicts", sa.JSON, nullable=False),
        sa.Column("verdict", sa.String, nullable=False),
        sa.Column("named", sa.String),
        sa.Column("mistakes", sa.JSON, nullable=False),
        sa.Column("feedback", sa.Text, nullable=False),
        sa.Column("counted", sa.Boolean, nullable=False),
        sa.Column("help", sa.String, nullable=False),
        sa.Column("seconds", sa.Float),
        sa.Column("comment", sa.Text, nullable=False),
        sa.UniqueConstraint("handed_id", "key"),
    )
    op.create_table(
        "class_draft",
        sa.Column("handed_id", sa.Integer, sa.ForeignKey("handed.id"), primary_key=True),
        sa.Column("field", sa.String, primary_key=True),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("handed_id", sa.Integer, sa.ForeignKey("handed.id"), nullable=False, index=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("before", sa.JSON, nullable=False),
        sa.Column("after", sa.JSON, nullable=False),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("member_id", sa.Integer, sa.ForeignKey("member.id"), nullable=False, index=True),
        sa.Column("class_answer_id", sa.Integer, sa.ForeignKey("class_answer.id"), index=True),
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("statement", sa.JSON, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True)),
        sa.UniqueConstraint("key"),
    )
    op.create_table(
        "verdict_change",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("class_answer_id", sa.Integer, sa.ForeignKey("class_answer.id"), nullable=False, index=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("before", sa.JSON, nullable=False),
        sa.Column("after", sa.JSON, nullable=False),
    )
