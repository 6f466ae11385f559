"""How far does one surface lie from another? A map, and a bound that holds everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree, square_to_face

ROUNDS = 60  # of cutting what is still open, the widest parts first, into four
BUDGET = 1_500_000  # parts of triangles that one question may take


@dataclass(frozen=True)
class Deviation:
    """How far the points of one surface lie from another.

    Args:
        at_vertices_mm: (V,) distance of each vertex, never negative.
        least_mm: some point lies this far away.
        most_mm: no point lies farther; proved, not sampled.
        place_mm: where the distance of ``least_mm`` is.
    """

    at_vertices_mm: Floats
    least_mm: float
    most_mm: float
    place_mm: tuple[float, float, float]


@dataclass(frozen=True)
class _Parts:
    """Triangles with what is known at their corners.

    Args:
        corners_mm: (N, 3, 3) positions.
        away_mm: (N, 3) distance of each corner.
        nearest: (N, 3) the face of the tree that is nearest to each corner.
    """

    corners_mm: Floats
    away_mm: Floats
    nearest: Ints

    def chosen(self, which: Flags) -> _Parts:
        return _Parts(self.corners_mm[which], self.away_mm[which], self.nearest[which])

    def beside(self, other: _Parts) -> _Parts:
        return _Parts(
            np.concatenate([self.corners_mm, other.corners_mm]),
            np.concatenate([self.away_mm, other.away_mm]),
            np.concatenate([self.nearest, other.nearest]),
        )


def deviation(mesh: Mesh, other: Tree, *, tol_mm: float = 0.01) -> Deviation:
    """How far any point of a mesh lies from another surface.

    Args:
        mesh: the surface whose points are asked about.
        other: the tree of the surface they are measured to.
        tol_mm: how close the bound should come to the largest distance found.

    Returns:
        distances at the vertices, and the largest over the whole surface between two
        figures. The distance to one triangle is a convex function, so over a part of a face
        it is largest at a corner; parts whose bound is too wide are cut into four. Where two
        surfaces differ in all their triangles the cutting ends early, and the bound is wider.

    >>> flat = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2]])
    >>> tilted = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 3]], [[0, 1, 2]])
    >>> found = deviation(tilted, Tree.of(flat))
    >>> found.least_mm, found.most_mm, found.place_mm
    (3.0, 3.0, (0.0, 9.0, 3.0))
    """
    away, face, _ = other.closest(mesh.vertices_mm)
    rank = other.rank
    used = np.unique(mesh.faces)
    worst = int(used[np.argmax(away[used])])
    least, place = float(away[worst]), mesh.vertices_mm[worst]
    parts = _Parts(mesh.corners_mm, away[mesh.faces], rank[face][mesh.faces])
    most = _upper(parts, other, rank)
    settled, spent = 0.0, 0
    for _ in range(ROUNDS):
        open_still = most > least + tol_mm
        settled = max(settled, float(most[~open_still].max(initial=0.0)))
        parts, most = parts.chosen(open_still), most[open_still]
        wide = most > 0.5 * most.max(initial=0.0)
        spent += 4 * int(wide.sum())
        if not len(most) or spent > BUDGET:
            break
        cut = _quartered(parts.chosen(wide), other, rank)
        i = int(np.argmax(cut.away_mm))
        if cut.away_mm.flat[i] > least:
            least, place = float(cut.away_mm.flat[i]), cut.corners_mm.reshape(-1, 3)[i]
        parts = parts.chosen(~wide).beside(cut)
        most = np.concatenate([most[~wide], _upper(cut, other, rank)])
    bound = max(settled, least, float(most.max(initial=0.0)))
    x, y, z = (float(c) for c in place)
    return Deviation(away, least, bound, (x, y, z))


def _quartered(parts: _Parts, tree: Tree, rank: Ints) -> _Parts:
    """Each part cut into four at the middles of its sides."""
    p, d, t = parts.corners_mm, parts.away_mm, parts.nearest
    middle = 0.5 * (p + np.roll(p, -1, axis=1))
    away, face, _ = tree.closest(middle.reshape(-1, 3))
    m_away, m_near = away.reshape(-1, 3), rank[face].reshape(-1, 3)

    def four(corner: Any, mid: Any) -> Any:
        a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
        ab, bc, ca = mid[:, 0], mid[:, 1], mid[:, 2]
        rows = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        return np.concatenate([np.stack(row, axis=1) for row in rows])

    return _Parts(four(p, middle), four(d, m_away), four(t, m_near))


def _upper(parts: _Parts, tree: Tree, rank: Ints) -> Floats:
    """(N,) no point of each part is farther from the surface than this."""
    corners = np.ascontiguousarray(parts.corners_mm.reshape(-1, 9))
    _, middle, _ = tree.closest(parts.corners_mm.mean(axis=1))
    nearest = np.column_stack([rank[middle], parts.nearest])
    out: Floats = _bounds(corners, parts.away_mm, nearest, tree.corners_mm)
    return out


@njit(cache=True, parallel=True)
def _bounds(corners: Any, away: Any, nearest: Any, faces: Any) -> Any:
    n = len(corners)
    out = np.empty(n)
    for block in prange((n + 255) // 256):
        spot = np.empty(3)
        for i in range(256 * block, min(n, 256 * block + 256)):
            best = _around_corner(corners, away, i)
            for k in range(4):
                face = nearest[i, k]
                if k and face == nearest[i, 0]:
                    continue
                worst = 0.0
                for j in range(3):
                    x, y, z = corners[i, 3 * j], corners[i, 3 * j + 1], corners[i, 3 * j + 2]
                    worst = max(worst, square_to_face(x, y, z, faces, face, spot))
                best = min(best, np.sqrt(worst))
            out[i] = best
    return out


@njit(cache=True)
def _around_corner(corners: Any, away: Any, i: int) -> float:
    """A bound from the corners' own distances: a point is no farther than a corner's distance
    and the way to that corner, which is at most half the longest side to the nearest one."""
    longest = 0.0
    for j in range(3):
        square = 0.0
        for axis in range(3):
            step = corners[i, 3 * j + axis] - corners[i, 3 * ((j + 1) % 3) + axis]
            square += step * step
        longest = max(longest, square)
    # every point of a triangle is within longest / sqrt(3) of its nearest corner
    reach = np.sqrt(longest / 3.0)
    return max(away[i, 0], away[i, 1], away[i, 2]) + reach
