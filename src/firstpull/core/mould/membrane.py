"""Surfaces that close a loop: a smooth membrane, and an even run of the loop itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh

FACE_MM = 3.0  # size of the membrane's triangles


def membrane(loop_mm: Floats) -> Mesh:
    """A soap-film-like surface across a closed run of points, wound with it.

    Args:
        loop_mm: (N, 3) the run.

    Returns:
        A surface whose border is the run; its border edges may be split, never moved.

    The run is laid flat on its own plane and cut into triangles there; inner points then
    settle like a stretched film. Where the run crosses itself when flat, a fan
    serves: in a plane its overlaps cancel.
    """
    import trimesh

    lid = flat_lid(loop_mm)
    both = np.hstack([loop_mm, _laid_flat(loop_mm)])
    points, faces = trimesh.remesh.subdivide_to_size(both, lid.faces, 1.4 * FACE_MM, max_iter=14)
    points, back = np.unique(points, axis=0, return_inverse=True)
    faces = back.reshape(-1)[faces]
    return Mesh(_settled(points[:, :3], points[:, 3:], faces), faces)


def flat_lid(loop_mm: Floats) -> Mesh:
    """Triangles across a closed run of points, wound with it, without new points."""
    import manifold3d

    triangles = np.asarray(manifold3d.triangulate([_laid_flat(loop_mm)], 1e-6))
    if len(triangles) != len(loop_mm) - 2:
        order = np.arange(1, len(loop_mm) - 1)
        triangles = np.stack([np.zeros_like(order), order, order + 1], axis=1)
    return Mesh(loop_mm, triangles)


def _laid_flat(loop_mm: Floats) -> Floats:
    """(N, 2) the run on its mean plane, turning left."""
    rays = loop_mm - loop_mm.mean(axis=0)
    normal = np.cross(rays, np.roll(rays, -1, axis=0)).sum(axis=0)
    normal = normal / max(float(np.linalg.norm(normal)), 1e-12)
    side = np.cross(normal, [1.0, 0.0, 0.0] if abs(normal[0]) < 0.8 else [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    return np.stack([rays @ side, rays @ np.cross(normal, side)], axis=1)


def _settled(points_mm: Floats, flat_mm: Floats, faces: NDArray[np.integer]) -> Floats:
    """Inner points moved so that each coordinate is harmonic over the flat run.

    Linear finite elements, whose weights are half the cotangents of the flat angles.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.linalg import spsolve

    n = len(points_mm)
    stiff = coo_matrix((n, n)).tocsr()
    for c in range(3):
        i, j, k = faces[:, c], faces[:, (c + 1) % 3], faces[:, (c + 2) % 3]
        a, b = flat_mm[i] - flat_mm[k], flat_mm[j] - flat_mm[k]
        area2 = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
        weight = 0.5 * (a * b).sum(axis=1) / np.maximum(area2, 1e-9)
        part = coo_matrix((weight, (i, j)), shape=(n, n))
        stiff = stiff + part + part.T
    edges = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    border, uses = np.unique(edges, axis=0, return_counts=True)
    fixed = np.zeros(n, dtype=bool)
    fixed[border[uses == 1]] = True
    free = ~fixed
    out = points_mm.copy()
    if free.any():
        full = (
            coo_matrix(
                (np.asarray(stiff.sum(axis=1)).ravel(), (range(n), range(n))), shape=(n, n)
            ).tocsr()
            - stiff
        )
        load = -full[free][:, fixed] @ points_mm[fixed]
        solved = spsolve(full[free][:, free].tocsc(), load).reshape(-1, 3)
        if np.isfinite(solved).all():
            out[free] = solved
    return out


def evened(loop_mm: Floats, *, over_mm: float) -> Floats:
    """The run with each point replaced by the mean of the run within ``over_mm`` of it.

    >>> angle = np.arange(400) / 400 * 2 * np.pi
    >>> ring = np.stack([50 * np.cos(angle), 50 * np.sin(angle), 0 * angle], axis=1)
    >>> float(np.linalg.norm(evened(ring, over_mm=5.0), axis=1).round(1).max())
    49.9
    """
    lengths = np.linalg.norm(np.roll(loop_mm, -1, axis=0) - loop_mm, axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    total = float(along[-1])
    over = min(over_mm, total / 8)
    closed = np.vstack([loop_mm, loop_mm[:1]])
    # the run's integral, wrapped, makes each mean a difference of two look-ups
    steps = 0.5 * (closed[1:] + closed[:-1]) * lengths[:, None]
    integral = np.vstack([np.zeros(3), np.cumsum(steps, axis=0)])

    def upto(at: Floats) -> Floats:
        turns = np.floor(at / total)
        rest = at - turns * total
        part = np.stack([np.interp(rest, along, integral[:, a]) for a in range(3)], axis=1)
        return part + turns[:, None] * integral[-1]

    mean: Floats = (upto(along[:-1] + over) - upto(along[:-1] - over)) / (2 * over)
    return mean
