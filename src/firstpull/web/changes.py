"""A change is told: to who made it, to all open pages, and to who came too late."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

from firstpull.core.job.kinds import Job
from firstpull.core.job.refusals import ChangedMeanwhile
from firstpull.services.jobs.told import job_told
from firstpull.wiring import Office


def job_changed(office: Office, job: Job, *, gone: bool = False) -> dict[str, Any]:
    """The job as it is told, once all open pages have heard that it changed."""
    event: dict[str, Any] = {"id": job.id, "version": job.version}
    office.publish("job", {**event, "gone": True} if gone else event)
    return job_told(job)


@contextlib.contextmanager
def with_theirs(read: Callable[[], dict[str, Any]]) -> Iterator[None]:
    """A change that comes too late is refused together with how it stands now.

    Args:
        read: the thing as it stands, in the shape that the route answers with.
    """
    try:
        yield
    except ChangedMeanwhile as refusal:
        refusal.theirs = read()  # type: ignore[attr-defined]
        raise
