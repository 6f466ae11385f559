"""A job as plain data: its card in the list, and all of it on its own page."""

from __future__ import annotations

import datetime
from typing import Any

from firstpull.core.job.kinds import Done, Job, Revision, Run
from firstpull.services.jobs.card_picture import picture_of
from firstpull.services.jobs.progress_words import confirmed, is_current, next_told, stages_told
from firstpull.services.jobs.sheet_read import sheet_read


def card_told(job: Job) -> dict[str, Any]:
    """What the list shows of a job."""
    read = sheet_read(job.sheet.text)
    said = confirmed(read)
    newest = job.revisions[-1] if job.revisions else None
    return {
        "id": job.id,
        "name": job.name,
        "due_on": job.due_on.isoformat() if job.due_on else None,
        "version": job.version,
        "made_at": _moment(job.made_at),
        "changed_at": _moment(job.changed_at),
        "archived_at": _moment(job.archived_at),
        "deleted_at": _moment(job.deleted_at),
        "castings": read.sheet.job.good_castings if said["castings"] else None,
        "picture": _picture(job.last_plan),
        "file_name": newest.file_name if newest else None,
        "revision_count": len(job.revisions),
        "stages": stages_told(job),
        "next": next_told(job, read),
        "run": run_told(job.last_run) if job.last_run else None,
        "plan_id": job.last_plan.id if job.last_plan else None,
        "plan_is_current": is_current(job),
    }


def job_told(job: Job) -> dict[str, Any]:
    """All of a job: its card and what hangs on it."""
    return card_told(job) | {
        "revisions": [_revision_told(revision) for revision in job.revisions],
        "sheet_version": job.sheet.version,
        "done": [_done_told(mark) for mark in job.done],
        "confirmed": confirmed(sheet_read(job.sheet.text)),
        "summary": job.last_plan.summary if job.last_plan else None,
    }


def run_told(run: Run) -> dict[str, Any]:
    """A run, without its summary."""
    return {
        "id": run.id,
        "job_id": run.job_id,
        "revision_number": run.revision_number,
        "sheet_version": run.sheet_version,
        "state": run.state,
        "share": run.share,
        "what": run.what,
        "made_at": _moment(run.made_at),
        "started_at": _moment(run.started_at),
        "ended_at": _moment(run.ended_at),
        "refusal": run.refusal,
    }


def _revision_told(revision: Revision) -> dict[str, Any]:
    return {
        "id": revision.id,
        "number": revision.number,
        "file_name": revision.file_name,
        "size_bytes": revision.size_bytes,
        "added_at": _moment(revision.added_at),
    }


def _done_told(mark: Done) -> dict[str, Any]:
    return {
        "stage": mark.stage,
        "done_on": mark.done_on.isoformat(),
        "measured": dict(mark.measured),
        "note": mark.note,
    }


def _picture(plan: Run | None) -> str | None:
    return f"/api/runs/{plan.id}/card" if plan and picture_of(plan.summary) else None


def _moment(at: datetime.datetime | None) -> str | None:
    return at.astimezone(datetime.UTC).isoformat().replace("+00:00", "Z") if at else None
