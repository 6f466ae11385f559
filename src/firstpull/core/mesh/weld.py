"""Corners at the same place become one vertex."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh

NEAR = 1e-5
"""Share of the diagonal within which the edges of a crack belong together: what six digits
of text lose."""


def equal_points(points_mm: Floats) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Which points are exactly equal.

    Returns:
        (U,) index of the first point of each distinct place, in order of appearance; and (N,)
        the place of each point.

    >>> first, place = equal_points(np.array([[0., 0, 0], [1, 0, 0], [-0., 0, 0]]))
    >>> first.tolist(), place.tolist()
    ([0, 1], [0, 1, 0])
    """
    bits = (np.ascontiguousarray(points_mm, dtype=np.float64) + 0.0).view(np.uint64)
    first, place = _hash_points(bits)
    return first, place


@njit(cache=True)
def _hash_points(bits: Any) -> Any:
    n = len(bits)
    size = 16
    while size < 2 * n:
        size *= 2
    mask = np.uint64(size - 1)
    table = np.full(size, -1, dtype=np.int32)
    first = np.empty(n, dtype=np.int32)
    place = np.empty(n, dtype=np.int32)
    found = 0
    for i in range(n):
        x, y, z = bits[i, 0], bits[i, 1], bits[i, 2]
        h = x * np.uint64(0x9E3779B97F4A7C15)
        h ^= h >> np.uint64(29)
        h = (h + y) * np.uint64(0xBF58476D1CE4E5B9)
        h ^= h >> np.uint64(32)
        h = (h + z) * np.uint64(0x94D049BB133111EB)
        h ^= h >> np.uint64(29)
        slot = h & mask
        while True:
            known = table[slot]
            if known < 0:
                table[slot] = found
                first[found] = i
                place[i] = found
                found += 1
                break
            j = first[known]
            if bits[j, 0] == x and bits[j, 1] == y and bits[j, 2] == z:
                place[i] = known
                break
            slot = (slot + np.uint64(1)) & mask
    return first[:found].copy(), place


def welded(mesh: Mesh) -> Mesh:
    """The mesh with one vertex for each place; faces are kept, unused vertices are not.

    >>> square = Mesh([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 0, 0], [1, 1, 0], [0, 1, 0]],
    ...               [[0, 1, 2], [3, 4, 5]])
    >>> len(welded(square).vertices_mm)
    4
    """
    first, place = equal_points(mesh.vertices_mm)
    return without_unused(Mesh(mesh.vertices_mm[first], place[mesh.faces]))


def without_unused(mesh: Mesh) -> Mesh:
    """The mesh without vertices that no face uses; the order of the others stays."""
    used = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    used[mesh.faces.ravel()] = True
    if used.all():
        return mesh
    number = np.cumsum(used) - 1
    return Mesh(mesh.vertices_mm[used], number[mesh.faces])


def welded_near(mesh: Mesh, chosen: NDArray[np.int32], *, tol_mm: float) -> Mesh:
    """The mesh with chosen vertices merged where they lie within ``tol_mm`` of each other.

    Vertices that share a face are never merged. Each group takes the place of its first.
    """
    from scipy.spatial import cKDTree

    if len(chosen) < 2:
        return mesh
    tree = cKDTree(mesh.vertices_mm[chosen])
    pairs = chosen[tree.query_pairs(tol_mm, output_type="ndarray")].reshape(-1, 2)
    pairs = pairs[~_share_a_face(mesh, pairs)]
    if not len(pairs):
        return mesh
    n = len(mesh.vertices_mm)
    label = grouped(pairs[:, 0], pairs[:, 1], n)
    first = np.full(label.max() + 1, n)
    np.minimum.at(first, label, np.arange(n))
    return without_unused(Mesh(mesh.vertices_mm, first[label][mesh.faces]))


def _share_a_face(mesh: Mesh, pairs: NDArray[np.int32]) -> NDArray[np.bool_]:
    n = len(mesh.vertices_mm)
    sides = np.sort(mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64), axis=1)
    wanted = np.sort(pairs.astype(np.int64), axis=1)
    return np.isin(wanted[:, 0] * n + wanted[:, 1], sides[:, 0] * n + sides[:, 1])
