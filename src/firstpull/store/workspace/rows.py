"""Rows of the tables as the frozen values that services work with."""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from firstpull.core.job.kinds import (
    Done,
    Job,
    KeptSheet,
    OwnFigure,
    Revision,
    Run,
    RunState,
    StageName,
)
from firstpull.store.workspace.tables import (
    STAGES,
    DoneRow,
    JobRow,
    OwnFigureRow,
    RevisionRow,
    RunRow,
)


def job_of(row: JobRow, *, last_run: Run | None, last_plan: Run | None) -> Job:
    """A job with its revisions, sheet and done stages."""
    return Job(
        id=row.id,
        name=row.name,
        due_on=row.due_on,
        version=row.version,
        made_at=row.made_at,
        changed_at=row.changed_at,
        archived_at=row.archived_at,
        deleted_at=row.deleted_at,
        revisions=tuple(map(revision_of, row.revisions)),
        sheet=KeptSheet(row.sheet_version, row.sheet_text),
        done=_in_order(map(_done_of, row.done)),
        last_run=last_run,
        last_plan=last_plan,
    )


def revision_of(row: RevisionRow) -> Revision:
    """A revision."""
    return Revision(row.id, row.number, row.file_name, row.path, row.size_bytes, row.added_at)


def run_of(row: RunRow) -> Run:
    """A run, with the number of the revision that it plans."""
    return Run(
        id=row.id,
        job_id=row.job_id,
        revision_id=row.revision_id,
        sheet_version=row.sheet_version,
        state=cast(RunState, row.state),
        share=row.share,
        what=row.what,
        made_at=row.made_at,
        started_at=row.started_at,
        ended_at=row.ended_at,
        refusal=row.refusal,
        summary=row.summary,
        revision_number=row.revision.number,
    )


def figure_of(row: OwnFigureRow) -> OwnFigure:
    """A figure of this shop."""
    return OwnFigure(
        row.material, row.figure, row.low, row.typical, row.high, row.note, row.changed_at
    )


def _done_of(row: DoneRow) -> Done:
    return Done(cast(StageName, row.stage), row.done_on, dict(row.measured), row.note)


def _in_order(done: Iterable[Done]) -> tuple[Done, ...]:
    return tuple(sorted(done, key=lambda entry: STAGES.index(entry.stage)))
