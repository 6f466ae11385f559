"""What became of runs that were under way when the server last ended?"""

from __future__ import annotations

import dataclasses
import datetime

from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import Run
from firstpull.services.jobs.desk import Desk


class ServerStopped(WorkshopError):
    """The server ended while a plan was being worked out."""

    code = "server_stopped"


def end_interrupted(desk: Desk, *, now: datetime.datetime) -> tuple[Run, ...]:
    """Marks runs that were working as failed, and says which ones still wait.

    Called before anything works, so whatever is marked as working was broken off.

    Returns:
        those waiting, the oldest first; they are to be worked out now.
    """
    under_way = desk.runs_under_way()
    refusal = ServerStopped(
        where="This plan",
        found="was broken off when the program ended",
        remedy="Plan it again; what was finished of it is not worked out anew.",
    )
    for run in under_way:
        if run.state == "working":
            desk.save_run(
                dataclasses.replace(run, state="failed", ended_at=now, refusal=refusal.as_json())
            )
    return tuple(run for run in under_way if run.state == "waiting")
