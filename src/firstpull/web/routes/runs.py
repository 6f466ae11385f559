"""Runs: planning a job anew, how far it is, and calling it off."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from firstpull.services.jobs.told import run_told
from firstpull.web.shapes.base import refusals
from firstpull.web.shapes.jobs import Run, Runs
from firstpull.wiring import Office


def run_routes(office: Office) -> APIRouter:
    """Working out plans."""
    router = APIRouter(prefix="/api", tags=["runs"])
    lost = refusals("no_such_thing")

    @router.post(
        "/jobs/{job_id}/runs",
        operation_id="start_run",
        summary="Plan a job anew",
        description="A run of the same job that has not ended is called off.",
        status_code=202,
        response_model=Run,
        responses=lost,
    )
    def start_run(job_id: str) -> Any:
        return run_told(office.runner.start(job_id))

    @router.get(
        "/jobs/{job_id}/runs",
        operation_id="list_runs",
        summary="The runs of a job, the newest first",
        response_model=Runs,
        responses=lost,
    )
    def list_runs(job_id: str) -> Any:
        return {"runs": [run_told(office.runner.current(r)) for r in office.desk.runs(job_id)]}

    @router.get(
        "/runs/{run_id}",
        operation_id="read_run",
        summary="How far a run is",
        response_model=Run,
        responses=lost,
    )
    def read_run(run_id: str) -> Any:
        return run_told(office.runner.current(office.desk.run(run_id)))

    @router.post(
        "/runs/{run_id}/cancel",
        operation_id="cancel_run",
        summary="Call a run off",
        description="One that has ended stays as it is.",
        response_model=Run,
        responses=lost,
    )
    def cancel_run(run_id: str) -> Any:
        return run_told(office.runner.cancel(run_id))

    return router
