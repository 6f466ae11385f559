"""An open surface becomes a wall: the show side stays, the inner side is new.

The inner sheet is the outer one moved inward along normals that are smoothed over about the
width of the wall, so that fine relief does not fold it; it moves less where the hollow is too
tight for two walls and where it would fold all the same. A band along every loop joins the
two. What is too tight for two full walls is then filled from a distance grid, so a narrow tip
is solid instead of thin.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.inward import Sheet, inner_side
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import components, open_loops

THIN_SHARE = 0.9  # of the asked wall, below which a place counts as tight


@dataclass(frozen=True)
class Thickened:
    """A wall made from an open surface.

    Args:
        mesh: the closed wall; its first vertices are the surface's own.
        least_mm: the thinnest place that the inner sheet alone leaves.
        tight_share: share of the area where the hollow is too tight for the full wall.
        filled_mm3: material added to make tight places solid; 0 where none was.
    """

    mesh: Mesh
    least_mm: float
    tight_share: float
    filled_mm3: float


def thickened(surface: Mesh, *, wall_mm: float) -> Thickened:
    """A closed wall behind an open surface whose faces look away from the hollow.

    Args:
        surface: open, every edge with one or two faces, all looking the same way.
        wall_mm: thickness measured square to the surface.

    Returns:
        the wall; its outer sheet is the surface itself, triangle by triangle.

    >>> from firstpull.core.mesh.topology import is_closed
    >>> plate = Mesh([[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]], [[0, 1, 2], [0, 2, 3]])
    >>> wall = thickened(plate, wall_mm=2).mesh
    >>> is_closed(wall), round(wall.volume_mm3)
    (True, 162)
    """
    sheet = Sheet.of(surface)
    way, reach, depth = inner_side(sheet, wall_mm=wall_mm)
    wall = _stitched(surface, surface.vertices_mm + way * depth[:, None])
    share = depth / reach
    tight = np.asarray(share < THIN_SHARE)
    weight = sheet.vertex_areas_mm2()
    least = float(wall_mm * share.min())
    tight_share = float(weight[tight].sum() / max(weight.sum(), 1e-300))
    filled = 0.0
    if tight_share > 1e-4:
        wall, filled = _filled(surface, wall, tight, wall_mm)
    return Thickened(wall, least, tight_share, filled)


def _stitched(surface: Mesh, inner_mm: Floats) -> Mesh:
    """Outer sheet, inner sheet turned over, and a band of two triangles at each open edge."""
    n = len(surface.vertices_mm)
    loops = open_loops(surface)
    start = np.concatenate(loops)
    end = np.concatenate([np.roll(loop, -1) for loop in loops])
    band = np.concatenate(
        [
            np.stack([end, start, start + n], axis=1),
            np.stack([end, start + n, end + n], axis=1),
        ]
    )
    return Mesh(
        np.concatenate([surface.vertices_mm, inner_mm]),
        np.concatenate([surface.faces, surface.faces[:, ::-1] + n, band]),
    )


def _filled(surface: Mesh, wall: Mesh, tight: Flags, wall_mm: float) -> tuple[Mesh, float]:
    """The wall with material where the hollow is too tight, and how much that was.

    Within the hollow, what lies nearer to a tight place than the wall is filled, but no nearer
    to the surface than half a grid step, so that the show side keeps its own triangles, and
    not beside an opening.
    """
    from firstpull.core.mesh.contour import contour
    from firstpull.core.mesh.grid import Grid, closest, winding
    from firstpull.core.mesh.solid import mesh_of, solid

    step = max(wall_mm / 4.0, _coarsest(surface, tight, wall_mm))
    points = surface.vertices_mm[tight]
    margin = 2.0 * wall_mm
    grid = Grid.around(points.min(axis=0) - margin, points.max(axis=0) + margin, step_mm=step)
    lidded = _lidded(surface)
    reach = 2.0 * wall_mm
    away, face = closest(surface, grid, reach_mm=reach)
    tight_face = np.asarray(tight[surface.faces].any(axis=1), dtype=np.bool_)
    behind: Flags = (face >= 0) & (winding(lidded, grid) > 0)
    behind &= tight_face[face]
    behind &= ~_beside_loops(surface, grid, behind, wall_mm)
    field = np.maximum(away - np.float32(wall_mm), np.float32(0.5 * step) - away)
    field = np.where(behind, field, np.float32(0.5 * step)).astype(np.float32)
    blob = contour(field, grid)
    if not len(blob.faces):
        return wall, 0.0
    try:
        grown = _largest(mesh_of(solid(wall) + solid(blob)))
    except WorkshopError:
        return wall, 0.0
    added = grown.volume_mm3 - wall.volume_mm3
    return (grown, added) if added > 0 else (wall, 0.0)


def _largest(mesh: Mesh) -> Mesh:
    """The part with the most surface: without islands of filling and bubbles left in it."""
    label = components(mesh)
    area = np.bincount(label, weights=mesh.face_areas_mm2)
    return mesh if len(area) == 1 else mesh.with_faces(label == int(np.argmax(area)))


def _coarsest(surface: Mesh, tight: Flags, wall_mm: float) -> float:
    """The step at which the grid around the tight places stays under 8 million points."""
    points = surface.vertices_mm[tight]
    span = np.ptp(points, axis=0) + 4.0 * wall_mm
    return float((np.prod(span) / 8e6) ** (1.0 / 3.0))


def _lidded(surface: Mesh) -> Mesh:
    """The surface with a fan over every loop, to tell its hollow from the outside."""
    from firstpull.core.mesh.holes import close_loops

    return close_loops(surface, open_loops(surface))


def _beside_loops(surface: Mesh, grid: Any, chosen: Flags, within_mm: float) -> Flags:
    """Which of the chosen grid points lie closer than that to a loop vertex."""
    from scipy.spatial import cKDTree

    rim = surface.vertices_mm[np.concatenate(open_loops(surface))]
    at = np.argwhere(chosen)
    points = np.array(grid.low_mm) + grid.step_mm * at
    near, _ = cKDTree(rim).query(points, distance_upper_bound=within_mm)
    out = np.zeros(grid.shape, dtype=np.bool_)
    out[tuple(at.T)] = np.isfinite(near)
    return out
