"""A plain head to judge a part beside."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from firstpull.web.routes.looks import ABOUT_BOX, BOX
from firstpull.web.shapes.base import refusals, sends
from firstpull.wiring import Office


def head_routes(office: Office) -> APIRouter:
    """The headform."""
    router = APIRouter(prefix="/api/headform", tags=["looks"])

    @router.get(
        "",
        operation_id="read_headform",
        summary="A plain head with middle measures",
        description=f"{ABOUT_BOX} Arrays: positions f4 (V, 3) in mm, z up, facing -y, origin"
        " between the ears, and indices u4 (F, 3); meta: measures with their sources.",
        response_class=Response,
        responses={**sends(BOX, "The head"), **refusals("worker_lost")},
    )
    def read_headform() -> Response:
        headers = {"cache-control": "private, max-age=3600"}
        return Response(office.headform.content(), media_type=BOX, headers=headers)

    return router
