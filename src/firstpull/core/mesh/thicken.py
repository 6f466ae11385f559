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
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import open_loops

GAP_SHARE = 0.45  # of the hollow's width that each of two facing walls may take
MITRE = 2.0  # no corner of the inner sheet goes farther than this many walls
THIN_SHARE = 0.9  # of the asked wall, below which a place counts as tight
ROUNDS = 24
EASINGS = 6
WORK = 30_000_000  # vertices times rounds that one easing may take


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
    way = _eased(surface, _inward(surface, wall_mm), wall_mm)
    reach = _reach(surface, way, wall_mm)
    free = _free_depth(surface, way)
    depth = np.minimum(reach, GAP_SHARE * free)
    depth = _unfolded(surface, way, depth, int(np.clip(_steps_in(surface, wall_mm), 2, 30)))
    wall = _stitched(surface, surface.vertices_mm + way * depth[:, None])
    share = depth / reach
    tight = np.asarray(share < THIN_SHARE)
    weight = _vertex_areas(surface)
    least = float(wall_mm * share.min())
    tight_share = float(weight[tight].sum() / max(weight.sum(), 1e-300))
    filled = 0.0
    if tight_share > 1e-4:
        wall, filled = _filled(surface, wall, tight, wall_mm)
    return Thickened(wall, least, tight_share, filled)


def _inward(surface: Mesh, wall_mm: float) -> Floats:
    """(V, 3) unit ways inward, lightly smoothed."""
    normals = _vertex_normals(surface)
    link = _neighbours(surface)
    smooth = normals
    for _ in range(min(_rounds(surface, 0.25 * wall_mm), 20)):
        smooth = _unit(smooth + link @ smooth)
    lost = np.einsum("ij,ij->i", smooth, normals) <= 0.2
    return -np.where(lost[:, None], normals, smooth)


def _eased(surface: Mesh, way: Floats, wall_mm: float) -> Floats:
    """The ways, spread wider around places where a full wall would fold.

    Around a sharp crease the ways must turn over about one and a half walls for the inner
    sheet to keep its order; elsewhere they are better left alone.
    """
    link = _neighbours(surface).tocsr()
    grow = max(_steps_in(surface, 2.0 * wall_mm), 1)
    for _ in range(EASINGS):
        depth = _reach(surface, way, wall_mm)
        folded = _folded(surface, way, depth)
        if not folded.any():
            break
        near = np.zeros(len(way))
        near[surface.faces[folded].ravel()] = 1.0
        for _ in range(min(grow, 40)):
            near = np.maximum(near, (link @ near) > 0)
        region = np.flatnonzero(near)
        rows = link[region]
        rounds = int(np.clip(_rounds(surface, wall_mm), 1, WORK // len(region) + 1))
        way = way.copy()
        for _ in range(rounds):
            way[region] = _unit(way[region] + rows @ way)
    return way


def _reach(surface: Mesh, way: Floats, wall_mm: float) -> Floats:
    """(V,) how far to go along each way so that the wall is square to the faces."""
    square = _mean_over_faces(surface, -way)
    return np.asarray(wall_mm / np.clip(square, 1.0 / MITRE, 1.0))


def _rounds(surface: Mesh, spread_mm: float) -> int:
    """Rounds of averaging with the neighbours that spread over a given length."""
    return int(4.0 * (spread_mm / _edge_mm(surface)) ** 2)


def _steps_in(surface: Mesh, length_mm: float) -> int:
    return int(np.ceil(length_mm / _edge_mm(surface)))


def _edge_mm(surface: Mesh) -> float:
    corners = surface.corners_mm
    return float(max(np.median(np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)), 1e-9))


def _vertex_normals(surface: Mesh) -> Floats:
    """(V, 3) unit normals, each face counting by its angle at the vertex."""
    corners = surface.corners_mm
    faces = surface.face_normals
    out = np.zeros_like(surface.vertices_mm)
    angles = _corner_angles(corners)
    for k in range(3):
        for axis in range(3):
            out[:, axis] += np.bincount(
                surface.faces[:, k], weights=angles[:, k] * faces[:, axis], minlength=len(out)
            )
    return _unit(out)


def _corner_angles(corners: Floats) -> Floats:
    after = _unit(np.roll(corners, -1, axis=1) - corners)
    before = _unit(np.roll(corners, 1, axis=1) - corners)
    cosine = np.einsum("fij,fij->fi", after, before)
    angles: Floats = np.arccos(np.clip(cosine, -1.0, 1.0))
    return angles


def _mean_over_faces(surface: Mesh, way: Floats) -> Floats:
    """(V,) cosine between each way and the faces around the vertex, by angle."""
    angles = _corner_angles(surface.corners_mm)
    normals = surface.face_normals
    angles = angles * (np.linalg.norm(normals, axis=1) > 0)[:, None]
    total, weight = np.zeros(len(way)), np.zeros(len(way))
    for k in range(3):
        cosine = np.einsum("ij,ij->i", normals, way[surface.faces[:, k]])
        at = surface.faces[:, k]
        total += np.bincount(at, weights=angles[:, k] * cosine, minlength=len(way))
        weight += np.bincount(at, weights=angles[:, k], minlength=len(way))
    return np.divide(total, weight, out=np.ones(len(way)), where=weight > 0)


def _neighbours(surface: Mesh) -> Any:
    """Sparse matrix that averages over a vertex's neighbours."""
    from scipy.sparse import coo_matrix, diags

    n = len(surface.vertices_mm)
    a = surface.faces[:, [0, 1, 2]].ravel()
    b = surface.faces[:, [1, 2, 0]].ravel()
    link = coo_matrix((np.ones(len(a)), (a, b)), shape=(n, n)).tocsr()
    link = link + link.T
    link.data[:] = 1.0
    valence = np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)
    return diags(1.0 / valence) @ link


