"""Plan a job: a mesh and a sheet become a mould, a casting plan and a packet."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from firstpull.core.demo import heron_half_mask
from firstpull.core.material.mix import dose_of
from firstpull.core.material.shelf import Shelf, package_shelf
from firstpull.core.mesh.measure import flat_warning, inside_width_warning
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import is_closed
from firstpull.core.mesh.unit import UnitChoice, choose_unit
from firstpull.core.progress import Progress, quiet
from firstpull.core.sheet import JobSheet
from firstpull.files.read_mesh import read_mesh
from firstpull.files.write_stl import as_written
from firstpull.packet.album import MouldSolids, master_pictures, mould_pictures
from firstpull.packet.fill_views import fill_pictures
from firstpull.packet.packet import make_packet
from firstpull.services.aside import aside
from firstpull.services.plan_geometry import Geometry, prove, shape_mould
from firstpull.services.plan_json import finding_in_mould, part_meshes, plan_as_json
from firstpull.services.plan_sheet import sheet_for
from firstpull.services.plan_types import PlanRequest, PlanResult
from firstpull.services.plan_work import plan_work
from firstpull.services.shell_json import gauge_drawings
from firstpull.services.stages import Stages

READ, SHAPED, PROVED, DRAWN = 0.1, 0.6, 0.85, 0.97  # shares of the work
DRAWING = "drawing the pictures"


OnRead = Callable[[UnitChoice, tuple[str, ...]], None]


def plan_job(
    request: PlanRequest,
    stages: Stages,
    progress: Progress = quiet,
    *,
    today: str | None = None,
    on_read: OnRead | None = None,
) -> PlanResult:
    """The whole line, no question asked.

    Args:
        request: the job.
        stages: runs each stage, or finds its result.
        progress: told what is being done.
        today: YYYY-MM-DD on the pages; None takes today.
        on_read: told the mesh's unit and what reading it showed, before anything is shaped.

    Raises:
        WorkshopError: the sheet, the mesh or the shape is refused; says what to do.
    """
    sheet, given = sheet_for(request)
    shelf = package_shelf().with_own(request.figures)
    mesh, unit, notes = _read(request, sheet, stages)
    if on_read is not None:
        on_read(unit, notes)
    shape = shape_mould(mesh, unit, sheet, stages, span=(READ, SHAPED))
    work = plan_work(shape, sheet, shelf)
    folder = "-".join(sheet.job.part_name.split())
    with _drawn(shape, stages) as pictures_drawn:
        proof = prove(shape, sheet, stages, span=(SHAPED, PROVED))
        meshes = part_meshes(folder, shape)
        written = {name: as_written(solid, name=name) for name, solid in meshes.items()}
        flat = filter(None, [flat_warning(mesh, factor_to_mm=unit.factor_to_mm)])
        plan = plan_as_json(
            shape,
            work,
            proof,
            sheet,
            folder=folder,
            closed={name: is_closed(solid) for name, solid in written.items()},
            assumed=_assumed(sheet, given, unit, shape, shelf),
            own_figures=shelf.own_as_json(),
            remarks=[*unit.warnings, *notes, *flat, *_too_small(shape)],
            made_on=today or datetime.date.today().isoformat(),
        )
        progress(DRAWING, PROVED)
        pictures = pictures_drawn()
    progress("printing the packet", DRAWN)
    return PlanResult(
        plan=plan,
        meshes=written,
        pictures={f"pictures/{name}.png": picture for name, picture in pictures.items()},
        drawings=gauge_drawings(folder, shape.shell.guide.gauges, part=sheet.job.part_name),
        packet_pdf=make_packet(plan, pictures, paper=sheet.packet.paper),
    )


def _read(
    request: PlanRequest, sheet: JobSheet, stages: Stages
) -> tuple[Mesh, UnitChoice, tuple[str, ...]]:
    """The mesh in its own unit, what that is, and what reading it showed."""
    if request.mesh_path is None:
        mesh = stages.run(
            "building the demo's mesh",
            heron_half_mask,
            triangles=request.demo_triangles,
            span=(0.0, READ),
        )
        return mesh, choose_unit(mesh, asked=sheet.master.unit, declared="mm"), ()
    stages.progress("reading the mesh", 0.0)
    file = read_mesh(request.mesh_path, called=request.mesh_name)
    unit = choose_unit(file.mesh, asked=sheet.master.unit, declared=file.declared_unit)
    return file.mesh, unit, tuple(file.notes)


def _assumed(
    sheet: JobSheet, given: set[str], unit: UnitChoice, shape: Geometry, shelf: Shelf
) -> list[dict[str, Any]]:
    """Everything nobody said, with what the mesh and the shop's own figures decided filled in."""
    decided = {
        "master.unit": (unit.unit, unit.why),
        "master.up": ([round(v, 3) + 0.0 for v in shape.up.direction], shape.up.why),
        "shell.pieces": (len(shape.built.pieces), shape.reason),
        **_own_ratio(sheet, shelf),
    }
    entries = []
    for entry in sheet.assumed(given):
        value, why = decided.get(entry["field"], (entry["value"], entry["why"]))
        entries.append({**entry, "value": value, "why": why})
    return entries


