"""The desk over a database: jobs, meshes, sheets and runs, each call one transaction."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, delete, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session, contains_eager, selectinload

from firstpull.core.job.kinds import (
    UNDER_WAY,
    Done,
    Job,
    KeptSheet,
    OwnFigure,
    Revision,
    Run,
    StageName,
)
from firstpull.core.job.refusals import ChangedMeanwhile, NoSuchThing
from firstpull.store.workspace.database import Database
from firstpull.store.workspace.ids import new_id
from firstpull.store.workspace.rows import figure_of, job_of, revision_of, run_of
from firstpull.store.workspace.tables import (
    DoneRow,
    JobRow,
    OwnFigureRow,
    RevisionRow,
    RunRow,
)

CHANGEABLE = {"name", "due_on", "archived_at", "deleted_at"}


class WorkspaceDesk:
    """Fulfils services.jobs.desk.Desk; safe to be shared by threads.

    Args:
        database: open; ``close`` closes it.
    """

    def __init__(self, database: Database) -> None:
        self.folder: Path = database.folder
        self._database = database
        self._read: tuple[int, dict[object, list[Job]]] = (-1, {})

    def close(self) -> None:
        """Ends all connections."""
        self._database.close()

    def jobs(self, *, archived: bool = False) -> Sequence[Job]:
        """Those not archived, or those archived; the one due first, then the newest, first."""
        is_asked = JobRow.archived_at.is_not(None) if archived else JobRow.archived_at.is_(None)
        return self._jobs_where(JobRow.deleted_at.is_(None), is_asked, known_as=archived)

    def deleted(self) -> Sequence[Job]:
        """Those deleted and not yet swept away."""
        return self._jobs_where(JobRow.deleted_at.is_not(None), known_as=None)

    def job(self, job_id: str) -> Job:
        """One job."""
        found = self._jobs_where(JobRow.id == job_id, known_as=job_id)
        if not found:
            raise _no_job(job_id)
        return found[0]

    def add_job(
        self,
        name: str,
        *,
        now: datetime.datetime,
        sheet: str = "",
        due_on: datetime.date | None = None,
    ) -> Job:
        """A new job without a mesh."""
        row = JobRow(
            id=new_id(), name=name, due_on=due_on, version=1, made_at=now, changed_at=now,
            archived_at=None, deleted_at=None, sheet_version=1, sheet_text=sheet,
        )  # fmt: skip
        with self._database.writing() as session:
            session.add(row)
            session.flush()
            return _job(session, row.id)

    def change_job(
        self,
        job_id: str,
        *,
        now: datetime.datetime,
        version: int | None = None,
        **fields: Any,
    ) -> Job:
        """Name, due_on, archived_at, deleted_at; ``version`` None takes whatever stands."""
        assert set(fields) <= CHANGEABLE, fields
        with self._database.writing() as session:
            row = _job_row(session, job_id)
            if version is not None:
                _same_version(f'The job "{row.name}"', version, row.version)
            for name, value in fields.items():
                setattr(row, name, value)
            return _touched(session, row, now)

    def sweep_job(self, job_id: str) -> None:
        """Forget a job for good, with its files."""
        with self._database.writing() as session:
            _job_row(session, job_id)
            session.execute(delete(JobRow).where(JobRow.id == job_id))
        shutil.rmtree(self.folder / "jobs" / job_id, ignore_errors=True)

    def add_revision(
        self, job_id: str, *, file_name: str, path: str, size_bytes: int, now: datetime.datetime
    ) -> Revision:
        """The next revision of a job."""
        with self._database.writing() as session:
            _job_row(session, job_id).changed_at = now
            row = RevisionRow(
                id=new_id(), job_id=job_id, number=_next(session, RevisionRow.number, job_id),
                file_name=file_name, path=path, size_bytes=size_bytes, added_at=now,
            )  # fmt: skip
            session.add(row)
            session.flush()
            return revision_of(row)

    def save_sheet(
        self, job_id: str, *, version: int, text: str, now: datetime.datetime
    ) -> KeptSheet:
        """The sheet anew; ``version`` is the one that the change was made on."""
        with self._database.writing() as session:
            row = _job_row(session, job_id)
            _same_version(f'The sheet of "{row.name}"', version, row.sheet_version)
            row.sheet_text, row.changed_at = text, now
            row.sheet_version += 1
            return KeptSheet(row.sheet_version, row.sheet_text)

    def mark_done(self, job_id: str, done: Done, *, now: datetime.datetime) -> Job:
        """A stage is done; an earlier mark is replaced."""
        with self._database.writing() as session:
            row = _job_row(session, job_id)
            session.merge(
                DoneRow(
                    job_id=job_id, stage=done.stage, done_on=done.done_on,
                    measured=dict(done.measured), note=done.note,
                )
            )  # fmt: skip
            return _touched(session, row, now)

    def unmark_done(self, job_id: str, stage: StageName, *, now: datetime.datetime) -> Job:
        """It is not."""
        with self._database.writing() as session:
            row = _job_row(session, job_id)
            session.execute(delete(DoneRow).where(DoneRow.job_id == job_id, DoneRow.stage == stage))
            return _touched(session, row, now)

    def add_run(self, job_id: str, *, now: datetime.datetime) -> Run:
        """A run of the job's last revision and sheet as they stand, waiting."""
        with self._database.writing() as session:
            job = _job_row(session, job_id)
            if not job.revisions:
                raise _nothing(f'The job "{job.name}"', "has no mesh to plan", "Add its mesh.")
            row = RunRow(
                id=new_id(), job_id=job_id, number=_next(session, RunRow.number, job_id),
                revision=job.revisions[-1], sheet_version=job.sheet_version, state="waiting",
                share=0.0, what="waiting", made_at=now,
            )  # fmt: skip
            session.add(row)
            session.flush()
            return run_of(row)

    def run(self, run_id: str) -> Run:
        """One run."""
        with self._database.reading() as session:
            return run_of(_run_row(session, run_id))

    def runs(self, job_id: str) -> Sequence[Run]:
        """Of one job, the newest first."""
        with self._database.reading() as session:
            _job_row(session, job_id)
            asked = _runs().where(RunRow.job_id == job_id).order_by(RunRow.number.desc())
            return [run_of(row) for row in session.scalars(asked)]

    def runs_under_way(self) -> Sequence[Run]:
        """Waiting or working, the oldest first."""
        with self._database.reading() as session:
            asked = _runs().where(RunRow.state.in_(UNDER_WAY))
            rows = session.scalars(asked.order_by(RunRow.made_at, RunRow.number))
            return [run_of(row) for row in rows]

    def save_run(self, run: Run) -> None:
        """A run as it stands now."""
        with self._database.writing() as session:
            row = _run_row(session, run.id)
            row.state, row.share, row.what = run.state, run.share, run.what
            row.started_at, row.ended_at = run.started_at, run.ended_at
            row.refusal, row.summary = run.refusal, run.summary

    def own_figures(self) -> Sequence[OwnFigure]:
        """All that this shop set."""
        with self._database.reading() as session:
            return _own_figures(session)

    def save_own_figure(self, figure: OwnFigure) -> None:
        """Set one; an earlier one is replaced."""
        with self._database.writing() as session:
            session.merge(
                OwnFigureRow(
                    material=figure.material, figure=figure.figure, low=figure.low,
                    typical=figure.typical, high=figure.high, note=figure.note,
                    changed_at=figure.changed_at,
                )
            )  # fmt: skip

    def drop_own_figure(self, material: str, figure: str) -> None:
        """Back to the row's own."""
        with self._database.writing() as session:
            row = session.get(OwnFigureRow, (material, figure))
            if row is None:
                raise _nothing(
                    f"The {figure} of {material}", "is no figure of your own", "Reload the page."
                )
            session.delete(row)

    def _jobs_where(self, *conditions: ColumnElement[bool], known_as: object) -> list[Job]:
        """What was read since the last write is not read again: pages ask often."""
        turn = self._database.turn
        if self._read[0] != turn:
            self._read = (turn, {})
        read = self._read[1]
        if known_as not in read:
            with self._database.reading() as session:
                read[known_as] = _jobs(session, *conditions)
        return list(read[known_as])


