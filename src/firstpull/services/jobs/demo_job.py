"""The demo job in a workspace: an invented heron half-mask for a river parade."""

from __future__ import annotations

import datetime
import tempfile
import threading
from pathlib import Path
from typing import Any

from firstpull.core.job.kinds import Job
from firstpull.core.progress import Progress, quiet
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.take_in import new_job_from
from firstpull.services.plan_types import DEMO_TRIANGLES
from firstpull.services.worker import run_in_worker
from firstpull.services.write_sheet import lines_for

DEMO_FILE = "heron half-mask.stl"


def demo_job(
    desk: Desk,
    *,
    now: datetime.datetime,
    triangles: int = DEMO_TRIANGLES,
    cancel: threading.Event | None = None,
) -> Job:
    """A new demo job, its mesh written into the workspace.

    Args:
        desk: where it is kept.
        now: with a time zone.
        triangles: about how many its mesh has.
        cancel: set from another thread to call it off.

    Raises:
        Cancelled: it was called off; there is no job then.
        WorkshopError: there is no room, or the worker was lost.
    """
    with tempfile.TemporaryDirectory(dir=desk.folder, prefix=".demo-") as passing:
        mesh = Path(passing) / "demo.stl"
        fields = run_in_worker(_write_demo, mesh, triangles, cancel=cancel)
        return new_job_from(
            desk,
            mesh,
            file_name=DEMO_FILE,
            name=fields["job.name"],
            sheet=lines_for(fields),
            now=now,
        )


def demo_once(
    desk: Desk,
    *,
    now: datetime.datetime,
    triangles: int = DEMO_TRIANGLES,
    cancel: threading.Event | None = None,
) -> Job | None:
    """The demo job where none is there, archived ones counted; None where there is one."""
    for job in (*desk.jobs(), *desk.jobs(archived=True)):
        if any(revision.file_name == DEMO_FILE for revision in job.revisions):
            return None
    return demo_job(desk, now=now, triangles=triangles, cancel=cancel)


def _write_demo(mesh: Path, triangles: int, *, progress: Progress = quiet) -> dict[str, Any]:
    """In a worker, so that a server never loads the geometry; gives the sheet's fields."""
    from firstpull.core.demo import demo_sheet, heron_half_mask
    from firstpull.files.write_stl import write_stl

    progress("building the demo's mesh", 0.0)
    write_stl(mesh, heron_half_mask(triangles=triangles))
    return {
        f"{group}.{name}": value
        for group, fields in demo_sheet().items()
        for name, value in fields.items()
    }
