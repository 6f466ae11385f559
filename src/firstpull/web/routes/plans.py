"""A run's plan, why its numbers are what they are, and its files to look at or to save."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import FileResponse

from firstpull.services.jobs.card_picture import CARD, picture_of
from firstpull.services.jobs.look import VIEW
from firstpull.services.why import why
from firstpull.web.places import PLAN, plan_folder, plan_of, run_folder
from firstpull.web.sent_files import file_in, send_file
from firstpull.web.shapes.base import refusals, sends
from firstpull.web.shapes.plans import PlanFile, PlanFiles, Why
from firstpull.wiring import Office

PACKET = "packet.pdf"


def plan_routes(office: Office) -> APIRouter:
    """What came out of a run."""
    router = APIRouter(prefix="/api/runs/{run_id}", tags=["plans"])
    lost = refusals("no_such_thing")
    made = refusals("no_such_thing", "disc_full", "worker_lost")

    @router.get(
        "/plan",
        operation_id="read_plan",
        summary="The whole plan",
        description="plan.json as it stands in the plan's folder; docs/plan.schema.json tells all"
        " of it.",
        response_class=FileResponse,
        responses={
            200: {
                "description": "The plan",
                "content": {"application/json": {"schema": {"type": "object"}}},
            },
            **lost,
        },
    )
    def read_plan(run_id: str) -> FileResponse:
        return send_file(plan_folder(office, run_id), PLAN)

    @router.get(
        "/card",
        operation_id="read_card",
        summary="The small picture of the plan",
        response_class=FileResponse,
        responses={**sends("image/webp", "The picture; PNG of plans made by earlier versions"),
                   **lost},
    )  # fmt: skip
    def read_card(run_id: str) -> FileResponse:
        return send_card(office, run_id)

    @router.get(
        "/why",
        operation_id="explain_number",
        summary="Why a number of the plan is what it is",
        response_model=Why,
        responses=refusals("no_such_thing", "unknown_number"),
    )
    def explain(
        run_id: str,
        path: Annotated[
            str, Query(max_length=300, description="Dotted, as parts.0.cast.pull_mass_g.")
        ],
    ) -> Why:
        return Why.model_validate(why(plan_of(office, run_id), path))

    @router.get(
        "/files",
        operation_id="list_files",
        summary="The files of the plan",
        response_model=PlanFiles,
        responses=lost,
    )
    def list_files(run_id: str) -> PlanFiles:
        folder = plan_folder(office, run_id)
        found = sorted(p for p in folder.rglob("*") if p.is_file() and not p.is_symlink())
        return PlanFiles(
            files=[
                PlanFile(path=p.relative_to(folder).as_posix(), size_bytes=p.stat().st_size)
                for p in found
            ]
        )

    @router.get(
        "/files/{path:path}",
        operation_id="read_file",
        summary="One file of the plan",
        response_class=FileResponse,
        responses={**sends("application/octet-stream", "The file"), **lost},
    )
    def read_file(run_id: str, path: str) -> FileResponse:
        return send_file(plan_folder(office, run_id), path)

    @router.get(
        "/all.zip",
        operation_id="save_plan",
        summary="The whole plan as one archive, to save",
        response_class=FileResponse,
        responses={**sends("application/zip", "The archive"), **made},
    )
    def save_plan(run_id: str) -> FileResponse:
        path = office.take_away.zip(office.desk.run(run_id))
        return send_file(path.parent, path.name, called=f"{_job_name(run_id)}.zip")

    @router.get(
        "/all.3mf",
        operation_id="save_solids",
        summary="All solids of the plan in one 3MF, to save",
        response_class=FileResponse,
        responses={**sends("model/3mf", "The solids, named and coloured"), **made},
    )
    def save_solids(run_id: str) -> FileResponse:
        path = office.take_away.three_mf(office.desk.run(run_id))
        return send_file(path.parent, path.name, called=f"{_job_name(run_id)}.3mf")

    @router.get(
        "/packet.pdf",
        operation_id="read_packet",
        summary="The packet to print",
        response_class=FileResponse,
        responses={**sends("application/pdf", "The packet"), **lost},
    )
    def read_packet(run_id: str) -> FileResponse:
        folder = plan_folder(office, run_id)
        return send_file(folder, PACKET, called=f"{_job_name(run_id)} packet.pdf")

    def _job_name(run_id: str) -> str:
        return office.desk.job(office.desk.run(run_id).job_id).name

    return router


def send_card(office: Office, run_id: str) -> FileResponse:
    """The card as it was made with the plan; of an earlier version's plan, what it is made from."""
    run = office.desk.run(run_id)
    views = run_folder(office, run_id) / VIEW
    if file_in(views, CARD) is not None:
        return send_file(views, CARD, of="this run")
    return send_file(plan_folder(office, run_id), picture_of(run.summary) or CARD)
