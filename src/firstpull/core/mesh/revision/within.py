"""Does every point of one surface lie within a given distance of another? Proved, not sampled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree, square_to_face

ROUNDS = 40  # of cutting in two what is not yet proved
BUDGET = 40  # parts for each triangle of either surface, on average
HALVINGS = 14  # in the search for where the nearest face changes


@dataclass(frozen=True)
class Within:
    """A distance that was proved.

    Args:
        found_mm: some point lies this far away.
        most_mm: no point lies farther.
    """

    found_mm: float
    most_mm: float


@dataclass(frozen=True)
class _Parts:
    """Triangles, and faces of the other surface near each corner.

    Args:
        corners_mm: (N, 3, 3) positions.
        near: (N, 3, 2) faces by their place in the tree: the nearest, and one that is about as
            near where a cut was made between two.
    """

    corners_mm: Floats
    near: Ints

    def chosen(self, which: Flags) -> _Parts:
        return _Parts(self.corners_mm[which], self.near[which])


def within(mesh: Mesh, other: Tree, *, limit_mm: float) -> Within | None:
    """Whether every point of a mesh lies within a distance of another surface.

    The distance to one triangle is a convex function: over a part of a face it is largest at a
    corner. A part for which no single triangle will do is cut in two where the nearest triangle
    changes, so that the parts come to follow the triangles of the other surface.

    Returns:
        what was proved; none where a point lies farther, or where the cutting came to no end.

    >>> flat = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2]])
    >>> tilted = Tree.of(Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 3]], [[0, 1, 2]]))
    >>> within(flat, tilted, limit_mm=3.0) is not None, within(flat, tilted, limit_mm=2.8)
    (True, None)
    """
    if not len(mesh.faces):
        return Within(0.0, 0.0)
    rank = other.rank
    away, face, _ = other.closest(mesh.vertices_mm)
    found = float(away[np.unique(mesh.faces)].max())
    nearest = rank[face][mesh.faces]
    parts = _Parts(mesh.corners_mm, np.stack([nearest, nearest], axis=2))
    most, spent = found, 0
    budget = BUDGET * (len(mesh.faces) + len(rank)) + 100_000
    for _ in range(ROUNDS):
        bound, first, share = _judged(parts.corners_mm, parts.near, other.corners_mm, limit_mm)
        is_open = bound > limit_mm
        most = max(most, float(bound[~is_open].max(initial=0.0)))
        if not is_open.any():
            return Within(found, most)
        spent += int(is_open.sum())
        if found > limit_mm or spent > budget:
            return None
        parts, farthest = _cut(parts.chosen(is_open), first[is_open], share[is_open], other, rank)
        found = max(found, farthest)
    return None


def _cut(parts: _Parts, first: Ints, share: Floats, tree: Tree, rank: Ints) -> tuple[_Parts, float]:
    """Each part cut in two, and the largest distance of the places where they were cut."""
    rows = np.arange(len(first))
    second, third = (first + 1) % 3, (first + 2) % 3
    (a, b, c), (near_a, near_b, near_c) = (
        [held[rows, k] for k in (first, second, third)] for held in (parts.corners_mm, parts.near)
    )
    spot = a + share[:, None] * (b - a)
    away, face, _ = tree.closest(spot)
    nearest = rank[face]
    also = np.where(nearest == near_a[:, 0], near_b[:, 0], near_a[:, 0])
    near = np.stack([nearest, also], axis=1)
    both = _Parts(
        np.concatenate([np.stack([a, spot, c], axis=1), np.stack([spot, b, c], axis=1)]),
        np.concatenate([np.stack([near_a, near, near_c], 1), np.stack([near, near_b, near_c], 1)]),
    )
    return both, float(away.max(initial=0.0))


@njit(cache=True, parallel=True)
def _judged(corners: Any, near: Any, faces: Any, limit: float) -> Any:
    """The bound of each part by its best face; if over the limit, the side to cut and where.

    Of the sides that no single face will do for, the worst is cut where the nearest face of
    one end gives way to that of the other; where all sides are served, the longest is halved.
    """
    n = len(corners)
    bound = np.empty(n)
    first = np.zeros(n, dtype=np.int32)
    share = np.full(n, 0.5)
    for block in prange((n + 255) // 256):
        square, spot = np.empty((3, 6)), np.empty(3)
        for i in range(256 * block, min(n, 256 * block + 256)):
            for k in range(6):
                for j in range(3):
                    x, y, z = corners[i, j, 0], corners[i, j, 1], corners[i, j, 2]
                    square[j, k] = square_to_face(x, y, z, faces, near[i, k // 2, k % 2], spot)
            bound[i] = np.inf
            for k in range(6):
                bound[i] = min(bound[i], max(square[0, k], square[1, k], square[2, k]))
            bound[i] = np.sqrt(bound[i])
            if bound[i] <= limit:
                continue
            side = _worst_side(square, limit)
            if side < 0:
                first[i] = _longest_side(corners[i])
                continue
            first[i] = side
            own, other = near[i, side, 0], near[i, (side + 1) % 3, 0]
            share[i] = _switch(
                corners[i, side], corners[i, (side + 1) % 3], own, other, faces, spot
            )
    return bound, first, share


@njit(cache=True)
def _worst_side(square: Any, limit: float) -> int:
    """The side farthest from the face that serves it best; -1 if all are within the limit."""
    worst, side = limit * limit, -1
    for j in range(3):
        least = np.inf
        for k in range(6):
            least = min(least, max(square[j, k], square[(j + 1) % 3, k]))
        if least > worst:
            worst, side = least, j
    return side


@njit(cache=True)
def _longest_side(corners: Any) -> int:
    longest, side = -1.0, 0
    for j in range(3):
        square = 0.0
        for axis in range(3):
            step = corners[(j + 1) % 3, axis] - corners[j, axis]
            square += step * step
        if square > longest:
            longest, side = square, j
    return side


@njit(cache=True)
def _switch(start: Any, end: Any, own: int, other: int, faces: Any, spot: Any) -> float:
    """How far along the way from start to end the other face becomes the nearer one."""
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        t = 0.5 * (low + high)
        x = start[0] + t * (end[0] - start[0])
        y = start[1] + t * (end[1] - start[1])
        z = start[2] + t * (end[2] - start[2])
        if square_to_face(x, y, z, faces, own, spot) < square_to_face(x, y, z, faces, other, spot):
            low = t
        else:
            high = t
    return 0.5 * (low + high)
