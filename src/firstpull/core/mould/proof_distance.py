"""How far is a point from a surface? Exact point-to-triangle distance over a box tree.

Written for the proof alone: nothing that builds a mould measures with it, so a slip in either
shows as a difference between the two.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh

LEAF = 4


class NearestSurface:
    """A mesh prepared for distance questions.

    Triangles are sorted along a Morton curve and gathered four to a leaf of a complete binary
    tree of boxes.

    >>> wall = Mesh([[0, 0, 1], [9, 0, 1], [0, 9, 1]], [[0, 1, 2]])
    >>> NearestSurface(wall).distance([[1, 1, 0], [-3, 0, 5]])
    array([1., 5.])
    """

    def __init__(self, mesh: Mesh) -> None:
        corners = mesh.corners_mm
        if not len(corners):
            raise ValueError("a distance needs at least one triangle")
        order = np.argsort(_morton(corners.mean(axis=1)), kind="stable")
        leaves = -(-len(order) // LEAF)
        depth = max(int(np.ceil(np.log2(leaves))), 0)
        full = np.full(LEAF * 2**depth, order[-1])
        full[: len(order)] = order
        self._corners = np.ascontiguousarray(corners[full])
        self._boxes = _box_tree(self._corners)

    def distance(
        self, points_mm: ArrayLike, *, limit_mm: float = np.inf, enough_mm: float = 0.0
    ) -> Floats:
        """(N,) distance of each point to the surface; infinity beyond ``limit_mm``.

        Args:
            points_mm: (N, 3).
            limit_mm: nothing farther is looked for; small limits are fast.
            enough_mm: the search ends at the first triangle as near as this, so that a smaller
                answer is then only an upper bound.
        """
        points = np.ascontiguousarray(points_mm, dtype=np.float64).reshape(-1, 3)
        return _distances(points, self._corners, self._boxes, limit_mm, enough_mm)


def nearest_approach(points_mm: Floats, surface: NearestSurface) -> tuple[float, int]:
    """The least distance of any of the points to the surface, and which point it is.

    A sparse first look bounds the answer, which keeps the full search short.
    """
    step = max(len(points_mm) // 500, 1)
    bound = float(surface.distance(points_mm[::step]).min())
    away = surface.distance(points_mm, limit_mm=bound * (1 + 1e-9) + 1e-9)
    index = int(away.argmin())
    return float(away[index]), index


def _morton(points: Floats) -> Floats:
    low = points.min(axis=0)
    size = max(float((points.max(axis=0) - low).max()), 1e-12)
    cells = ((points - low) / size * 1023.0).astype(np.uint64)
    key = np.zeros(len(points), dtype=np.uint64)
    for axis in range(3):
        x = cells[:, axis]
        for shift, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
            x = (x | (x << np.uint64(shift))) & np.uint64(mask)
        key |= x << np.uint64(axis)
    return key.astype(np.float64)


def _box_tree(corners: Floats) -> Floats:
    """(2 * leaves, 6) boxes; node i has children 2 i and 2 i + 1, node 1 is the root."""
    leaves = len(corners) // LEAF
    grouped = corners.reshape(leaves, LEAF * 3, 3)
    boxes = np.empty((2 * leaves, 6))
    boxes[0] = 0.0
    boxes[leaves:, :3] = grouped.min(axis=1)
    boxes[leaves:, 3:] = grouped.max(axis=1)
    level = leaves
    while level > 1:
        half = level // 2
        pairs = boxes[level : 2 * level].reshape(half, 2, 6)
        boxes[half:level, :3] = pairs[:, :, :3].min(axis=1)
        boxes[half:level, 3:] = pairs[:, :, 3:].max(axis=1)
        level = half
    return boxes


@numba.njit(cache=True, inline="always")
def _to_segment2(px, py, pz, ax, ay, az, bx, by, bz):  # type: ignore[no-untyped-def]
    ux, uy, uz = bx - ax, by - ay, bz - az
    wx, wy, wz = px - ax, py - ay, pz - az
    length2 = ux * ux + uy * uy + uz * uz
    t = 0.0
    if length2 > 0.0:
        t = min(max((wx * ux + wy * uy + wz * uz) / length2, 0.0), 1.0)
    dx, dy, dz = wx - t * ux, wy - t * uy, wz - t * uz
    return dx * dx + dy * dy + dz * dz


@numba.njit(cache=True)
def _to_triangle2(px, py, pz, c):  # type: ignore[no-untyped-def]
    """Squared distance to a triangle; slivers fall back on their edges."""
    ux, uy, uz = c[1, 0] - c[0, 0], c[1, 1] - c[0, 1], c[1, 2] - c[0, 2]
    vx, vy, vz = c[2, 0] - c[0, 0], c[2, 1] - c[0, 1], c[2, 2] - c[0, 2]
    wx, wy, wz = px - c[0, 0], py - c[0, 1], pz - c[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    nn = nx * nx + ny * ny + nz * nz
    if nn > 0.0:
        # Barycentric coordinates of the foot of the perpendicular.
        s = ((wy * vz - wz * vy) * nx + (wz * vx - wx * vz) * ny + (wx * vy - wy * vx) * nz) / nn
        t = ((uy * wz - uz * wy) * nx + (uz * wx - ux * wz) * ny + (ux * wy - uy * wx) * nz) / nn
        if s >= 0.0 and t >= 0.0 and s + t <= 1.0:
            h = wx * nx + wy * ny + wz * nz
            return h * h / nn
    best = _to_segment2(px, py, pz, c[0, 0], c[0, 1], c[0, 2], c[1, 0], c[1, 1], c[1, 2])
    best = min(best, _to_segment2(px, py, pz, c[1, 0], c[1, 1], c[1, 2], c[2, 0], c[2, 1], c[2, 2]))
    return min(best, _to_segment2(px, py, pz, c[2, 0], c[2, 1], c[2, 2], c[0, 0], c[0, 1], c[0, 2]))


@numba.njit(cache=True)
def _to_box2(px, py, pz, box):  # type: ignore[no-untyped-def]
    dx = max(box[0] - px, 0.0, px - box[3])
    dy = max(box[1] - py, 0.0, py - box[4])
    dz = max(box[2] - pz, 0.0, pz - box[5])
    return dx * dx + dy * dy + dz * dz


@numba.njit(cache=True, parallel=True)
def _distances(points, corners, boxes, limit, enough):  # type: ignore[no-untyped-def]
    count = len(points)
    out = np.empty(count)
    leaves = len(boxes) // 2
    for i in numba.prange(count):
        px, py, pz = points[i, 0], points[i, 1], points[i, 2]
        best = limit * limit
        found = False
        node_stack = np.empty(64, np.int64)
        far_stack = np.empty(64, np.float64)
        node_stack[0] = 1
        far_stack[0] = _to_box2(px, py, pz, boxes[1])
        depth = 1
        while depth > 0:
            depth -= 1
            node = node_stack[depth]
            if far_stack[depth] > best or (found and best <= enough * enough):
                continue
            if node >= leaves:
                first = (node - leaves) * LEAF
                for k in range(first, first + LEAF):
                    away = _to_triangle2(px, py, pz, corners[k])
                    if away <= best:
                        best = away
                        found = True
                continue
            left = _to_box2(px, py, pz, boxes[2 * node])
            right = _to_box2(px, py, pz, boxes[2 * node + 1])
            near, far = 2 * node, 2 * node + 1
            if right < left:
                near, far = far, near
                left, right = right, left
            if right <= best:
                node_stack[depth], far_stack[depth] = far, right
                depth += 1
            if left <= best:
                node_stack[depth], far_stack[depth] = near, left
                depth += 1
        out[i] = np.sqrt(best) if found else np.inf
    return out
