"""The stream of changes that every open page listens to."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import StreamingResponse

from firstpull.web.events import EventHub
from firstpull.web.shapes.base import refusals

HEADERS = {"cache-control": "no-store", "x-accel-buffering": "no"}


def event_routes(hub: EventHub) -> APIRouter:
    """What is told as it happens."""
    router = APIRouter(prefix="/api/events", tags=["events"])

    @router.get(
        "",
        operation_id="listen_events",
        summary="Hear of changes as they happen",
        response_class=StreamingResponse,
        responses={
            200: {
                "description": (
                    "Server-sent events: `hello` at connect; `job` with {id, version, gone?};"
                    " `run` with a Run; `figures`; `reload` to one who was too slow to hear all"
                    " and must read everything anew. A comment each 15 s while nothing happens."
                ),
                "content": {"text/event-stream": {"schema": {"type": "string"}}},
            },
            **refusals(),
        },
    )
    async def listen() -> StreamingResponse:
        return StreamingResponse(hub.listen(), media_type="text/event-stream", headers=HEADERS)

    return router
