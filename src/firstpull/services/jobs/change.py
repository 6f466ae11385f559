"""A job's card changes: its name, its day, whether it is put away, deleted or brought back."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from firstpull.core.job.kinds import Job
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.names import checked_name, sheet_named

KEPT_FOR = datetime.timedelta(days=30)
"""How long a deleted job can be brought back."""


def change_job(
    desk: Desk, job_id: str, fields: Mapping[str, Any], *, version: int, now: datetime.datetime
) -> Job:
    """Change what stands on a job's card.

    Args:
        desk: where it is kept.
        job_id: which.
        fields: of "name" (text), "due_on" (a date, or None for no day) and "archived"
            (yes or no); those left out stay.
        version: that the change was made on.
        now: with a time zone.

    Raises:
        NoSuchThing: no such job.
        ChangedMeanwhile: the job has another version by now; nothing is changed.
        BadSheet: a job may not have this name.
    """
    changes = {key: fields[key] for key in ("due_on",) if key in fields}
    if "name" in fields:
        changes["name"] = checked_name(fields["name"])
    if "archived" in fields:
        changes["archived_at"] = now if fields["archived"] else None
    job = desk.change_job(job_id, version=version, now=now, **changes)
    if "name" in changes:
        _name_sheet(desk, job, now=now)
    return job


def delete_job(desk: Desk, job_id: str, *, now: datetime.datetime) -> Job:
    """Put a job into the bin, where it can be brought back for 30 days.

    Raises:
        NoSuchThing: no such job.
    """
    job = desk.job(job_id)
    return job if job.deleted_at else desk.change_job(job_id, deleted_at=now, now=now)


def restore_job(desk: Desk, job_id: str, *, now: datetime.datetime) -> Job:
    """Bring a deleted job back as it was; one that was not deleted stays.

    Raises:
        NoSuchThing: no such job, or it was swept away.
    """
    job = desk.job(job_id)
    return desk.change_job(job_id, deleted_at=None, now=now) if job.deleted_at else job


def sweep_deleted(
    desk: Desk, *, now: datetime.datetime, older_than: datetime.timedelta = KEPT_FOR
) -> tuple[str, ...]:
    """Forget for good what was deleted long ago; their ids."""
    gone = [
        job.id for job in desk.deleted() if job.deleted_at and now - job.deleted_at >= older_than
    ]
    for job_id in gone:
        desk.sweep_job(job_id)
    return tuple(gone)


def _name_sheet(desk: Desk, job: Job, *, now: datetime.datetime) -> None:
    """Pages print the sheet's name: where it gives one, it is the card's."""
    text = sheet_named(job.sheet.text, job.name)
    if text != job.sheet.text:
        desk.save_sheet(job.id, version=job.sheet.version, text=text, now=now)