def _jobs(session: Session, *conditions: ColumnElement[bool]) -> list[Job]:
    """Jobs with all that belongs to them, in as many queries for many as for one."""
    asked = (
        select(JobRow)
        .where(*conditions)
        .options(selectinload(JobRow.revisions), selectinload(JobRow.done))
        .order_by(JobRow.due_on.is_(None), JobRow.due_on, JobRow.made_at.desc(), JobRow.id)
        .execution_options(populate_existing=True)
    )
    rows = session.scalars(asked).all()
    last_runs = _last_of_each(session, RunRow.state != "cancelled", *conditions)
    last_plans = _last_of_each(session, RunRow.state == "done", *conditions)
    own = tuple(_own_figures(session))
    return [
        replace(
            job_of(row, last_run=last_runs.get(row.id), last_plan=last_plans.get(row.id)),
            own_figures=own,
        )
        for row in rows
    ]


def _own_figures(session: Session) -> list[OwnFigure]:
    asked = select(OwnFigureRow).order_by(OwnFigureRow.material, OwnFigureRow.figure)
    return [figure_of(row) for row in session.scalars(asked)]


def _last_of_each(
    session: Session, which: ColumnElement[bool], *conditions: ColumnElement[bool]
) -> dict[str, Run]:
    newest = (
        select(RunRow.job_id, func.max(RunRow.number).label("number"))
        .join(JobRow, JobRow.id == RunRow.job_id)
        .where(which, *conditions)
        .group_by(RunRow.job_id)
        .subquery()
    )
    asked = _runs().join(
        newest, (RunRow.job_id == newest.c.job_id) & (RunRow.number == newest.c.number)
    )
    return {row.job_id: run_of(row) for row in session.scalars(asked)}


