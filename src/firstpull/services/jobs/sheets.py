"""A job's sheet changes: fields of a form, its whole text, or a choice that is to stay."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from firstpull.core.job.kinds import Job, KeptSheet
from firstpull.core.job.refusals import ChangedMeanwhile
from firstpull.core.sheet import JobSheet, describe_fields
from firstpull.core.sheet_check import BadSheet, nearest_name, with_answers
from firstpull.services.chosen import CHOICES, NoPlan, plan_in, to_mould_of, value_of
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.names import NAME
from firstpull.services.jobs.places import plan_folder
from firstpull.services.jobs.sheet_read import sheet_read
from firstpull.services.read_sheet import MOST_BYTES, UnreadableSheet, sheet_from_text
from firstpull.services.write_sheet import with_fields

WHERE = "The job sheet"


def change_sheet(
    desk: Desk, job_id: str, fields: Mapping[str, Any], *, version: int, now: datetime.datetime
) -> KeptSheet:
    """Set fields of a job's sheet; comments and everything else in its text stay.

    Args:
        desk: where it is kept.
        job_id: which.
        fields: dotted name to value; None takes the field out.
        version: of the sheet that the change was made on.
        now: with a time zone.

    Raises:
        NoSuchThing: no such job.
        ChangedMeanwhile: the sheet has another version by now.
        BadSheet: a field is unknown or out of range, or two do not go together; nothing is
            changed.
        SheetNotEdited: its text is written in a way that cannot be edited by itself.
    """
    job = _on_version(desk, job_id, version)
    _check(job.sheet.text, fields)
    return _saved(desk, job, with_fields(job.sheet.text, dict(fields)), now=now)


def put_sheet_text(
    desk: Desk, job_id: str, text: str, *, version: int, now: datetime.datetime
) -> KeptSheet:
    """The whole sheet anew, as it was written elsewhere; arguments as :func:`change_sheet`.

    Raises:
        NoSuchThing, ChangedMeanwhile: as there.
        BadSheet: it is no good sheet; says the line. Nothing is changed.
    """
    job = _on_version(desk, job_id, version)
    plain = text.removeprefix("\ufeff")
    if len(plain.encode("utf-8", "replace")) > MOST_BYTES:
        raise UnreadableSheet(
            where=WHERE,
            found=f"is larger than {MOST_BYTES // 1024} kB, too large for a job sheet",
            remedy="Check that it is the sheet and not the mesh.",
        )
    sheet_from_text(plain)
    return _saved(desk, job, plain, now=now)


def lock_choice(
    desk: Desk, job_id: str, choice: str, *, locked: bool, version: int, now: datetime.datetime
) -> KeptSheet:
    """Write a choice of the plan shown into the sheet, so that it stays; or take it out.

    Args:
        choice: of ``CHOICES``: "up", "pieces", "walls" or "pulls".
        locked: whether it is to stay.

    Raises:
        NoSuchThing, ChangedMeanwhile: as :func:`change_sheet`.
        NoPlan: there is no plan of this mesh to take it from, or it has no such choice.
    """
    job = _on_version(desk, job_id, version)
    value = _chosen(desk, job, choice) if locked else None
    text = with_fields(job.sheet.text, {CHOICES[choice]: value})
    return job.sheet if text == job.sheet.text else _saved(desk, job, text, now=now)


def _on_version(desk: Desk, job_id: str, version: int) -> Job:
    job = desk.job(job_id)
    if job.sheet.version != version:
        raise ChangedMeanwhile(
            where=f'The sheet of "{job.name}"',
            found="was changed meanwhile, in another window or by someone else",
            limit=f"the change was made on version {version} and version {job.sheet.version} "
            "stands",
            remedy="Look at what stands now and make the change again.",
        )
    return job


def _saved(desk: Desk, job: Job, text: str, *, now: datetime.datetime) -> KeptSheet:
    """Keeps the text; a name that it gives goes onto the job's card too."""
    kept = desk.save_sheet(job.id, version=job.sheet.version, text=text, now=now)
    read = sheet_read(text)
    if NAME in read.given and read.sheet.job.name != job.name:
        desk.change_job(job.id, name=read.sheet.job.name, now=now)
    return kept


def _check(text: str, fields: Mapping[str, Any]) -> None:
    """Refuses in the form's own words, before the text is touched."""
    known = [entry.name for entry in describe_fields()]
    for field in fields:
        if field not in known:
            near = nearest_name(field, known)
            raise BadSheet(
                where=WHERE,
                found=f'has no field "{field}"',
                remedy=f'Did you mean "{near}"?' if near else "See the list of fields.",
            )
    plain = JobSheet()
    answers = {
        field: _default(plain, field) if value is None else value for field, value in fields.items()
    }
    with_answers(sheet_read(text).sheet, answers, place=lambda field: WHERE)


def _default(sheet: JobSheet, field: str) -> Any:
    group, _, name = field.rpartition(".")
    values = sheet.model_dump()
    return (values[group] if group else values)[name]


def _chosen(desk: Desk, job: Job, choice: str) -> Any:
    run = job.last_plan
    if run is None or run.revision_id != job.revisions[-1].id:
        raise NoPlan(
            where=f'The job "{job.name}"',
            found="has no plan of its newest mesh",
            limit="a choice is locked from the plan that made it",
            remedy="Wait for the plan, then lock it.",
        )
    plan = plan_in(plan_folder(desk.folder, run))
    value = value_of(plan, choice, to_mould_of(plan))
    if value is None:
        raise NoPlan(
            where="The shell",
            found="is in one piece",
            limit="there is no wall to lock",
            remedy="Ask for more pieces first.",
        )
    return value
