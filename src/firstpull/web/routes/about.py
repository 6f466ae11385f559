"""Which program this is."""

from __future__ import annotations

from fastapi import APIRouter

from firstpull import __version__
from firstpull.web.shapes.base import refusals
from firstpull.web.shapes.plans import About
from firstpull.web.sniff import FORMATS
from firstpull.wiring import Office


def about_routes(office: Office) -> APIRouter:
    """The program, its workspace and what it takes."""
    router = APIRouter(prefix="/api/about", tags=["about"])

    @router.get(
        "",
        operation_id="read_about",
        summary="The program, its workspace and its units",
        response_model=About,
        responses=refusals(),
    )
    def read() -> About:
        return About(
            version=__version__,
            workspace=str(office.folder),
            upload_limit_bytes=office.upload_limit_bytes,
            formats=list(FORMATS),
            length_unit="mm",
            mass_unit="g",
            time_unit="min",
        )

    return router