def _runs() -> Any:
    """Runs with the revision that each plans, in one query."""
    return select(RunRow).join(RunRow.revision).options(contains_eager(RunRow.revision))


def _job(session: Session, job_id: str) -> Job:
    found = _jobs(session, JobRow.id == job_id)
    if not found:
        raise _no_job(job_id)
    return found[0]


def _job_row(session: Session, job_id: str) -> JobRow:
    row = session.get(JobRow, job_id)
    if row is None:
        raise _no_job(job_id)
    return row


def _run_row(session: Session, run_id: str) -> RunRow:
    row = session.get(RunRow, run_id)
    if row is None:
        raise _nothing(f'The run "{run_id}"', "is not there", "Reload the page.")
    return row


def _touched(session: Session, row: JobRow, now: datetime.datetime) -> Job:
    row.version += 1
    row.changed_at = now
    session.flush()
    return _job(session, row.id)


def _next(session: Session, number: InstrumentedAttribute[int], job_id: str) -> int:
    last = session.scalar(select(func.max(number)).where(number.class_.job_id == job_id))
    return (last or 0) + 1


def _same_version(where: str, made_on: int, stands: int) -> None:
    if made_on != stands:
        raise ChangedMeanwhile(
            where=where,
            found="was changed meanwhile, in another window or by someone else",
            limit=f"the change was made on version {made_on} and version {stands} stands",
            remedy="Look at what stands now and make the change again.",
        )


def _no_job(job_id: str) -> NoSuchThing:
    return _nothing(f'The job "{job_id}"', "is not there", "It may have been swept away; reload.")


def _nothing(where: str, found: str, remedy: str) -> NoSuchThing:
    return NoSuchThing(where=where, found=found, remedy=remedy)
