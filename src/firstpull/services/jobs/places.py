"""Where does a job's mesh lie, and where its runs? Names from outside never become paths."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

from firstpull.core.job.kinds import Run
from firstpull.services.jobs.look import PLAN_FOLDER

JOBS, MESHES, RUNS = "jobs", "mesh", "runs"
LONGEST = 60  # of a name within the workspace
LONGEST_SHOWN = 200


def shown_name(file_name: str) -> str:
    """A file's name as it is shown: the last part, without control characters.

    >>> shown_name("C:\\\\masks\\\\heron 2.stl"), shown_name("../../x\\x00.stl"), shown_name("")
    ('heron 2.stl', 'x.stl', 'mesh')
    """
    last = re.split(r"[/\\]", file_name)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[:LONGEST_SHOWN] or "mesh"


def safe_name(file_name: str) -> str:
    """A file's name as it may lie on any disc: small letters, digits, - and one suffix.

    >>> safe_name("Heron: (v2).STL"), safe_name("../../etc/passwd"), safe_name("M\u00f6we.obj")
    ('heron-v2.stl', 'passwd', 'mowe.obj')
    >>> safe_name(".stl"), safe_name("CON")
    ('mesh.stl', 'con')
    """
    stem, _, suffix = shown_name(file_name).rpartition(".")
    if not _:
        stem, suffix = suffix, ""
    name = _plain(stem)[:LONGEST].strip("-") or "mesh"
    end = _plain(suffix)[:8]
    return f"{name}.{end}" if end else name


def mesh_path(job_id: str, number: int, file_name: str) -> str:
    """Where a revision's mesh lies, relative to the workspace, with "/".

    >>> mesh_path("a2b3", 1, "Heron.stl")
    'jobs/a2b3/mesh/1-heron.stl'
    """
    return f"{JOBS}/{job_id}/{MESHES}/{number}-{safe_name(file_name)}"


def run_folder(workspace: Path, run: Run) -> Path:
    """Where everything of a run lies."""
    return workspace / JOBS / run.job_id / RUNS / run.id


def plan_folder(workspace: Path, run: Run) -> Path:
    """Where the plan of a run lies, once it is done."""
    return run_folder(workspace, run) / PLAN_FOLDER


def _plain(text: str) -> str:
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_text.lower()).strip("-")
