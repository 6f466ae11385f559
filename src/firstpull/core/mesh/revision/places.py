"""Where to look at a surface: places spread evenly over it, the same each time."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh


def even_places(mesh: Mesh, count: int) -> tuple[Floats, Floats]:
    """(N, 3) places spread evenly by area, and the surface's normals there.

    Faces are met in the order of a walk through space, and their area is stepped along evenly.
    """
    areas = mesh.face_areas_mm2
    low, high = mesh.bounds_mm
    cells = ((mesh.face_centres_mm - low) / max(float((high - low).max()), 1e-300) * 15.99).astype(
        int
    )
    code = np.zeros(len(areas), dtype=np.int64)
    for bit in range(4):
        for axis in range(3):
            code |= ((cells[:, axis] >> bit) & 1) << (3 * bit + axis)
    order = np.argsort(code, kind="stable")
    ends = np.cumsum(areas[order])
    steps = (np.arange(count) + 0.5) / count
    face = order[np.searchsorted(ends, steps * ends[-1])]
    # within the face by the two golden steps of the plane: spread without clumps
    u, v = (np.arange(count) * 0.7548776662466927) % 1, (np.arange(count) * 0.5698402909980532) % 1
    fold = u + v > 1
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    c = mesh.corners_mm[face]
    points = c[:, 0] + u[:, None] * (c[:, 1] - c[:, 0]) + v[:, None] * (c[:, 2] - c[:, 0])
    return points, mesh.face_normals[face]
