"""The demo job: the heron half-mask as a mesh file in the workspace, with its sheet."""

from __future__ import annotations

import datetime
from pathlib import Path

from firstpull.core.job.kinds import Job
from firstpull.core.progress import Progress, quiet
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.take_in import new_job_from
from firstpull.services.plan_types import DEMO_TRIANGLES
from firstpull.services.worker import run_in_worker

DEMO_FILE = "heron-half-mask.stl"


def demo_job(
    desk: Desk, out: Path, *, now: datetime.datetime, triangles: int = DEMO_TRIANGLES
) -> Job:
    """A new job of the demo's mesh; the mesh is built in a process of its own.

    Args:
        desk: where it is kept.
        out: an STL file that is not there yet, on the workspace's disc; it is moved from there
            to its place.
        now: with a time zone.
        triangles: about how many.

    Raises:
        WorkshopError: the file cannot be written; there is no job then.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    try:
        sheet = run_in_worker(write_heron, out, triangles)
        return new_job_from(desk, out, file_name=DEMO_FILE, now=now, sheet=sheet)
    finally:
        out.unlink(missing_ok=True)


def has_demo(desk: Desk) -> bool:
    """Whether a demo job is kept, put away or deleted but not yet forgotten."""
    kept = (*desk.jobs(), *desk.jobs(archived=True), *desk.deleted())
    return any(revision.file_name == DEMO_FILE for job in kept for revision in job.revisions)


def write_heron(out: Path, triangles: int, *, progress: Progress = quiet) -> str:
    """Writes the mesh; gives the sheet's text. Called in a worker: both need the shapes."""
    from firstpull.core.demo import demo_sheet, heron_half_mask
    from firstpull.files.write_mesh import write_mesh
    from firstpull.services.write_sheet import lines_for

    progress("building the demo's mesh", 0.0)
    write_mesh(out, heron_half_mask(triangles=triangles), unit="mm")
    return lines_for(
        {
            f"{group}.{name}": value
            for group, fields in demo_sheet().items()
            for name, value in fields.items()
        }
    )