def _vertex_areas(surface: Mesh) -> Floats:
    areas = np.repeat(surface.face_areas_mm2 / 3.0, 3)
    n = len(surface.vertices_mm)
    shared = np.bincount(surface.faces.ravel(), weights=areas, minlength=n)
    return shared.astype(np.float64)


def _free_depth(surface: Mesh, way: Floats) -> Floats:
    """(V,) length of the way inward to the next piece of the surface."""
    from firstpull.core.mesh.rays import RayScene

    low, high = surface.bounds_mm
    # far enough off the surface for 32-bit rays not to meet the faces they start from
    lift = 1e-5 * float(np.linalg.norm(high - low))
    scene = RayScene(surface)
    return scene.distance(surface.vertices_mm + lift * way, way) + lift


def _unfolded(surface: Mesh, way: Floats, depth: Floats, steps: int) -> Floats:
    """The depth, made less where a face of the inner sheet would turn over."""
    depth = depth.copy()
    a, b = surface.faces.ravel(), surface.faces[:, [1, 2, 0]].ravel()
    for _ in range(ROUNDS):
        folded = _folded(surface, way, depth)
        if not folded.any():
            break
        touched = np.zeros(len(depth))
        touched[surface.faces[folded].ravel()] = 1.0
        for _ in range(steps):  # a step in depth would fold the next face: ease off over a wall
            reached = touched.copy()
            np.maximum.at(reached, a, touched[b] - 1.0 / steps)
            np.maximum.at(reached, b, touched[a] - 1.0 / steps)
            touched = np.maximum(reached, 0.0)
        depth *= 1.0 - 0.15 * touched
    return depth


def _folded(surface: Mesh, way: Floats, depth: Floats) -> Flags:
    """(F,) whether each face of the inner sheet looks against its outer face."""
    outer = surface.face_vectors_mm2
    inner = Mesh(surface.vertices_mm + way * depth[:, None], surface.faces).face_vectors_mm2
    size = np.einsum("ij,ij->i", outer, outer)
    return np.asarray((np.einsum("ij,ij->i", inner, outer) < -1e-9 * size) & (size > 0))


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
    from firstpull.core.mesh.solid import largest_part, mesh_of, solid

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
        before = solid(wall)
        grown = largest_part(before + solid(blob))
    except WorkshopError:
        return wall, 0.0
    added = float(grown.volume() - before.volume())
    return (mesh_of(grown), added) if added > 0 else (wall, 0.0)


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


def _unit(vectors: Floats) -> Floats:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)
