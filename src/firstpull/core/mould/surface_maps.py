"""What can be told of every point of a surface: wall, show, view, silicone, fill?

One number for each vertex, to be laid over the shape in colours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.grid import sample
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene
from firstpull.core.mesh.thickness import wall_thickness
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept

Values = NDArray[np.float32]
Sense = Literal["low", "high", "none"]

LOOKS = 64  # ways in which a vertex looks at the upper half-space
OFF_MM = 0.02  # over the surface: single precision must not meet the face it starts from
TOUCHING_MM = 0.05
LEVEL = 0.5  # upward part of a normal from which a face lies rather than stands
NO_FILL_STEPS = 0.3  # of the grid: less is rounding


class BadPull(WorkshopError):
    """A direction that no piece can leave along."""

    code = "bad_pull"


@dataclass(frozen=True)
class Range:
    """From where to where colours run.

    Args:
        low, high: 2nd and 98th percentile, rounded outwards; equal only where all values are.
    """

    low: float
    high: float


def range_of(values: Values) -> Range:
    """The range of all values that are numbers; 0 to 0 where there is none.

    >>> range_of(np.array([0.0, 2.04, 8.0, np.nan], dtype=np.float32))
    Range(low=0.0, high=7.8)
    """
    told = values[np.isfinite(values)]
    if not len(told):
        return Range(0.0, 0.0)
    low, high = (float(v) for v in np.percentile(told, (2, 98)))
    span = max(high - low, abs(high), 1e-6)
    digits = 1 - math.floor(math.log10(span))
    unit = 10.0**digits
    slack = 1e-4  # single precision must not round 3.0 up to 3.1
    return Range(
        round(math.floor(low * unit + slack) / unit, digits) + 0.0,
        round(math.ceil(high * unit - slack) / unit, digits) + 0.0,
    )


def thickness_at(mesh: Mesh) -> Values:
    """(V,) mm: the thinnest wall under the faces around each vertex of a closed mesh."""
    wall = wall_thickness(mesh).wall_mm
    return _gathered(np.minimum, mesh, wall, start=np.inf)


def shown_at(mesh: Mesh, faces: Flags) -> Values:
    """(V,) 1 where the mould copies a face around the vertex, else 0."""
    return _gathered(np.maximum, mesh, faces.astype(np.float64), start=0.0)


def view_from(mesh: Mesh, *, looks: int = LOOKS) -> Values:
    """(V,) share of the upper half-space that each vertex of a closed mesh sees, 0 to 1.

    Seen evenly in all directions above level, by ``looks`` rays. A free surface that lies
    level sees all of it, an upright one half.
    """
    normals = vertex_normals(mesh)
    origins = mesh.vertices_mm + OFF_MM * normals
    scene = RayScene(mesh)
    seen = np.zeros(len(origins))
    for way in _upper_ways(looks):
        open_to = np.flatnonzero(normals @ way > 0)
        seen[open_to] += ~scene.is_blocked(origins[open_to], way)
    return (seen / looks).astype(np.float32)


def silicone_under(skin: Mesh, body: Mesh) -> Values:
    """(V,) mm from each vertex on the skin's outside to the body, or to the board under a flange.

    NaN on the inside, on the board, and on the flange's upright edges.

    Args:
        skin: closed, on the board, fill included.
        body: that it lies on.
    """
    away = Tree.of(body).closest(skin.vertices_mm)[0]
    height = skin.vertices_mm[:, 2]
    lies = vertex_normals(skin)[:, 2] > LEVEL
    under = np.where(away <= height, away, np.where(lies, height, np.nan))
    under[(away < TOUCHING_MM) | (height < TOUCHING_MM)] = np.nan
    return under.astype(np.float32)


def fill_for_pull(skin: Mesh, shape: SkinShape, pull: ArrayLike, *, draft_deg: float) -> Values:
    """(V,) mm: how deep silicone must fill over the plain skin for a piece to leave along a pull.

    0 where the pull is free, the field's reach at the most, NaN on the skin's inside.

    Args:
        skin: as built; where it is filled already, the plain skin under it is asked.
        shape: the skin before fill; a coarse field will do.
        pull: away from the board, any length.
        draft_deg: least lean between the piece and the pull.

    Raises:
        BadPull: the pull is no direction, or leads into the board.
    """
    way = need_pull(pull)
    grid, step = shape.grid, shape.grid.step_mm
    s = swept(shape.phi, grid, pull=way, draft_deg=draft_deg, up_to_mm=step)
    points = skin.vertices_mm
    away = sample(shape.phi, grid, points)
    outside = np.flatnonzero((away > -0.5 * shape.thickness_mm) & (points[:, 2] > TOUCHING_MM))
    slope = _slope(shape, points[outside])
    foot = points[outside] - away[outside, None] * slope
    depth = np.full(len(points), np.nan, dtype=np.float32)
    deep = np.zeros(len(outside))
    going = np.arange(len(outside))
    before = np.minimum(sample(s, grid, foot), 0.0)
    for out in np.arange(0.5 * step, shape.reach_mm + 0.5 * step, 0.5 * step):
        here = sample(s, grid, foot[going] + out * slope[going])
        free = here >= 0
        part = here / np.maximum(here - before, 1e-9)  # of the last half step, beyond the fill
        deep[going] = np.where(free, out - 0.5 * step * part, out)
        going, before = going[~free], here[~free]
        if not len(going):
            break
    deep[deep < NO_FILL_STEPS * step] = 0.0
    depth[outside] = np.minimum(deep, shape.reach_mm)
    return depth


def vertex_normals(mesh: Mesh) -> Floats:
    """(V, 3) unit normals, faces weighted by area; zero where nothing is left of them."""
    normals = np.zeros_like(mesh.vertices_mm)
    vectors = mesh.face_vectors_mm2
    for corner in range(3):
        for axis in range(3):
            normals[:, axis] += np.bincount(
                mesh.faces[:, corner], weights=vectors[:, axis], minlength=len(normals)
            )
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)


def _gathered(choose: np.ufunc, mesh: Mesh, of_face: Floats, *, start: float) -> Values:
    """(V,) the least or greatest value of the faces around each vertex."""
    out = np.full(len(mesh.vertices_mm), start)
    for corner in range(3):
        choose.at(out, mesh.faces[:, corner], of_face)
    return out.astype(np.float32)


def _upper_ways(count: int) -> Floats:
    """(count, 3) unit vectors spread evenly over the upper half-space."""
    z = (np.arange(count) + 0.5) / count
    angle = np.pi * (1 + 5**0.5) * np.arange(count)
    flat = np.sqrt(1 - z * z)
    return np.stack([flat * np.cos(angle), flat * np.sin(angle), z], axis=1)


def _slope(shape: SkinShape, points: Floats) -> Floats:
    """(N, 3) unit vectors straight away from the plain skin."""
    h = shape.grid.step_mm * np.eye(3)
    rise = [
        sample(shape.phi, shape.grid, points + ahead)
        - sample(shape.phi, shape.grid, points - ahead)
        for ahead in h
    ]
    slope = np.stack(rise, axis=1).astype(np.float64)
    length = np.linalg.norm(slope, axis=1, keepdims=True)
    return np.divide(slope, length, out=np.zeros_like(slope), where=length > 1e-9)


def need_pull(pull: ArrayLike) -> Floats:
    """(3,) a pull as a unit vector.

    Raises:
        BadPull: it is no direction, or leads into the board.
    """
    way = np.asarray(pull, dtype=np.float64).reshape(-1)
    length = float(np.linalg.norm(way)) if len(way) == 3 else 0.0
    if not (np.isfinite(length) and length > 0) or way[2] <= 0:
        raise BadPull(
            where="The pull",
            found="leads along the board or into it" if length > 0 else "is no direction",
            limit="a piece leaves away from the board: the third number is above 0",
            remedy="Turn it up.",
        )
    return way / length
