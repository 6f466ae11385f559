"""Jobs, their meshes, sheets, done stages and runs; figures of one's own."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("due_on", sa.Date),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("made_at", sa.String, nullable=False),
        sa.Column("changed_at", sa.String, nullable=False),
        sa.Column("archived_at", sa.String),
        sa.Column("deleted_at", sa.String),
        sa.Column("sheet_version", sa.Integer, nullable=False),
        sa.Column("sheet_text", sa.String, nullable=False),
    )
    op.create_table(
        "revisions",
        sa.Column("id", sa.String, primary_key=True),
        _of_job(),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("file_name", sa.String, nullable=False),
        sa.Column("path", sa.String, nullable=False),
        sa.Column("size_bytes", sa.Integer, nullable=False),
        sa.Column("added_at", sa.String, nullable=False),
        sa.UniqueConstraint("job_id", "number", name="one_revision_a_number"),
    )
    op.create_table(
        "done",
        _of_job(primary_key=True),
        sa.Column("stage", sa.String, primary_key=True),
        sa.Column("done_on", sa.Date, nullable=False),
        sa.Column("measured", sa.JSON, nullable=False),
        sa.Column("note", sa.String, nullable=False),
        sa.CheckConstraint("stage IN ('master', 'mould', 'cast')", name="known_stage"),
    )
    _make_runs()
    op.create_table(
        "own_figures",
        sa.Column("material", sa.String, primary_key=True),
        sa.Column("figure", sa.String, primary_key=True),
        *(sa.Column(name, sa.Double, nullable=False) for name in ("low", "typical", "high")),
        sa.Column("note", sa.String, nullable=False),
        sa.Column("changed_at", sa.String, nullable=False),
    )


def _make_runs() -> None:
    op.create_table(
        "runs",
        sa.Column("id", sa.String, primary_key=True),
        _of_job(),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column(
            "revision_id",
            sa.String,
            sa.ForeignKey("revisions.id", ondelete="CASCADE"),
            nullable=False,
        ),
        sa.Column("sheet_version", sa.Integer, nullable=False),
        sa.Column("state", sa.String, nullable=False),
        sa.Column("share", sa.Double, nullable=False),
        sa.Column("what", sa.String, nullable=False),
        sa.Column("made_at", sa.String, nullable=False),
        sa.Column("started_at", sa.String),
        sa.Column("ended_at", sa.String),
        sa.Column("refusal", sa.JSON),
        sa.Column("summary", sa.JSON),
        sa.UniqueConstraint("job_id", "number", name="one_run_a_number"),
        sa.CheckConstraint(
            "state IN ('waiting', 'working', 'done', 'failed', 'cancelled')", name="known_state"
        ),
    )
    op.create_index("runs_by_state", "runs", ["state"])


def _of_job(*, primary_key: bool = False) -> sa.Column[str]:
    return sa.Column(
        "job_id",
        sa.String,
        sa.ForeignKey("jobs.id", ondelete="CASCADE"),
        primary_key=primary_key,
        nullable=False,
    )
