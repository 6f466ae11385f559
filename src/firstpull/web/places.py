"""Where do a run's files lie? Asked of the desk, so that no id is ever used as a path."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from firstpull.core.job.refusals import NoSuchThing
from firstpull.services.jobs import places
from firstpull.web.sent_files import file_in
from firstpull.wiring import Office

PLAN = "plan.json"


def run_folder(office: Office, run_id: str) -> Path:
    """The folder of a run.

    Raises:
        NoSuchThing: there is no such run.
    """
    return places.run_folder(office.folder, office.desk.run(run_id))


def plan_folder(office: Office, run_id: str) -> Path:
    """The folder of a run's plan.

    Raises:
        NoSuchThing: no such run, or it has no plan: not yet, not any more, or it was refused.
    """
    folder = places.plan_folder(office.folder, office.desk.run(run_id))
    if file_in(folder, PLAN) is None:
        raise NoSuchThing(
            where="The plan of this run",
            found="is not there",
            limit="a plan is there once its run is done, until newer ones take its place",
            remedy="Look at the job's newest plan, or plan it again.",
        )
    return folder


def plan_of(office: Office, run_id: str) -> dict[str, Any]:
    """The content of a run's plan.json; a plan never changes once it is there."""
    path = plan_folder(office, run_id) / PLAN
    return _read(path, path.stat().st_mtime_ns)


@lru_cache(maxsize=4)
def _read(path: Path, mtime_ns: int) -> dict[str, Any]:
    return dict(json.loads(path.read_bytes()))
