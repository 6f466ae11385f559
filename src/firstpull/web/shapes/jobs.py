"""Jobs as they are listed and shown, and what is asked to change one."""

from __future__ import annotations

import datetime
from typing import Any, Literal

from pydantic import Field

from firstpull.core.job.kinds import RunState, StageName
from firstpull.web.shapes.base import Asked, Refusal, Shape

StageState = Literal["waiting", "working", "attention", "planned", "done"]


class Run(Shape):
    """One working out of a plan."""

    id: str
    job_id: str
    revision_number: int = Field(description="Which mesh of the job was planned; from 1.")
    sheet_version: int = Field(description="Which version of the job sheet was planned.")
    state: RunState
    share: float = Field(description="Of the work done, 0 to 1.")
    what: str = Field(description="What is being done, in words.")
    made_at: datetime.datetime
    started_at: datetime.datetime | None
    ended_at: datetime.datetime | None
    refusal: Refusal | None = Field(description="Why it failed.")


class Stage(Shape):
    """Where a job stands in one stage of the work."""

    stage: StageName
    state: StageState
    words: str


class Next(Shape):
    """What a person does next."""

    words: str
    stage: StageName | None


class JobCard(Shape):
    """A job as the list shows it."""

    id: str
    name: str
    due_on: datetime.date | None
    version: int = Field(description="Raised by one with each change; send it with yours.")
    made_at: datetime.datetime
    changed_at: datetime.datetime
    archived_at: datetime.datetime | None
    deleted_at: datetime.datetime | None
    castings: int | None = Field(description="Good castings that are wanted.")
    picture: str | None = Field(description="Address of a PNG.")
    file_name: str | None = Field(description="Of the newest mesh, as it was called.")
    revision_count: int
    stages: list[Stage]
    next: Next
    run: Run | None = Field(description="The newest run that was not cancelled.")
    plan_id: str | None = Field(description="The run whose plan is shown.")
    plan_is_current: bool = Field(description="Whether mesh and sheet are still those planned.")


class Revision(Shape):
    """One mesh of a job; the newest is planned."""

    id: str
    number: int
    file_name: str
    size_bytes: int
    added_at: datetime.datetime


class Done(Shape):
    """A stage that a person marked as done."""

    stage: StageName
    done_on: datetime.date
    measured: dict[str, float] = Field(description='By name with unit, as {"mass_g": 212.0}.')
    note: str


class Confirmed(Shape):
    """Which of the three answers that nobody can guess a person has given."""

    size: bool
    up: bool
    castings: bool


class Job(JobCard):
    """A job with all that hangs on it."""

    revisions: list[Revision]
    sheet_version: int
    done: list[Done]
    confirmed: Confirmed
    summary: dict[str, Any] | None = Field(
        description="What a maker wants to know first of the plan that is shown."
    )


class Jobs(Shape):
    """The list of jobs: the one that is due first, first."""

    jobs: list[JobCard]


class Runs(Shape):
    """The runs of a job, the newest first."""

    runs: list[Run]


class Measured(Shape):
    """Something to measure when a stage is done."""

    name: str
    what: str
    unit: str


class StageForm(Shape):
    """What can be measured when a stage is done."""

    stage: StageName
    measured: list[Measured]


class StageForms(Shape):
    """The stages of a job, in the order of the work."""

    stages: list[StageForm]


class JobChange(Asked):
    """A change of a job; a field left out stays as it is."""

    version: int = Field(description="The version that the change was made on.")
    # made by a factory: may be left out, but not be null, and the document tells no default
    name: str = Field(default_factory=str, min_length=1, max_length=200)
    due_on: datetime.date | None = Field(default=None, description="null takes it away.")
    archived: bool = Field(default_factory=bool)


class DoneMark(Asked):
    """A stage is done."""

    done_on: datetime.date
    measured: dict[str, float] = Field(default_factory=dict)
    note: str = Field(default="", max_length=4000)