def _own_ratio(sheet: JobSheet, shelf: Shelf) -> dict[str, tuple[Any, str]]:
    """The powder's ratio where this shop set it; else nothing."""
    cast = sheet.cast
    powder, resin = shelf.find(cast.powder, "powder"), shelf.find(cast.resin, "resin")
    dose = dose_of(powder, resin, basis=cast.powder_basis)
    if not dose.figure or powder[dose.figure].mark != "own":
        return {}
    return {"cast.powder_ratio": (dose.ratio, f"own figure: {powder[dose.figure].source}")}


def _too_small(shape: Geometry) -> list[str]:
    is_shell = shape.standing.show.is_shell  # a solid sculpt has no inside to wear
    sentence = inside_width_warning(shape.standing.master) if is_shell else None
    return [sentence] if sentence else []


@contextmanager
def _drawn(shape: Geometry, stages: Stages) -> Iterator[Callable[[], dict[str, bytes]]]:
    """Draws while the proof runs; gives what waits for the pictures, kept like any result."""
    subjects = (
        shape.standing.master,
        shape.body.mesh,
        shape.built.skin,
        [(piece.mesh, list(piece.pull)) for piece in shape.built.pieces],
        [(piece.mesh, list(piece.pull)) for piece in shape.loose],
        [finding_in_mould(f, shape.standing.frame) for f in shape.findings],
        shape.shell.guide.skin,
        shape.shell.guide.pockets,
        [list(place.place_mm) for place in shape.shell.guide.guide.places],
    )
    key = stages.key(DRAWING, *subjects)
    kept = stages.store.get(key)
    if kept is not None:
        stages.found.append(DRAWING)
        yield lambda: dict(kept[0])
        return
    stages.ran.append(DRAWING)
    with aside(_pictures, *subjects) as answer:

        def keep() -> dict[str, bytes]:
            pictures: dict[str, bytes] = answer()
            stages.store.put(key, pictures)
            return pictures

        yield keep


def _pictures(
    master: Mesh,
    body: Mesh,
    skin: Mesh,
    pieces: list[tuple[Mesh, list[float]]],
    loose: list[tuple[Mesh, list[float]]],
    findings: list[dict[str, Any]],
    plain_skin: Mesh,
    pockets: Mesh,
    places_mm: list[list[float]],
    *,
    progress: Progress = quiet,
) -> dict[str, bytes]:
    solids = MouldSolids(master=master, body=body, skin=skin, pieces=pieces, loose=loose)
    pictures = master_pictures(master, findings=findings)
    pictures |= fill_pictures(plain_skin, pockets, places_mm)
    return pictures | mould_pictures(solids, progress=lambda share: progress(DRAWING, share))
