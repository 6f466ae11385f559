"""What there is to see of a run: meshes, maps over them, walls and paint being tried."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import FileResponse, Response

from firstpull.services.jobs import places
from firstpull.services.jobs.look import VIEW, NoDirection, NotYet, box_path, look_of, map_path
from firstpull.web.places import plan_folder, run_folder
from firstpull.web.sent_files import send_file
from firstpull.web.shapes.base import refusals, sends
from firstpull.web.shapes.looks import Border, Look, PaintAsked, Preview, PreviewAsked
from firstpull.wiring import Office

BOX = "application/octet-stream"
ABOUT_BOX = (
    "A raw container, little endian: 8 bytes FPBOX001, the header's length as a 32-bit number,"
    " the header as JSON {arrays: {name: {dtype, shape, offset}}, meta}, then the arrays, each"
    " at a multiple of 4 bytes from the start of the data."
)


def look_routes(office: Office) -> APIRouter:
    """What the eyes get."""
    router = APIRouter(prefix="/api/runs/{run_id}", tags=["looks"])
    lost = refusals("no_such_thing", "not_yet")

    @router.get(
        "/look",
        operation_id="read_look",
        summary="What there is to see so far",
        description="Nothing (204) before the mesh is read; grows when it is checked, and when"
        " the plan is done.",
        response_model=Look,
        responses={204: {"description": "There is nothing to look at yet"}, **lost},
    )
    def read_look(run_id: str) -> Any:
        try:
            return look_of(run_folder(office, run_id))
        except NotYet:
            return Response(status_code=204)

    @router.get(
        "/meshes/{name}.box",
        operation_id="read_mesh",
        summary="A mesh as a raw container",
        description=f"{ABOUT_BOX} Arrays: positions f4 (V, 3) in mm, indices u4 (F, 3).",
        response_class=FileResponse,
        responses={**sends(BOX, "The mesh"), **lost},
    )
    def read_mesh(run_id: str, name: str) -> FileResponse:
        folder = run_folder(office, run_id)
        path = box_path(folder, name)
        return send_file(folder / VIEW, path.name, of="this run")

    @router.get(
        "/meshes/{name}.glb",
        operation_id="save_mesh",
        summary="A mesh as GLB, to save",
        response_class=Response,
        responses={**sends("model/gltf-binary", "The mesh"), **lost},
    )
    def save_mesh(run_id: str, name: str) -> Response:
        path = box_path(run_folder(office, run_id), name)
        return _saved(office.take_away.glb(path), "model/gltf-binary", f"{name}.glb")

    @router.get(
        "/maps/{mesh}/{name}",
        operation_id="read_map",
        summary="A figure at each vertex of a mesh",
        description=f"{ABOUT_BOX} Array: values f4 (V,), NaN where there is none; meta: title,"
        " unit, low, high, sense. Worked out when first asked for.",
        response_class=FileResponse,
        responses={**sends(BOX, "The map"), **refusals("no_such_thing", "not_yet", "no_direction",
                                                       "worker_lost", "standby_lost")},
    )  # fmt: skip
    def read_map(
        run_id: str,
        mesh: str,
        name: str,
        direction: Annotated[
            str | None, Query(max_length=100, description="x,y,z in mould axes, for fill_mm.")
        ] = None,
    ) -> FileResponse:
        run = office.desk.run(run_id)
        folder = places.run_folder(office.folder, run)
        pull = _direction(direction)
        path = map_path(folder, mesh, name, direction=pull)
        if not path.is_file():
            office.standby.ask(run, "map", mesh=mesh, name=name, direction=pull)
        within = path.relative_to(folder / VIEW).as_posix()
        return send_file(folder / VIEW, within, of="this run")

    @router.post(
        "/preview",
        operation_id="preview_walls",
        summary="Try walls without planning anew",
        description="Answers in about a second once the run has been asked something before; a"
        " newer question replaces one that waits.",
        response_model=Preview,
        responses=refusals("no_such_thing", "not_yet", "worker_lost", "standby_lost", "cancelled"),
    )
    def preview_walls(run_id: str, asked: PreviewAsked) -> Any:
        run = office.desk.run(run_id)
        look_of(places.run_folder(office.folder, run))
        return office.standby.ask(run, "preview", **asked.model_dump(exclude_none=True))

    @router.post(
        "/paint",
        operation_id="try_paint",
        summary="Try paint without planning anew",
        description="Refused where such paint would leave no mould. A newer question replaces one"
        " that waits.",
        response_model=Border,
        responses=refusals("no_such_thing", "paint_off_surface", "show_in_pieces", "show_unclear",
                           "rim_touches_itself", "worker_lost", "standby_lost", "cancelled"),
    )  # fmt: skip
    def try_paint(run_id: str, asked: PaintAsked) -> Any:
        run = office.desk.run(run_id)
        plan_folder(office, run_id)
        return office.standby.ask(run, "paint", **asked.model_dump())

    return router


def _direction(text: str | None) -> tuple[float, float, float] | None:
    """Three numbers with commas between, not all 0.

    >>> _direction("0,0,-1")
    (0.0, 0.0, -1.0)
    """
    if text is None:
        return None
    try:
        x, y, z = (float(word) for word in text.split(","))
        sound = 0 < x * x + y * y + z * z < 1e12
    except (ValueError, OverflowError):
        sound = False
    if sound:
        return x, y, z
    raise NoDirection(
        where=f'The direction "{text[:60]}"',
        found="is none",
        limit="it is three numbers with commas between, not all 0",
        remedy="Give one such as direction=0,0,1.",
    )


def _saved(content: bytes, media_type: str, called: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{called}"'}
    return Response(content, media_type=media_type, headers=headers)
