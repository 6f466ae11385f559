"""The job sheet: as a form, as text, and choices of a plan that are to stay."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from firstpull.core.job.kinds import KeptSheet
from firstpull.services.jobs import sheets
from firstpull.services.jobs.sheet_form import sheet_form
from firstpull.services.jobs.sheet_read import sheet_told
from firstpull.services.jobs.steer import steer
from firstpull.web.changes import job_changed, with_theirs
from firstpull.web.shapes.base import refusals
from firstpull.web.shapes.sheets import Locking, Sheet, SheetChange, SheetForm, Steering
from firstpull.wiring import Office

YAML = "text/yaml"
CHANGED = ("no_such_thing", "changed_meanwhile", "bad_sheet", "unreadable_sheet")


def sheet_routes(office: Office) -> APIRouter:
    """What a maker answers."""
    router = APIRouter(prefix="/api", tags=["sheets"])
    _add_form(router, office)
    _add_text(router, office)
    return router


def _add_form(router: APIRouter, office: Office) -> None:
    @router.get(
        "/sheet/fields",
        operation_id="list_sheet_fields",
        summary="All fields of a job sheet, as a form needs them",
        response_model=SheetForm,
        responses=refusals(),
    )
    def list_fields() -> Any:
        return sheet_form()

    @router.get(
        "/jobs/{job_id}/sheet",
        operation_id="read_sheet",
        summary="A job's sheet",
        response_model=Sheet,
        responses=refusals("no_such_thing"),
    )
    def read_sheet(job_id: str) -> Any:
        return _told(office, job_id)

    @router.patch(
        "/jobs/{job_id}/sheet",
        operation_id="change_sheet",
        summary="Set fields of a sheet, or take them out",
        description="Comments and all else in its text stay. The job is planned anew.",
        response_model=Sheet,
        responses=refusals(*CHANGED, "sheet_not_edited"),
    )
    def change_sheet(job_id: str, asked: SheetChange) -> Any:
        with with_theirs(lambda: _told(office, job_id)):
            kept = sheets.change_sheet(
                office.desk, job_id, asked.fields, version=asked.version, now=office.clock()
            )
        return _sheet_changed(office, job_id, kept, since=asked.version, plan=asked.plan)

    @router.post(
        "/jobs/{job_id}/locks",
        operation_id="lock_choice",
        summary="Hold on to a choice of the plan that is shown, or let go of it",
        response_model=Sheet,
        responses=refusals(*CHANGED, "sheet_not_edited", "no_plan"),
    )
    def lock_choice(job_id: str, asked: Locking) -> Any:
        with with_theirs(lambda: _told(office, job_id)):
            kept = sheets.lock_choice(
                office.desk,
                job_id,
                asked.choice,
                locked=asked.locked,
                version=asked.version,
                now=office.clock(),
            )
        return _sheet_changed(office, job_id, kept, since=asked.version)

    @router.post(
        "/jobs/{job_id}/steer",
        operation_id="steer_job",
        summary="Write what was chosen in the view of a run into the sheet",
        description="Places arrive as that run shows them and are kept in the axes of the mesh"
        " file. Walls without pulls let earlier pulls go. The job is planned anew.",
        response_model=Sheet,
        responses=refusals(*CHANGED, "sheet_not_edited", "no_plan"),
    )
    def steer_job(job_id: str, asked: Steering) -> Any:
        moves = asked.model_dump(exclude={"version", "run_id"}, exclude_none=True)
        with with_theirs(lambda: _told(office, job_id)):
            kept = steer(
                office.desk,
                job_id,
                moves,
                run_id=asked.run_id,
                version=asked.version,
                now=office.clock(),
            )
        return _sheet_changed(office, job_id, kept, since=asked.version)


def _add_text(router: APIRouter, office: Office) -> None:
    @router.get(
        "/jobs/{job_id}/sheet.yaml",
        operation_id="save_sheet_text",
        summary="A job's sheet as a file",
        response_class=Response,
        responses={
            200: {
                "description": "YAML, with comments",
                "content": {YAML: {"schema": {"type": "string"}}},
            },
            **refusals("no_such_thing"),
        },
    )
    def save_text(job_id: str) -> Response:
        text = office.desk.job(job_id).sheet.text
        return Response(
            text,
            media_type=f"{YAML}; charset=utf-8",
            headers={"content-disposition": 'attachment; filename="job-sheet.yaml"'},
        )

    @router.put(
        "/jobs/{job_id}/sheet.yaml",
        operation_id="put_sheet_text",
        summary="The whole sheet anew, from a file",
        description="The job is planned anew.",
        response_model=Sheet,
        responses=refusals(*CHANGED),
        openapi_extra={
            "requestBody": {
                "required": True,
                "description": "YAML",
                "content": {YAML: {"schema": {"type": "string"}}},
            }
        },
    )
    async def put_text(
        request: Request,
        job_id: str,
        version: Annotated[int, Query(description="That the change was made on.")],
    ) -> Any:
        text = _decoded(await request.body())

        def keep() -> dict[str, Any]:
            with with_theirs(lambda: _told(office, job_id)):
                kept = sheets.put_sheet_text(
                    office.desk, job_id, text, version=version, now=office.clock()
                )
            return _sheet_changed(office, job_id, kept, since=version)

        return await run_in_threadpool(keep)


def _told(office: Office, job_id: str) -> dict[str, Any]:
    return sheet_told(office.desk.job(job_id).sheet)


def _decoded(text: bytes) -> str:
    """UTF-8; what is none becomes a sign that no sheet may hold, and is refused as such."""
    return text.decode("utf-8", errors="replace").replace("\ufffd", "\x00")


def _sheet_changed(
    office: Office, job_id: str, kept: KeptSheet, *, since: int, plan: bool = True
) -> dict[str, Any]:
    """Tell all, and plan anew where anything is different."""
    if plan and kept.version != since:
        office.runner.start(job_id)
    job = office.desk.job(job_id)
    job_changed(office, job)
    return sheet_told(job.sheet)
