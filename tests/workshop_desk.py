"""A workspace for tests, with jobs and runs made by hand."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from firstpull.core.job.kinds import Job, Run
from firstpull.services.jobs.places import plan_folder
from firstpull.services.jobs.take_in import new_job_from
from firstpull.store.workspace.desk import WorkspaceDesk

NOW = datetime.datetime(2026, 11, 27, 9, 30, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)

PART: dict[str, Any] = {
    "name": "heron mask",
    "size_mm": [175.4, 189.6, 120.9],
    "printed_mm": [176.0, 190.2, 121.3],
    "pull_mass_g": {"p10": 205.3, "p50": 217.6, "p90": 230.9},
    "castings": 8,
    "skin_mm": 6,
    "silicone_g": 396.2,
    "shell_pieces": 2,
    "removal_proved": True,
}
SUMMARY = {"files": {"pictures/part-1-hero.png": 5, "plan.json": 9}, "parts": [PART]}


def later(days: float) -> datetime.datetime:
    """So many days after NOW."""
    return NOW + days * DAY


def received(desk: WorkspaceDesk, text: bytes = b"solid") -> Path:
    """A mesh file that has just come in."""
    path = desk.folder / f"incoming-{len(list(desk.folder.iterdir()))}"
    path.write_bytes(text)
    return path


def job_with_mesh(desk: WorkspaceDesk, name: str = "Heron.stl", **said: Any) -> Job:
    """A job of a mesh file."""
    return new_job_from(desk, received(desk), file_name=name, now=NOW, **said)


def ended_run(desk: WorkspaceDesk, job_id: str, **changes: Any) -> Run:
    """A run that is over; done unless said otherwise."""
    run = desk.add_run(job_id, now=NOW)
    ended = replace(run, **{"state": "done", "share": 1.0, "summary": SUMMARY} | changes)
    desk.save_run(ended)
    return desk.run(run.id)


def write_plan(desk: WorkspaceDesk, run: Run, **shell: Any) -> Path:
    """A plan.json in a run's folder, as far as locks read it."""
    held = {
        "pieces": [{"pull": [0.6, 0.0, 0.8]}, {"pull": [-0.6, 0.0, 0.8]}],
        "walls": [{"through": [5.0, 0.0, 0.0], "facing": [1.0, 0.0, 0.0]}],
    }
    to_mould = [10.0, 0, 0, 1, 0, 0, -10, 0, 0, 10, 0, 0, 0, 0, 0, 1]
    mould = {"frame": {"to_mould": to_mould}, "shell": held | shell}
    folder = plan_folder(desk.folder, run)
    folder.mkdir(parents=True)
    (folder / "plan.json").write_text(json.dumps({"schema": 1, "parts": [{"moulds": [mould]}]}))
    return folder
