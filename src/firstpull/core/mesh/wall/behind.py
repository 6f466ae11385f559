"""Where is there room behind an open surface, at least a wall away from it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid, closest, distance
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.repair.lay import laid
from firstpull.core.mesh.topology import edge_table
from firstpull.core.mesh.tree import Tree, square_to_face

DEEPENINGS = 3  # rounds of moving corners farther where a face between them comes too near
CLOSE_SHARE = 1e-3  # of the wall, that is near enough
AT_END = 1e-7  # of a triangle: closer to an end or side than this is on it


def room_behind(
    sheet: Mesh, grid: Grid, *, wall_mm: float, past_rim_mm: float, least_wide_mm: float = 0.0
) -> Mesh:
    """The surface of the room behind an open sheet that a wall leaves.

    Args:
        sheet: open, its faces looking away from the room.
        grid: where to look; the room ends at its edge.
        wall_mm: least distance from the sheet to the room.
        past_rim_mm: past the sheet's border, where the sheet lies sideways of a place rather
            than over it, the room comes as near as this. It runs on through the openings.
        least_wide_mm: room that is nowhere as wide as this is left out.

    Returns:
        a closed mesh, free of crossings or empty, whose corners next to the sheet are exact.
    """
    away, face = closest(sheet, grid)
    field = np.empty(grid.shape, dtype=np.float32)
    aside = np.empty(grid.shape, dtype=np.bool_)
    low = np.array(grid.low_mm)
    borders = Borders.of(sheet)
    _room(
        np.ascontiguousarray(sheet.corners_mm.reshape(-1, 9)),
        sheet.faces,
        borders.side_normals,
        borders.end_normals,
        borders.side,
        borders.end,
        low,
        grid.step_mm,
        wall_mm,
        past_rim_mm,
        away,
        face,
        field,
        aside,
    )
    del away, face
    if least_wide_mm > 0:
        _without_narrow(field, aside, grid, 0.5 * least_wide_mm)
    return _exact(contour(field, grid), sheet, wall_mm, grid.step_mm)


@dataclass(frozen=True)
class Borders:
    """Which sides and vertices of a sheet lie on its border, and the normals there.

    Args:
        side_normals: (3F, 3) of the sides, not of unit length.
        end_normals: (V, 3) of the vertices.
        side: (3F,) whether a side has one face only.
        end: (V,) whether a vertex is at the end of such a side.
    """

    side_normals: Floats
    end_normals: Floats
    side: Flags
    end: Flags

    @staticmethod
    def of(sheet: Mesh) -> Borders:
        """Normals of sides are means of both faces; of vertices, weighted by corner angle.

        Source: Baerentzen & Aanaes, Signed distance computation using the angle weighted
        pseudonormal, 2005.
        """
        twin = edge_table(sheet).twin
        normals = sheet.face_normals
        own = np.repeat(normals, 3, axis=0)
        other = np.where(twin[:, None] >= 0, normals[np.maximum(twin, 0) // 3], own)
        angles = _corner_angles(sheet.corners_mm)
        ends = np.zeros((len(sheet.vertices_mm), 3))
        for axis in range(3):
            weight = (angles * normals[:, axis, None]).ravel()
            ends[:, axis] = np.bincount(sheet.faces.ravel(), weight, minlength=len(ends))
        length = np.linalg.norm(ends, axis=1, keepdims=True)
        ends = np.divide(ends, length, out=np.zeros_like(ends), where=length > 0)
        alone = twin < 0
        end = np.zeros(len(ends), dtype=np.bool_)
        corner = sheet.faces.ravel()
        end[corner[alone]] = True
        end[np.roll(sheet.faces, -1, axis=1).ravel()[alone]] = True
        return Borders(own + other, ends, alone, end)


def _corner_angles(corners: Floats) -> Floats:
    after = np.roll(corners, -1, axis=1) - corners
    before = np.roll(corners, 1, axis=1) - corners
    crossed = np.linalg.norm(np.cross(after, before), axis=2)
    return np.asarray(np.arctan2(crossed, np.einsum("fij,fij->fi", after, before)))


@njit(cache=True, parallel=True)
def _room(
    corners: Any,
    faces: Any,
    side_normals: Any,
    end_normals: Any,
    side: Any,
    end: Any,
    low: Any,
    step: float,
    wall: float,
    past: float,
    away: Any,
    face: Any,
    field: Any,
    aside: Any,
) -> None:
    """Below 0 where there is room; ``aside`` where the nearest place is on the border."""
    nx, ny, nz = field.shape
    for i in prange(nx):
        spot = np.empty(3)
        normal = np.empty(3)
        for j in range(ny):
            for k in range(nz):
                f = face[i, j, k]
                x, y, z = low[0] + i * step, low[1] + j * step, low[2] + k * step
                square_to_face(x, y, z, corners, f, spot)
                border = _feature(
                    spot, corners[f], faces[f], f, side_normals, end_normals, side, end, normal
                )
                x, y, z = x - spot[0], y - spot[1], z - spot[2]
                size = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
                up = (x * normal[0] + y * normal[1] + z * normal[2]) / max(size, 1e-30)
                d = away[i, j, k]
                aside[i, j, k] = border
                if border:
                    past_rim = past - np.sqrt(max(d * d - up * up, 0.0))
                    field[i, j, k] = min(past_rim, wall - d) if up < 0.0 else past_rim
                else:
                    field[i, j, k] = wall - d if up < 0.0 else max(d, 1e-3 * step)


@njit(cache=True, inline="always")
def _feature(spot, c, ends, f, side_normals, end_normals, side, end, normal):  # type: ignore[no-untyped-def]
    """Copies the normal where a place lies on a face; whether that is on the border."""
    ux, uy, uz = c[3] - c[0], c[4] - c[1], c[5] - c[2]
    vx, vy, vz = c[6] - c[0], c[7] - c[1], c[8] - c[2]
    x, y, z = spot[0] - c[0], spot[1] - c[1], spot[2] - c[2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    square = nx * nx + ny * ny + nz * nz
    if square <= 0.0:
        for k in range(3):
            normal[k] = end_normals[ends[0], k]
        return end[ends[0]]
    # shares of the second and third corner
    s = ((y * vz - z * vy) * nx + (z * vx - x * vz) * ny + (x * vy - y * vx) * nz) / square
    t = ((uy * z - uz * y) * nx + (uz * x - ux * z) * ny + (ux * y - uy * x) * nz) / square
    r = 1.0 - s - t
    for corner in range(3):
        share = r if corner == 0 else (s if corner == 1 else t)
        if share > 1.0 - AT_END:
            for k in range(3):
                normal[k] = end_normals[ends[corner], k]
            return end[ends[corner]]
    for first in range(3):  # the side from corner ``first`` is across from the corner before it
        share = t if first == 0 else (r if first == 1 else s)
        if share < AT_END:
            for k in range(3):
                normal[k] = side_normals[3 * f + first, k]
            return side[3 * f + first]
    normal[0], normal[1], normal[2] = nx, ny, nz
    return False


def _without_narrow(field: Field, aside: Flags, grid: Grid, radius_mm: float) -> None:
    """Takes away the room into which no ball of that radius fits; not beside openings."""
    core = contour(np.where(aside, field, field + np.float32(radius_mm)), grid)
    if not len(core.faces):
        narrow = ~aside & (field < 0)
        field[narrow] = -field[narrow] + np.float32(1e-3 * grid.step_mm)
        return
    deep = field + np.float32(radius_mm) < 0
    beyond = distance(core, grid, reach_mm=radius_mm + 2.0 * grid.step_mm) - np.float32(radius_mm)
    np.maximum(field, beyond, out=field, where=~aside & ~deep)


def _exact(raw: Mesh, sheet: Mesh, wall_mm: float, step_mm: float) -> Mesh:
    """The room's corners that should be a wall away moved to be so, where none folds.

    Where the sheet is dented a flat face between such corners would come nearer than they:
    its corners go as much farther.
    """
    if not len(raw.faces):
        return raw
    tree = Tree.of(sheet)
    d, _, place = tree.closest(raw.vertices_mm, reach_mm=wall_mm + 0.6 * step_mm)
    near = np.asarray(np.isfinite(d) & (d > max(wall_mm - 0.6 * step_mm, 0.5 * wall_mm)))
    away = np.where(near[:, None], raw.vertices_mm - place, 0.0)
    away /= np.where(near, d, 1.0)[:, None]
    wanted = np.where(near, wall_mm, 0.0)
    whole = np.asarray(near[raw.faces].all(axis=1), dtype=np.bool_)
    begun = np.where(near, d, 0.0)
    for _ in range(DEEPENINGS):
        made = Mesh(raw.vertices_mm + away * (wanted - begun)[:, None], raw.faces)
        lacking = wall_mm - _nearest_of_faces(made, whole, tree, wall_mm)
        if lacking.max(initial=0.0) < CLOSE_SHARE * wall_mm:
            break
        more = np.zeros(len(wanted))
        np.maximum.at(more, made.faces[whole], lacking[:, None])
        wanted += more
    return laid(raw, away * (wanted - begun)[:, None])[0]


def _nearest_of_faces(made: Mesh, chosen: Flags, tree: Tree, wall_mm: float) -> Floats:
    """(C,) how near the middle and the sides of each chosen face come, the wall at most."""
    corners = made.corners_mm[chosen]
    spots = [corners.mean(axis=1)]
    spots += [0.5 * (corners[:, k] + corners[:, (k + 1) % 3]) for k in range(3)]
    d, _, _ = tree.closest(np.concatenate(spots), reach_mm=wall_mm)
    return np.asarray(np.minimum(d, wall_mm).reshape(4, -1).min(axis=0))
