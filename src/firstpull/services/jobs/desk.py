"""What services ask of the place where jobs are kept."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

from firstpull.core.job.kinds import Done, Job, KeptSheet, OwnFigure, Revision, Run, StageName


class Desk(Protocol):
    """Where jobs are kept; each call is one transaction, whole or not at all.

    Times are given by whoever calls. A job, run or revision that is not there raises
    ``NoSuchThing``; a change on an old version raises ``ChangedMeanwhile``. Jobs that were
    deleted are found by ``job`` and ``deleted``, not by ``jobs``.
    """

    folder: Path

    def jobs(self, *, archived: bool = False) -> Sequence[Job]:
        """Those not archived, or those archived; the one due first, then the newest, first."""

    def deleted(self) -> Sequence[Job]:
        """Those deleted and not yet swept away."""

    def job(self, job_id: str) -> Job:
        """One job."""

    def add_job(
        self,
        name: str,
        *,
        now: datetime.datetime,
        sheet: str = "",
        due_on: datetime.date | None = None,
    ) -> Job:
        """A new job without a mesh."""

    def change_job(
        self,
        job_id: str,
        *,
        now: datetime.datetime,
        version: int | None = None,
        **fields: Any,
    ) -> Job:
        """Name, due_on, archived_at, deleted_at; ``version`` None takes whatever stands."""

    def sweep_job(self, job_id: str) -> None:
        """Forget a job for good, with its files."""

    def add_revision(
        self, job_id: str, *, file_name: str, path: str, size_bytes: int, now: datetime.datetime
    ) -> Revision:
        """The next revision of a job."""

    def save_sheet(
        self, job_id: str, *, version: int, text: str, now: datetime.datetime
    ) -> KeptSheet:
        """The sheet anew; ``version`` is the one that the change was made on."""

    def mark_done(self, job_id: str, done: Done, *, now: datetime.datetime) -> Job:
        """A stage is done; an earlier mark is replaced."""

    def unmark_done(self, job_id: str, stage: StageName, *, now: datetime.datetime) -> Job:
        """It is not."""

    def add_run(self, job_id: str, *, now: datetime.datetime) -> Run:
        """A run of the job's last revision and sheet as they stand, waiting."""

    def run(self, run_id: str) -> Run:
        """One run."""

    def runs(self, job_id: str) -> Sequence[Run]:
        """Of one job, the newest first."""

    def runs_under_way(self) -> Sequence[Run]:
        """Waiting or working, the oldest first."""

    def save_run(self, run: Run) -> None:
        """A run as it stands now."""

    def own_figures(self) -> Sequence[OwnFigure]:
        """All that this shop set."""

    def save_own_figure(self, figure: OwnFigure) -> None:
        """Set one; an earlier one is replaced."""

    def drop_own_figure(self, material: str, figure: str) -> None:
        """Back to the row's own."""
