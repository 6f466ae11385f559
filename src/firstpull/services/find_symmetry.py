"""Is a part symmetric, about which plane, and where is it off? With a map and a picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.figures import told_number
from firstpull.core.mesh.lines.figure import Plane
from firstpull.core.mesh.measure import measure
from firstpull.core.mesh.revision.symmetry import Mirror, Spot, find_mirror
from firstpull.core.progress import Progress, quiet
from firstpull.packet.mesh_pictures import Mark, MeshSheet, Paint, mesh_picture
from firstpull.packet.ramps import off_ramp
from firstpull.services.check_mesh import PICTURES
from firstpull.services.mending_told import length
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.mesh_sheets import facts_of
from firstpull.services.results_out import need_format, need_free, write_whole

TOLD = 8  # places that are listed and pinned
LEAST_MM = 0.01


@dataclass(frozen=True)
class SymmetryReport:
    """How symmetric a part is.

    Args:
        arrived: the mesh as it came in.
        mirror: the plane and what departs from it; None where there is none.
        spots: where it departs most, the worst first.
        written: the picture, where one was wanted.
    """

    arrived: Arrived
    mirror: Mirror | None
    spots: tuple[Spot, ...]
    written: tuple[Path, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The plane, and how far off."""
        if self.mirror is None:
            return ("No plane was found in which it mirrors onto itself.",)
        half, most, worst = (
            length(value)
            for value in (self.mirror.median_mm, self.mirror.p95_mm, self.mirror.largest_mm)
        )
        return (
            self.mirror.in_words(),
            f"Mirror plane: {_equation(self.mirror.plane)}.",
            f"Off on half of the surface by at most: {half}; on 95 %: {most}; anywhere: {worst}.",
        )

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        mirror = self.mirror
        return {
            **self.arrived.as_json(),
            "found": mirror is not None,
            "plane": None
            if mirror is None
            else {
                "point_mm": mirror.plane.point_mm.tolist(),
                "normal": mirror.plane.normal.tolist(),
            },
            "median_mm": mirror and mirror.median_mm,
            "p95_mm": mirror and mirror.p95_mm,
            "largest_mm": mirror and mirror.largest_mm,
            "spots": [
                {
                    "number": number,
                    "at_mm": [round(c, 3) for c in spot.worst_mm],
                    "off_mm": round(spot.largest_mm, 4),
                    "area_cm2": round(spot.area_mm2 / 100.0, 4),
                    "sentence": spot_sentence(spot),
                }
                for number, spot in enumerate(self.spots[:TOLD], start=1)
            ],
            "more": max(len(self.spots) - TOLD, 0),
            "sentences": list(self.sentences),
            "written": [str(path) for path in self.written],
        }


def find_symmetry(
    path: str | Path,
    *,
    picture: Path | None = None,
    unit: str | None = None,
    scale: float | None = None,
    force: bool = False,
    progress: Progress = quiet,
) -> SymmetryReport:
    """Looks for the plane in which a mesh file mirrors onto itself.

    Raises:
        WorkshopError: the file cannot be read, or the picture cannot be written.
    """
    need_format(picture, PICTURES)
    need_free([picture], inputs=[Path(path)], force=force)
    progress("reading the file", 0.0)
    arrived = arrive(path, unit=unit, scale=scale)
    progress("looking for a mirror plane", 0.2)
    mirror = find_mirror(arrived.mesh)
    spots = mirror.spots_off(tol_mm=max(mirror.p95_mm, LEAST_MM)) if mirror else []
    report = SymmetryReport(arrived, mirror, tuple(spots), (picture,) if picture else ())
    if picture is not None:
        progress("drawing the picture", 0.7)
        write_whole(picture, _picture(report))
    return report


def spot_sentence(spot: Spot) -> str:
    """One place that is off, in a sentence."""
    x, y, z = (round(c, 1) + 0.0 for c in spot.worst_mm)
    return (
        f"Off by up to {told_number(spot.largest_mm, 2)} mm near ({x:.1f}, {y:.1f}, {z:.1f}) mm,"
        " over"
        f" {told_number(spot.area_mm2 / 100.0, 2)} cm2."
    )


def _equation(plane: Plane) -> str:
    """A plane as an equation in the file's axes.

    >>> _equation(Plane([5, 0, 0], [1, 0, 0])), _equation(Plane([0, 0, 0], [0.6, -0.8, 0]))
    ('x = 5.00 mm', '0.600 x - 0.800 y = 0.00 mm')
    """
    at_mm = round(float(plane.point_mm @ plane.normal), 2) + 0.0
    words = ""
    for name, share in zip("xyz", plane.normal.round(3).tolist(), strict=True):
        if share:
            sign = ("- " if share < 0 else "+ ") if words else ("-" if share < 0 else "")
            size = "" if abs(share) == 1.0 else f"{abs(share):.3f} "
            words += f"{sign}{size}{name} "
    return f"{words}= {at_mm:.2f} mm"


def _picture(report: SymmetryReport) -> bytes:
    mirror, arrived = report.mirror, report.arrived
    facts = facts_of(measure(arrived.mesh))
    title = f"{arrived.name}: symmetry"
    if mirror is None:
        return mesh_picture(MeshSheet(title, facts, arrived.mesh, notes=report.sentences))
    marks = [
        Mark(str(number), spot_sentence(spot), np.array([spot.worst_mm]))
        for number, spot in enumerate(report.spots[:TOLD], start=1)
    ]
    paint = Paint(mirror.off_mm, off_ramp(max(mirror.p95_mm, LEAST_MM), mirror.largest_mm))
    return mesh_picture(MeshSheet(title, facts, mirror.mesh, marks, paint, report.sentences))
