"""What a workspace keeps of a job: frozen values, no knowledge of where they are kept."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any, Literal

StageName = Literal["master", "mould", "cast"]
"""The stages of a job, in the order of the work."""

RunState = Literal["waiting", "working", "done", "failed", "cancelled"]

UNDER_WAY: tuple[RunState, ...] = ("waiting", "working")


@dataclass(frozen=True)
class Revision:
    """One mesh of a job; the one with the highest number is planned.

    Args:
        id: of this revision.
        number: from 1.
        file_name: as it was called where it came from; shown, never used as a path.
        path: where it lies, relative to the workspace, with "/".
        size_bytes: of the file.
        added_at: with a time zone.
    """

    id: str
    number: int
    file_name: str
    path: str
    size_bytes: int
    added_at: datetime.datetime


@dataclass(frozen=True)
class KeptSheet:
    """The job sheet as written, with comments.

    Args:
        version: raised by one with each change.
        text: YAML; empty where nothing was said.
    """

    version: int
    text: str


@dataclass(frozen=True)
class Done:
    """A stage that a person marked as done.

    Args:
        stage: which.
        done_on: the day.
        measured: what was measured, by name with unit, such as {"mass_g": 212.0}.
        note: in their words.
    """

    stage: StageName
    done_on: datetime.date
    measured: dict[str, float] = field(default_factory=dict)
    note: str = ""


@dataclass(frozen=True)
class Run:
    """One working out of a plan.

    Args:
        id: of this run.
        job_id, revision_id, sheet_version: what was planned.
        state: where it stands.
        share: of the work done, 0 to 1.
        what: what is being done, in words.
        made_at, started_at, ended_at: with a time zone; None where not yet.
        refusal: why it failed, as WorkshopError.as_json; None unless it did.
        summary: what a maker wants to know first, as run_plan.summary_of; None until done.
        revision_number: of the mesh planned.
    """

    id: str
    job_id: str
    revision_id: str
    sheet_version: int
    state: RunState
    share: float
    what: str
    made_at: datetime.datetime
    started_at: datetime.datetime | None = None
    ended_at: datetime.datetime | None = None
    refusal: dict[str, Any] | None = None
    summary: dict[str, Any] | None = None
    revision_number: int = 1

    @property
    def is_under_way(self) -> bool:
        """Whether it waits or works."""
        return self.state in UNDER_WAY


@dataclass(frozen=True)
class OwnFigure:
    """A figure of a material as this shop knows it; wins over the row that comes along.

    Args:
        material, figure: which, such as "silicone-tin-30a" and "pot_life".
        low, typical, high: in the row's own unit.
        note: where it comes from, in their words.
        changed_at: with a time zone.
    """

    material: str
    figure: str
    low: float
    typical: float
    high: float
    note: str
    changed_at: datetime.datetime


@dataclass(frozen=True)
class Job:
    """A job as kept.

    Args:
        id: short, of small letters and digits.
        name: what it is called.
        due_on: the day it must be ready; None where nobody said.
        version: raised by one with each change of name, due date or done stages.
        made_at, changed_at, archived_at, deleted_at: with a time zone; None where not.
        revisions: by number; the last is planned.
        sheet: the job's answers.
        done: stages marked as done, in the order of the work.
        last_run: the newest run that was not cancelled; None before the first.
        last_plan: the newest run that ended well; its files are what is shown.
        own_figures: of this shop, as they stand now.
    """

    id: str
    name: str
    due_on: datetime.date | None
    version: int
    made_at: datetime.datetime
    changed_at: datetime.datetime
    archived_at: datetime.datetime | None
    deleted_at: datetime.datetime | None
    revisions: tuple[Revision, ...]
    sheet: KeptSheet
    done: tuple[Done, ...] = ()
    last_run: Run | None = None
    last_plan: Run | None = None
    own_figures: tuple[OwnFigure, ...] = ()
