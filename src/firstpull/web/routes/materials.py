"""Figures of materials: what comes along, and what this shop found itself."""

from __future__ import annotations

from fastapi import APIRouter

from firstpull.core.job.kinds import OwnFigure as KeptFigure
from firstpull.core.job.refusals import NoSuchThing
from firstpull.core.material.row import MaterialRow, material_rows
from firstpull.services.jobs.own_figures import set_own_figure
from firstpull.web.shapes.base import refusals
from firstpull.web.shapes.plans import Figure, Material, Materials, OwnFigure, OwnFigureAsked
from firstpull.wiring import Office


def material_routes(office: Office) -> APIRouter:
    """Read the rows, set and drop own figures."""
    router = APIRouter(prefix="/api/materials", tags=["materials"])

    @router.get(
        "",
        operation_id="list_materials",
        summary="All materials with their figures",
        response_model=Materials,
        responses=refusals(),
    )
    def list_materials() -> Materials:
        kept = _kept(office)
        return Materials(materials=[_material(row, kept) for row in material_rows().values()])

    @router.put(
        "/{material_id}/{figure}",
        operation_id="set_own_figure",
        summary="Set what this shop found",
        description="It wins over the row's own wherever the figure is used from now on; plans"
        " that are there already stay as they are until they are made anew.",
        response_model=Material,
        responses=refusals("no_such_thing", "bad_own_figure"),
    )
    def set_own(material_id: str, figure: str, asked: OwnFigureAsked) -> Material:
        row = _row(material_id)
        said = asked.model_dump()
        set_own_figure(office.desk, material_id, figure, **said, now=office.clock())
        office.publish("figures", {})
        return _material(row, _kept(office))

    @router.delete(
        "/{material_id}/{figure}",
        operation_id="drop_own_figure",
        summary="Back to the row's own figure",
        response_model=Material,
        responses=refusals("no_such_thing"),
    )
    def drop_own(material_id: str, figure: str) -> Material:
        row = _row(material_id)
        office.desk.drop_own_figure(material_id, figure)
        office.publish("figures", {})
        return _material(row, _kept(office))

    return router


def _row(material_id: str) -> MaterialRow:
    row = material_rows().get(material_id)
    if row is None:
        raise NoSuchThing(
            where=f'The material "{material_id}"',
            found="is not there",
            remedy="Look at the list of materials for the ids there are.",
        )
    return row


def _kept(office: Office) -> dict[tuple[str, str], KeptFigure]:
    return {(kept.material, kept.figure): kept for kept in office.desk.own_figures()}


def _material(row: MaterialRow, kept: dict[tuple[str, str], KeptFigure]) -> Material:
    return Material(
        id=row.id,
        name=row.name,
        kind=row.kind,
        figures=[
            Figure(figure=name, **figure.model_dump(), own=_own(kept.get((row.id, name))))
            for name, figure in row.figures.items()
        ],
    )


def _own(kept: KeptFigure | None) -> OwnFigure | None:
    if kept is None:
        return None
    return OwnFigure(
        low=kept.low,
        typical=kept.typical,
        high=kept.high,
        note=kept.note,
        changed_at=kept.changed_at,
    )
