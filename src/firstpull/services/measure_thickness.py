"""How thick is the wall of a part, and where is it too thin? With a map and a picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.figures import told_number
from firstpull.core.mesh.check.defects import LEAST_WALL_MM
from firstpull.core.mesh.measure import Measures, measure
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.thickness import Thickness, ThinWall, thin_walls, wall_thickness
from firstpull.core.progress import Progress, quiet
from firstpull.packet.mesh_pictures import Mark, MeshSheet, Paint, mesh_picture
from firstpull.packet.ramps import thickness_ramp
from firstpull.services.check_mesh import PICTURES
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.mesh_out import MAPS, save_map
from firstpull.services.mesh_sheets import facts_of
from firstpull.services.results_out import MapAndPicture, need_format, need_free, write_whole
from firstpull.services.sound_mesh import sound

SHARES = (0.05, 0.5, 0.95)
TOLD = 12  # thin places that are listed and pinned


@dataclass(frozen=True)
class ThicknessReport:
    """The wall of a part.

    Args:
        arrived: the mesh as it came in.
        measures: of what was measured.
        notes: what had to be mended first.
        least_mm: below this the wall is called too thin.
        thin: where it is, the largest place first.
        at_shares_mm: the wall that 5, 50 and 95 % of the surface stay below.
        least_found_mm: the thinnest wall.
        thin_share: share of the surface where the wall is too thin.
        written: the files that were written.
    """

    arrived: Arrived
    measures: Measures
    notes: tuple[str, ...]
    least_mm: float
    thin: tuple[ThinWall, ...]
    at_shares_mm: tuple[float, ...]
    least_found_mm: float
    thin_share: float
    written: tuple[Path, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a maker wants to know first."""
        low, middle, high = self.at_shares_mm
        spread = (
            f"Half of the surface has a wall under {told_number(middle, 3)} mm; one twentieth under"
            f" {told_number(low, 3)} mm, one twentieth over {told_number(high, 3)} mm."
        )
        if not self.thin:
            return (f"No place is thinner than {self.least_mm:g} mm.", spread)
        places = "1 place" if len(self.thin) == 1 else f"{len(self.thin)} places"
        area = sum(wall.area_mm2 for wall in self.thin) / 100.0
        thinnest = min(wall.least_mm for wall in self.thin)
        return (
            f"Thinner than {self.least_mm:g} mm in {places}, {told_number(area, 3)} cm2 of"
            " surface in all,"
            f" both sides counted; {told_number(thinnest, 3)} mm at the thinnest.",
            spread,
        )

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            **self.arrived.as_json(),
            "measures": self.measures.as_json(),
            "notes": list(self.notes),
            "least_mm": self.least_mm,
            "sentences": list(self.sentences),
            "thin": [
                {
                    "number": number,
                    "area_cm2": round(wall.area_mm2 / 100.0, 4),
                    "least_mm": round(wall.least_mm, 4),
                    "at_mm": [round(c, 3) for c in wall.place_mm],
                    "sentence": thin_sentence(wall),
                }
                for number, wall in enumerate(self.thin[:TOLD], start=1)
            ],
            "more": max(len(self.thin) - TOLD, 0),
            "wall_at_shares_mm": dict(zip(("5%", "50%", "95%"), self.at_shares_mm, strict=True)),
            "thinnest_mm": round(self.least_found_mm, 4),
            "thin_share": round(self.thin_share, 6),
            "written": [str(path) for path in self.written],
        }


def measure_thickness(
    path: str | Path,
    *,
    results: MapAndPicture | None = None,
    least_mm: float | None = None,
    unit: str | None = None,
    scale: float | None = None,
    progress: Progress = quiet,
) -> ThicknessReport:
    """Measures the wall over the whole surface of a mesh file.

    A mesh that is not sound is mended first, openings left open, and the report says so.

    Args:
        path: the mesh file; it is not changed.
        results: what to write besides.
        least_mm: below this the wall is called too thin; None takes 1.2 mm.
        unit, scale: see ``arrive``.
        progress: told what is being done.

    Raises:
        WorkshopError: the file cannot be read, is open, or a result cannot be written.
    """
    results = results or MapAndPicture()
    least = LEAST_WALL_MM if least_mm is None else least_mm
    need_format(results.map, MAPS)
    need_format(results.picture, PICTURES)
    paths = [results.map, results.picture]
    need_free(paths, inputs=[Path(path)], force=results.force)
    progress("reading the file", 0.0)
    arrived = arrive(path, unit=unit, scale=scale)
    progress("looking whether it is sound", 0.15)
    mesh, notes = sound(arrived)
    progress("measuring the wall", 0.4)
    thick = wall_thickness(mesh)
    report = _report(arrived, mesh, notes, thick, least, paths)
    paint = Paint(thick.wall_mm, thickness_ramp(least))
    if results.map is not None:
        progress("writing the map", 0.6)
        save_map(results.map, mesh, paint)
    if results.picture is not None:
        progress("drawing the picture", 0.7)
        write_whole(results.picture, _picture(report, mesh, paint))
    return report


def thin_sentence(wall: ThinWall) -> str:
    """One thin place, in a sentence."""
    x, y, z = (round(c, 1) + 0.0 for c in wall.place_mm)
    return (
        f"{told_number(wall.least_mm, 3)} mm at the thinnest, near ({x:.1f}, {y:.1f}, {z:.1f}) mm;"
        f" {told_number(wall.area_mm2 / 100.0, 3)} cm2 of surface."
    )


def _report(
    arrived: Arrived,
    mesh: Mesh,
    notes: tuple[str, ...],
    thick: Thickness,
    least: float,
    paths: list[Path | None],
) -> ThicknessReport:
    areas = mesh.face_areas_mm2
    order = np.argsort(thick.wall_mm, kind="stable")
    share = np.cumsum(areas[order]) / areas.sum()
    at = [float(thick.wall_mm[order[np.searchsorted(share, s)]]) for s in SHARES]
    return ThicknessReport(
        arrived=arrived,
        measures=measure(mesh),
        notes=notes,
        least_mm=least,
        thin=thin_walls(mesh, thick, under_mm=least),
        at_shares_mm=tuple(round(value, 4) for value in at),
        least_found_mm=float(thick.wall_mm[areas > 0].min()),
        thin_share=float(areas[thick.wall_mm < least].sum() / areas.sum()),
        written=tuple(path for path in paths if path is not None),
    )


def _picture(report: ThicknessReport, mesh: Mesh, paint: Paint) -> bytes:
    marks = [
        Mark(str(number), thin_sentence(wall), np.array([wall.place_mm]))
        for number, wall in enumerate(report.thin[:TOLD], start=1)
    ]
    more = len(report.thin) - TOLD
    notes = [*report.sentences, *report.notes]
    if more > 0:
        notes.append(f"{more} smaller thin places carry no pin.")
    title = f"{report.arrived.name}: wall thickness"
    return mesh_picture(MeshSheet(title, facts_of(report.measures), mesh, marks, paint, notes))
