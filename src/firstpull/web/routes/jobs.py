"""Jobs: the list, one of them, and what a person changes about it."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool

from firstpull.core.job.kinds import Done as KeptDone
from firstpull.services.jobs import change, marks, take_in
from firstpull.services.jobs.demo_job import demo_job
from firstpull.services.jobs.told import card_told, job_told
from firstpull.web.changes import job_changed, with_theirs
from firstpull.web.receive import Received, receive_file
from firstpull.web.shapes.base import refusals, takes
from firstpull.web.shapes.jobs import DoneMark, Job, JobChange, Jobs, StageForms
from firstpull.wiring import Office

MESH = "application/octet-stream"
FileName = Annotated[
    str, Query(max_length=1000, description="What the file is called; its suffix names its format.")
]
UPLOAD = (
    "upload_too_large", "wrong_file_type", "mesh_file_empty", "upload_broken", "disc_full",
)  # fmt: skip


def job_routes(office: Office) -> APIRouter:
    """Everything about jobs but their sheets and runs."""
    router = APIRouter(prefix="/api", tags=["jobs"])
    _add_lists(router, office)
    _add_arrivals(router, office)
    _add_changes(router, office)
    _add_marks(router, office)
    return router


def _add_lists(router: APIRouter, office: Office) -> None:
    @router.get(
        "/jobs",
        operation_id="list_jobs",
        summary="All jobs, the one due first, first",
        response_model=Jobs,
        responses=refusals(),
    )
    def list_jobs(archived: bool = False) -> Any:
        return {"jobs": [card_told(job) for job in office.desk.jobs(archived=archived)]}

    @router.get(
        "/jobs/deleted",
        operation_id="list_deleted_jobs",
        summary="Jobs that were deleted and can be brought back",
        response_model=Jobs,
        responses=refusals(),
    )
    def list_deleted() -> Any:
        return {"jobs": [card_told(job) for job in office.desk.deleted()]}

    @router.get(
        "/stages",
        operation_id="list_stages",
        summary="The stages of a job, and what is measured at the end of each",
        response_model=StageForms,
        responses=refusals(),
    )
    def list_stages() -> Any:
        return {"stages": marks.stages()}


def _add_arrivals(router: APIRouter, office: Office) -> None:
    @router.post(
        "/jobs",
        operation_id="add_job",
        summary="A new job of a mesh",
        description="The body is the file's bytes. The job is planned at once, by itself.",
        status_code=201,
        response_model=Job,
        responses=refusals("bad_sheet", *UPLOAD),
        openapi_extra=takes(MESH, "The mesh file"),
    )
    async def add_job(
        request: Request,
        file: FileName,
        name: Annotated[str | None, Query(max_length=200)] = None,
        due_on: datetime.date | None = None,
    ) -> Any:
        received = await _received(request, file)

        def keep() -> Any:
            return take_in.new_job_from(
                office.desk,
                received.path,
                file_name=received.file_name,
                now=office.clock(),
                name=name,
                due_on=due_on,
            )

        return await run_in_threadpool(_planned, keep, received)

    @router.post(
        "/jobs/demo",
        operation_id="add_demo_job",
        summary="The demo: a heron half-mask",
        description="Its mesh is built first, which takes a few seconds; then it is planned.",
        status_code=201,
        response_model=Job,
        responses=refusals("disc_full", "worker_lost"),
    )
    def add_demo() -> Any:
        job = demo_job(office.desk, now=office.clock(), triangles=office.demo_triangles)
        return _started(office, job.id)

    @router.post(
        "/jobs/{job_id}/revisions",
        operation_id="add_revision",
        summary="A new mesh for a job",
        description="The body is the file's bytes. The job is planned anew with it.",
        status_code=201,
        response_model=Job,
        responses=refusals("no_such_thing", *UPLOAD),
        openapi_extra=takes(MESH, "The mesh file"),
    )
    async def add_revision(request: Request, job_id: str, file: FileName) -> Any:
        await run_in_threadpool(office.desk.job, job_id)  # before a long upload, not after it
        received = await _received(request, file)

        def keep() -> Any:
            return take_in.add_revision(
                office.desk,
                job_id,
                received.path,
                file_name=received.file_name,
                now=office.clock(),
            )

        return await run_in_threadpool(_planned, keep, received)

    @router.post(
        "/jobs/{job_id}/copy",
        operation_id="copy_job",
        summary="A job with the same meshes and sheet",
        status_code=201,
        response_model=Job,
        responses=refusals("no_such_thing", "disc_full"),
    )
    def copy_job(job_id: str) -> Any:
        job = take_in.copy_job(office.desk, job_id, now=office.clock())
        return _started(office, job.id)

    async def _received(request: Request, file_name: str) -> Received:
        return await receive_file(
            request,
            file_name=file_name,
            folder=office.folder,
            limit_bytes=office.upload_limit_bytes,
            spare_bytes=office.spare_bytes,
        )

    def _planned(keep: Any, received: Received) -> Any:
        try:
            job = keep()
        finally:
            received.path.unlink(missing_ok=True)
        return _started(office, job.id)


def _started(office: Office, job_id: str) -> dict[str, Any]:
    office.runner.start(job_id)
    return job_changed(office, office.desk.job(job_id))


def _add_changes(router: APIRouter, office: Office) -> None:
    @router.get(
        "/jobs/{job_id}",
        operation_id="read_job",
        summary="One job",
        response_model=Job,
        responses=refusals("no_such_thing"),
    )
    def read_job(job_id: str) -> Any:
        return job_told(office.desk.job(job_id))

    @router.patch(
        "/jobs/{job_id}",
        operation_id="change_job",
        summary="Change a job's name or day, put it away or take it out again",
        response_model=Job,
        responses=refusals("no_such_thing", "changed_meanwhile", "bad_sheet"),
    )
    def change_job(job_id: str, asked: JobChange) -> Any:
        fields = asked.model_dump(exclude={"version"}, exclude_unset=True)
        with with_theirs(lambda: job_told(office.desk.job(job_id))):
            job = change.change_job(
                office.desk, job_id, fields, version=asked.version, now=office.clock()
            )
        return job_changed(office, office.desk.job(job.id))

    @router.delete(
        "/jobs/{job_id}",
        operation_id="delete_job",
        summary="Delete a job; it can be brought back for 30 days",
        response_model=Job,
        responses=refusals("no_such_thing"),
    )
    def delete_job(job_id: str) -> Any:
        job = change.delete_job(office.desk, job_id, now=office.clock())
        for run in office.desk.runs(job_id):
            if run.is_under_way:
                office.runner.cancel(run.id)
        return job_changed(office, job, gone=True)

    @router.post(
        "/jobs/{job_id}/restore",
        operation_id="restore_job",
        summary="Bring a deleted job back",
        response_model=Job,
        responses=refusals("no_such_thing"),
    )
    def restore_job(job_id: str) -> Any:
        return job_changed(office, change.restore_job(office.desk, job_id, now=office.clock()))


def _add_marks(router: APIRouter, office: Office) -> None:
    @router.put(
        "/jobs/{job_id}/done/{stage}",
        operation_id="mark_done",
        summary="A stage is done",
        response_model=Job,
        responses=refusals("no_such_thing", "bad_mark"),
    )
    def mark_done(job_id: str, stage: str, asked: DoneMark) -> Any:
        done = KeptDone(stage=marks.known_stage(stage), **asked.model_dump())
        return job_changed(office, marks.mark_done(office.desk, job_id, done, now=office.clock()))

    @router.delete(
        "/jobs/{job_id}/done/{stage}",
        operation_id="unmark_done",
        summary="A stage is not done after all",
        response_model=Job,
        responses=refusals("no_such_thing"),
    )
    def unmark_done(job_id: str, stage: str) -> Any:
        return job_changed(
            office, marks.unmark_done(office.desk, job_id, stage, now=office.clock())
        )
