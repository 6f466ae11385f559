"""Joins the services with the store and the surroundings; the only place that reads them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firstpull.core.progress import Progress, quiet
from firstpull.services.headform_box import HeadformBox
from firstpull.services.jobs.change import sweep_deleted
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.runs import Runner
from firstpull.services.jobs.standby import Standby
from firstpull.services.jobs.take_away import TakeAway
from firstpull.services.plan_types import DEMO_TRIANGLES, PlanRequest
from firstpull.services.run_plan import run_plan as plan_in_worker
from firstpull.services.stages import Stages
from firstpull.store.disk import DiskStore
from firstpull.store.memory import MemoryStore

STORE = "FIRSTPULL_STORE"
DEBUG = "FIRSTPULL_DEBUG"
WORKSPACE = "FIRSTPULL_WORKSPACE"

UPLOAD_LIMIT_BYTES = 400_000_000
SPARE_BYTES = 200_000_000
"""Stay free on the workspace's disc when a mesh is taken in."""


def store_folder(surroundings: Mapping[str, str]) -> Path:
    """Where stage results are kept: FIRSTPULL_STORE, else in the user's cache folder.

    >>> store_folder({"XDG_CACHE_HOME": "/fast"}).as_posix()
    '/fast/firstpull'
    """
    if chosen := surroundings.get(STORE):
        return Path(chosen)
    cache = surroundings.get("XDG_CACHE_HOME") or "~/.cache"
    try:
        return Path(cache).expanduser() / "firstpull"
    except RuntimeError:  # no home: a store that cannot be written keeps nothing
        return Path(os.devnull)


def run_plan(
    request: PlanRequest,
    *,
    progress: Progress = quiet,
    on_done: Callable[[dict[str, Any]], None] | None = None,
) -> dict[str, Any]:
    """Plan a job with the store of this machine; see services.run_plan."""
    store = DiskStore(store_folder(os.environ))
    return plan_in_worker(request, store=store, progress=progress, on_done=on_done)


def forgetful_stages() -> Stages:
    """Stages whose results are kept nowhere but in this process."""
    return Stages(MemoryStore())


def wants_traces() -> bool:
    """Whether a fault of the program shows its traceback."""
    return os.environ.get(DEBUG, "") not in ("", "0")


def workspace_folder(surroundings: Mapping[str, str]) -> Path:
    """Where jobs are kept: FIRSTPULL_WORKSPACE, else ``firstpull`` in the home folder.

    >>> workspace_folder({"FIRSTPULL_WORKSPACE": "/shop/jobs"}).as_posix()
    '/shop/jobs'
    """
    return Path(surroundings.get(WORKSPACE) or "~/firstpull").expanduser()


def workspace_here() -> Path:
    """The workspace of this machine's user."""
    return workspace_folder(os.environ)


def now() -> datetime:
    """This moment, with its time zone."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Office:
    """What the app works with; made once, shared by all requests.

    Args:
        desk: where jobs are kept.
        runner: plans them, one after the other.
        standby: answers questions about what was planned.
        take_away: makes archives of plans.
        headform: a plain head to show beside a part.
        publish: tells all open pages of a change: its name and plain data.
        clock: this moment.
        upload_limit_bytes: the largest mesh file that is taken in.
        spare_bytes: must stay free on the disc when one is.
        demo_triangles: how fine the demo job's mesh is.
    """

    desk: Desk
    runner: Runner
    standby: Standby
    take_away: TakeAway
    headform: HeadformBox
    publish: Callable[[str, dict[str, Any]], None]
    clock: Callable[[], datetime] = now
    upload_limit_bytes: int = UPLOAD_LIMIT_BYTES
    spare_bytes: int = SPARE_BYTES
    demo_triangles: int = DEMO_TRIANGLES

    @property
    def folder(self) -> Path:
        """The workspace."""
        return self.desk.folder


@contextmanager
def open_office(
    folder: Path,
    *,
    address: str,
    publish: Callable[[str, dict[str, Any]], None],
    on_fault: Callable[[BaseException], Any],
) -> Iterator[Office]:
    """An office over a workspace on disc; all of it ends with the ``with`` block.

    Runs that waited when it was last open are taken up; those that were broken off are told
    as failed; jobs that were deleted long ago are forgotten.

    Args:
        folder: the workspace; made where it is missing.
        address: where it is served, told to whoever else wants to open it.
        publish: see Office.
        on_fault: told what went wrong in the program beside all requests.

    Raises:
        WorkshopError: the workspace is in use, of a newer version, damaged or not writable.
    """
    from firstpull.store.workspace.workspace import open_workspace

    with open_workspace(folder, address=address) as workspace:
        desk = workspace.desk
        sweep_deleted(desk, now=now())
        with (
            closing(Standby(desk.folder, on_fault=on_fault)) as standby,
            closing(
                Runner(
                    desk,
                    folder=desk.folder,
                    store=DiskStore(store_folder(os.environ)),
                    publish=publish,
                    clock=now,
                    on_planned=standby.warm,
                    on_fault=on_fault,
                )
            ) as runner,
        ):
            runner.resume()
            yield Office(
                desk=desk,
                runner=runner,
                standby=standby,
                take_away=TakeAway(desk.folder),
                headform=HeadformBox(),
                publish=publish,
            )
