"""A mesh comes in: as a new job, as the next revision of one, or as a copy of a job."""

from __future__ import annotations

import contextlib
import datetime
import errno
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

from firstpull.core.job.kinds import Job, Revision
from firstpull.core.job.naming import plain_name
from firstpull.core.job.refusals import DiscFull
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.names import checked_name, sheet_named
from firstpull.services.jobs.places import mesh_path, shown_name

LONGEST_COPY = 80 - len(", copy")


def new_job_from(
    desk: Desk,
    received: Path,
    *,
    file_name: str,
    now: datetime.datetime,
    name: str | None = None,
    due_on: datetime.date | None = None,
    sheet: str = "",
) -> Job:
    """A job of a mesh file that was received.

    Args:
        desk: where it is kept.
        received: a file of the workspace's disc; it is moved to its place.
        file_name: as it was called where it came from.
        now: with a time zone.
        name: of the job; None takes that of the file.
        due_on: the day it must be ready.
        sheet: its job sheet, a good one.

    Raises:
        BadSheet: a job may not have this name.
        DiscFull: no room; there is no job then, and the file lies where it was.
    """
    called = checked_name(name) if name else plain_name(Path(shown_name(file_name)).stem)
    job = desk.add_job(called, now=now, sheet=sheet, due_on=due_on)
    with _or_no_job(desk, job):
        _keep(desk, job, received, _moved, number=1, file_name=file_name, now=now)
    return desk.job(job.id)


def add_revision(
    desk: Desk, job_id: str, received: Path, *, file_name: str, now: datetime.datetime
) -> Job:
    """A new mesh for a job; arguments as :func:`new_job_from`. It is planned from now on.

    Raises:
        NoSuchThing: no such job.
        DiscFull: no room; the job is as it was.
    """
    job = desk.job(job_id)
    number = len(job.revisions) + 1
    _keep(desk, job, received, _moved, number=number, file_name=file_name, now=now)
    return desk.job(job_id)


def copy_job(desk: Desk, job_id: str, *, now: datetime.datetime) -> Job:
    """A job with the same meshes, sheet and due date, nothing done yet; files are not doubled.

    Raises:
        NoSuchThing: no such job.
        DiscFull: no room; there is no copy then.
    """
    old = desk.job(job_id)
    name = f"{old.name[:LONGEST_COPY].rstrip()}, copy"
    sheet = sheet_named(old.sheet.text, name)
    job = desk.add_job(name, now=now, sheet=sheet, due_on=old.due_on)
    with _or_no_job(desk, job):
        for revision in old.revisions:
            source, number = desk.folder / revision.path, revision.number
            _keep(desk, job, source, _linked, number=number, file_name=revision.file_name, now=now)
    return desk.job(job.id)


def _keep(
    desk: Desk,
    job: Job,
    source: Path,
    put: Callable[[Path, Path], None],
    *,
    number: int,
    file_name: str,
    now: datetime.datetime,
) -> Revision:
    path = _put_free(desk.folder, job, source, put, number=number, file_name=file_name)
    target = desk.folder / path
    try:
        return desk.add_revision(
            job.id,
            file_name=shown_name(file_name),
            path=path,
            size_bytes=target.stat().st_size,
            now=now,
        )
    except BaseException:
        if put is _moved:
            target.replace(source)
        else:
            target.unlink()
        raise


def _put_free(
    folder: Path,
    job: Job,
    source: Path,
    put: Callable[[Path, Path], None],
    *,
    number: int,
    file_name: str,
) -> str:
    """Puts a mesh under this number, or the next that is free where several come at once."""
    while True:
        path = mesh_path(job.id, number, file_name)
        target = folder / path
        with _room(folder):
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                put(source, target)
            except FileExistsError:
                number += 1
                continue
        return path


def _moved(source: Path, target: Path) -> None:
    _linked(source, target)
    source.unlink()


def _linked(source: Path, target: Path) -> None:
    """The same file under a second name, or a copy where the disc knows no such thing."""
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except OSError:
        _copied(source, target)


def _copied(source: Path, target: Path) -> None:
    with target.open("xb") as there:
        try:
            with source.open("rb") as here:
                shutil.copyfileobj(here, there, 1 << 20)
        except BaseException:
            target.unlink()
            raise


@contextlib.contextmanager
def _or_no_job(desk: Desk, job: Job) -> Iterator[None]:
    try:
        yield
    except BaseException:
        desk.sweep_job(job.id)
        raise


@contextlib.contextmanager
def _room(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        if fault.errno not in (errno.ENOSPC, errno.EDQUOT):
            raise
        raise DiscFull(
            where=f"The disc that holds {folder}",
            found="has no room for the mesh",
            limit="nothing was changed",
            remedy="Make room, then add it again.",
        ) from fault
