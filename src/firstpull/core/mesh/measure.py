"""How big is it, outside and inside?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.topology import is_closed

HEAD_BREADTH_MM = 140.0
HEAD_LENGTH_MM = 178.0
"""A small adult head: 5th percentile of women. Source: ANSUR II public data (Natick
TR-15/007), computed from the unweighted file, n = 1,986."""

LEAST_HEIGHT_MM = 1.0  # a part that measures less along x, y or z is a flat sheet

SAMPLES = 20  # points along each side of the box in which the hollow is looked for
SHARE = 0.02  # of those points must see walls this far apart for the width to count


@dataclass(frozen=True)
class Measures:
    """The size of a mesh.

    Args:
        volume_cm3: enclosed volume; None for an open mesh.
        area_cm2: surface area, both sides of a wall counted.
        extents_mm: length along x, y and z.
        centre_of_mass_mm: of the solid; of the surface where the mesh is open.
        triangles: how many.
        closed: whether every edge has its two faces.
    """

    volume_cm3: float | None
    area_cm2: float
    extents_mm: tuple[float, float, float]
    centre_of_mass_mm: tuple[float, float, float]
    triangles: int
    closed: bool

    def as_json(self) -> dict[str, Any]:
        """The measures as plain data, rounded."""
        return {
            "volume_cm3": None if self.volume_cm3 is None else round(self.volume_cm3, 3),
            "area_cm2": round(self.area_cm2, 2),
            "extents_mm": [round(e, 2) for e in self.extents_mm],
            "centre_of_mass_mm": [round(c, 2) for c in self.centre_of_mass_mm],
            "triangles": self.triangles,
            "closed": self.closed,
        }


def measure(mesh: Mesh) -> Measures:
    """Volume, area, extents and centre of mass.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to measure.

    Source: divergence theorem over the faces.

    >>> measure(Mesh([[0, 0, 0], [30, 0, 0], [0, 40, 0]], [[0, 1, 2]])).area_cm2
    6.0
    """
    need_surface(mesh)
    closed = is_closed(mesh)
    low, high = mesh.bounds_mm
    x, y, z = (float(e) for e in high - low)
    cx, cy, cz = (float(c) for c in _centre(mesh, closed))
    return Measures(
        volume_cm3=mesh.volume_mm3 / 1000.0 if closed else None,
        area_cm2=mesh.area_mm2 / 100.0,
        extents_mm=(x, y, z),
        centre_of_mass_mm=(cx, cy, cz),
        triangles=len(mesh.faces),
        closed=closed,
    )


def _centre(mesh: Mesh, closed: bool) -> Floats:
    areas = mesh.face_areas_mm2
    surface = (areas @ mesh.face_centres_mm) / areas.sum()
    if not closed:
        return np.asarray(surface)
    c = mesh.corners_mm - surface
    six = np.einsum("ij,ij->i", c[:, 0], np.cross(c[:, 1], c[:, 2]))
    whole = six.sum()
    if abs(whole) <= 1e-12 * areas.sum() ** 1.5:
        return np.asarray(surface)
    return np.asarray(surface + (six @ c.sum(axis=1)) / (4.0 * whole))


def inside_spans_mm(mesh: Mesh) -> tuple[float, float, float]:
    """How wide the hollow is along x, y and z, between two walls that face each other.

    The widest that at least 2 % of the points of a grid around the part see. 0 where no
    point outside the material has walls on both sides: a shallow mask has no span from front
    to back, a solid none at all.
    """
    from firstpull.core.mesh.rays import RayScene

    low, high = mesh.bounds_mm
    steps = (np.arange(SAMPLES) + 0.5) / SAMPLES
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    points = low + grid * (high - low)
    if is_closed(mesh):
        from firstpull.core.mesh.inside import is_inside

        outward = mesh if mesh.volume_mm3 > 0 else mesh.flipped()
        points = points[~is_inside(outward, points)]
    if not len(points):
        return (0.0, 0.0, 0.0)
    scene = RayScene(mesh)
    spans = []
    for axis in np.eye(3):
        span = scene.distance(points, axis) + scene.distance(points, -axis)
        seen = np.sort(span[np.isfinite(span)])[::-1]
        enough = int(SHARE * len(points))
        spans.append(float(seen[enough]) if len(seen) > enough else 0.0)
    return (spans[0], spans[1], spans[2])


def flat_warning(mesh: Mesh, *, factor_to_mm: float = 1.0) -> str | None:
    """Says that a mesh as it arrived is a flat sheet; None where it is not.

    Args:
        mesh: in a unit of which one is so many mm.
        factor_to_mm: that unit.
    """
    least_mm = float(np.ptp(mesh.vertices_mm, axis=0).min()) * factor_to_mm
    if least_mm >= LEAST_HEIGHT_MM:
        return None
    return (
        f"The part is less than {LEAST_HEIGHT_MM:g} mm high: a flat sheet is not what this mould"
        " is for. Check the file and its unit."
    )


def inside_width_warning(mesh: Mesh) -> str | None:
    """A sentence where the hollow is narrower than a small adult head; else None.

    Looks along the mesh's own axes, so a part that lies askew in its file reads too wide;
    the warning then stays out. A part without a hollow gives None.
    """
    width = max(inside_spans_mm(mesh))
    if width == 0.0 or width >= HEAD_BREADTH_MM:
        return None
    return (
        f"The inside is {width:.0f} mm at its widest; a small adult head is"
        f" {HEAD_BREADTH_MM:.0f} mm broad and {HEAD_LENGTH_MM:.0f} mm long. If it goes over a"
        " head, check unit and scale now: everything after depends on them."
    )
