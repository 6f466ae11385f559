"""The tables of a workspace; versions under migrations/versions lead up to them."""

from __future__ import annotations

import datetime
from typing import Any

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Dialect,
    Double,
    ForeignKey,
    Index,
    String,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship
from sqlalchemy.types import TypeDecorator

STAGES = ("master", "mould", "cast")
STATES = ("waiting", "working", "done", "failed", "cancelled")


class Moment(TypeDecorator[datetime.datetime]):
    """A time with a zone, kept in UTC as text of one width, so that it sorts as text."""

    impl = String
    cache_ok = True

    def process_bind_param(self, value: datetime.datetime | None, dialect: Dialect) -> str | None:
        if value is None:
            return None
        assert value.tzinfo is not None, "a time without a zone"
        return value.astimezone(datetime.UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime.datetime | None:
        return None if value is None else datetime.datetime.fromisoformat(value)


class Base(DeclarativeBase):
    """All tables of a workspace."""

    type_annotation_map = {  # noqa: RUF012  (read by SQLAlchemy as it is)
        datetime.datetime: Moment,
        float: Double,
        dict[str, Any]: JSON(none_as_null=True),
        dict[str, float]: JSON(none_as_null=True),
    }


def _one_of(column: str, values: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=f"known_{column}")


class JobRow(Base):
    """A job with its sheet."""

    __tablename__ = "jobs"

    id: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str]
    due_on: Mapped[datetime.date | None]
    version: Mapped[int]
    made_at: Mapped[datetime.datetime]
    changed_at: Mapped[datetime.datetime]
    archived_at: Mapped[datetime.datetime | None]
    deleted_at: Mapped[datetime.datetime | None]
    sheet_version: Mapped[int]
    sheet_text: Mapped[str]
    revisions: Mapped[list[RevisionRow]] = relationship(
        order_by="RevisionRow.number", passive_deletes=True
    )
    done: Mapped[list[DoneRow]] = relationship(passive_deletes=True)


class RevisionRow(Base):
    """One mesh of a job."""

    __tablename__ = "revisions"
    __table_args__ = (UniqueConstraint("job_id", "number", name="one_revision_a_number"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"))
    number: Mapped[int]
    file_name: Mapped[str]
    path: Mapped[str]
    size_bytes: Mapped[int]
    added_at: Mapped[datetime.datetime]


class DoneRow(Base):
    """A stage that was marked as done."""

    __tablename__ = "done"
    __table_args__ = (_one_of("stage", STAGES),)

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    stage: Mapped[str] = mapped_column(primary_key=True)
    done_on: Mapped[datetime.date]
    measured: Mapped[dict[str, float]]
    note: Mapped[str]


class RunRow(Base):
    """One working out of a plan; ``number`` counts within the job, from 1."""

    __tablename__ = "runs"
    __table_args__ = (
        UniqueConstraint("job_id", "number", name="one_run_a_number"),
        Index("runs_by_state", "state"),
        _one_of("state", STATES),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"))
    number: Mapped[int]
    revision_id: Mapped[str] = mapped_column(ForeignKey("revisions.id", ondelete="CASCADE"))
    sheet_version: Mapped[int]
    state: Mapped[str]
    share: Mapped[float]
    what: Mapped[str]
    made_at: Mapped[datetime.datetime]
    started_at: Mapped[datetime.datetime | None]
    ended_at: Mapped[datetime.datetime | None]
    refusal: Mapped[dict[str, Any] | None]
    summary: Mapped[dict[str, Any] | None]
    revision: Mapped[RevisionRow] = relationship()


class OwnFigureRow(Base):
    """A figure of a material as this shop knows it."""

    __tablename__ = "own_figures"

    material: Mapped[str] = mapped_column(primary_key=True)
    figure: Mapped[str] = mapped_column(primary_key=True)
    low: Mapped[float]
    typical: Mapped[float]
    high: Mapped[float]
    note: Mapped[str]
    changed_at: Mapped[datetime.datetime]
