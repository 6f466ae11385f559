"""The app: guards, refusals, the interface's addresses and the page, put together."""

from __future__ import annotations

from pathlib import Path

from fastapi import FastAPI
from starlette.responses import HTMLResponse, JSONResponse

from firstpull import __version__
from firstpull.web.docs_page import docs_page
from firstpull.web.document import install_document
from firstpull.web.events import EventHub
from firstpull.web.guard import Door, Guard
from firstpull.web.pages import STATIC, page_routes
from firstpull.web.receive import SmallBodies
from firstpull.web.refusals import install_refusals
from firstpull.web.routes.about import about_routes
from firstpull.web.routes.events import event_routes
from firstpull.web.routes.heads import head_routes
from firstpull.web.routes.jobs import job_routes
from firstpull.web.routes.looks import look_routes
from firstpull.web.routes.materials import material_routes
from firstpull.web.routes.plans import plan_routes
from firstpull.web.routes.runs import run_routes
from firstpull.web.routes.sheets import sheet_routes
from firstpull.wiring import Office

ROUTES = (
    job_routes,
    sheet_routes,
    run_routes,
    look_routes,
    head_routes,
    plan_routes,
    material_routes,
    about_routes,
)


def create_app(office: Office, hub: EventHub, door: Door, *, static: Path = STATIC) -> FastAPI:
    """The app over an office.

    Args:
        office: where jobs are kept and worked out; it is closed by whoever opened it.
        hub: where what the office publishes is heard.
        door: under which names the app answers, and to whom.
        static: the built page.
    """
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, redirect_slashes=False)
    install_document(app, __version__)
    install_refusals(app)
    app.add_middleware(SmallBodies)
    app.add_middleware(Guard, door=door)
    for routes in ROUTES:
        app.include_router(routes(office))
    app.include_router(event_routes(hub))
    _add_document(app)
    app.include_router(page_routes(static))
    return app


def _add_document(app: FastAPI) -> None:
    def document() -> JSONResponse:
        return JSONResponse(app.openapi())

    def docs() -> HTMLResponse:
        return HTMLResponse(docs_page(app.openapi()))

    app.add_api_route("/api/openapi.json", document, include_in_schema=False)
    app.add_api_route("/api/docs", docs, include_in_schema=False)
