"""Which triangle lies nearest to a point? A tree of boxes over the faces of one mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mesh.mesh import Mesh

LEAF = 4  # faces in a leaf, about
DEPTH = 64  # of the walk's stack: one entry for each level and a few to spare


@dataclass(frozen=True)
class Tree:
    """Boxes within boxes around the faces of a mesh, to be asked again and again.

    Node k has the children 2 k + 1 and 2 k + 2; the last ``len(start) - 1`` nodes are leaves.

    Args:
        boxes_mm: (N, 6) lowest and highest corner of each node.
        order: (F,) the faces, those of a leaf side by side.
        start: (L + 1,) where each leaf's faces begin in ``order``; L is a power of two.
        corners_mm: (F, 9) the corners of the faces, in that order.
    """

    boxes_mm: Floats
    order: Ints
    start: Ints
    corners_mm: Floats

    @staticmethod
    def of(mesh: Mesh) -> Tree:
        """The tree over all faces of a mesh; there must be at least one."""
        corners = np.ascontiguousarray(mesh.corners_mm.reshape(-1, 9))
        leaves = 1
        while leaves * LEAF < len(corners):
            leaves *= 2
        start = (np.arange(leaves + 1, dtype=np.int64) * len(corners)) // leaves
        middles = corners.reshape(-1, 3, 3).mean(axis=1)
        order = np.arange(len(corners), dtype=np.int32)
        width = leaves
        while width > 1:
            _halve(middles, order, start, width)
            width //= 2
        corners = corners[order]
        boxes = np.empty((2 * leaves - 1, 6))
        _bound(corners, start, boxes)
        return Tree(boxes, order, start.astype(np.int32), corners)

    @property
    def rank(self) -> Ints:
        """(F,) where each face stands in ``order``."""
        rank = np.empty(len(self.order), dtype=np.int32)
        rank[self.order] = np.arange(len(self.order), dtype=np.int32)
        return rank

    def closest(
        self,
        points_mm: ArrayLike,
        *,
        reach_mm: float = np.inf,
        facing: ArrayLike | None = None,
    ) -> tuple[Floats, NDArray[np.int32], Floats]:
        """The nearest place of the surface to each point.

        Args:
            points_mm: (N, 3) points.
            reach_mm: how far to look.
            facing: (N, 3) ways; only faces whose normal is within a right angle of a point's
                way count for it. In a thin wall this keeps the other side out.

        Returns:
            (N,) distances; (N,) the faces, -1 where none is within reach, the distance then
            being infinite; (N, 3) the places.

        >>> tree = Tree.of(Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2]]))
        >>> distance, face, place = tree.closest([[1, 2, 3], [9, 9, 0]])
        >>> distance.round(3).tolist(), place[0].tolist()
        ([3.0, 6.364], [1.0, 2.0, 0.0])
        """
        points = np.ascontiguousarray(points_mm, dtype=np.float64).reshape(-1, 3)
        ways = np.zeros((0, 3)) if facing is None else np.asarray(facing, dtype=np.float64)
        square, face, place = _closest(
            points,
            np.ascontiguousarray(ways.reshape(-1, 3)),
            float(reach_mm) ** 2,
            self.boxes_mm,
            self.order,
            self.start,
            self.corners_mm,
        )
        return np.sqrt(square), face, place


@njit(cache=True, parallel=True)
def _halve(middles: Any, order: Any, start: Any, width: int) -> None:
    """Parts the faces of every node that spans ``width`` leaves at their median."""
    nodes = (len(start) - 1) // width
    for node in prange(nodes):
        first, last = start[node * width], start[(node + 1) * width]
        middle = start[node * width + width // 2]
        axis = _longest(middles, order, first, last)
        _select(middles[:, axis], order, first, last - 1, middle)


@njit(cache=True)
def _longest(middles: Any, order: Any, first: int, last: int) -> int:
    best, axis = -1.0, 0
    for k in range(3):
        low, high = np.inf, -np.inf
        for i in range(first, last):
            value = middles[order[i], k]
            low, high = min(low, value), max(high, value)
        if high - low > best:
            best, axis = high - low, k
    return axis


@njit(cache=True)
def _select(key: Any, order: Any, low: int, high: int, wanted: int) -> None:
    """Moves the faces so that those before ``wanted`` have no larger key than those after."""
    while low < high:
        pivot = key[order[(low + high) // 2]]
        i, j = low, high
        while i <= j:
            while key[order[i]] < pivot:
                i += 1
            while key[order[j]] > pivot:
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if wanted <= j:
            high = j
        elif wanted >= i:
            low = i
        else:
            return


@njit(cache=True, parallel=True)
def _bound(corners: Any, start: Any, boxes: Any) -> None:
    leaves = len(start) - 1
    for leaf in prange(leaves):
        box = boxes[leaves - 1 + leaf]
        box[:3] = np.inf
        box[3:] = -np.inf
        for face in range(start[leaf], start[leaf + 1]):
            for k in range(9):
                box[k % 3] = min(box[k % 3], corners[face, k])
                box[3 + k % 3] = max(box[3 + k % 3], corners[face, k])
    for node in range(leaves - 2, -1, -1):
        for k in range(3):
            boxes[node, k] = min(boxes[2 * node + 1, k], boxes[2 * node + 2, k])
            boxes[node, 3 + k] = max(boxes[2 * node + 1, 3 + k], boxes[2 * node + 2, 3 + k])


@njit(cache=True, parallel=True)
def _closest(
    points: Any, ways: Any, reach: float, boxes: Any, order: Any, start: Any, corners: Any
) -> Any:
    n = len(points)
    square = np.full(n, np.inf)
    face = np.full(n, -1, dtype=np.int32)
    place = np.full((n, 3), np.nan)
    for block in prange((n + 255) // 256):
        nodes = np.empty(DEPTH, dtype=np.int32)
        least, spot = np.empty(DEPTH), np.empty(3)
        for i in range(256 * block, min(n, 256 * block + 256)):
            square[i], face[i] = _nearest(
                i, points, ways, reach, boxes, start, corners, nodes, least, spot, place
            )
            if face[i] >= 0:
                face[i] = order[face[i]]
    return square, face, place


@njit(cache=True)
def _nearest(
    i: int,
    points: Any,
    ways: Any,
    reach: float,
    boxes: Any,
    start: Any,
    corners: Any,
    nodes: Any,
    least: Any,
    spot: Any,
    place: Any,
) -> Any:
    """Squared distance to the nearest face within a squared reach, and its number in the tree.

    ``nodes``, ``least`` and ``spot`` are scratch space.
    """
    leaves = len(start) - 1
    best, found = reach, -1
    px, py, pz = points[i, 0], points[i, 1], points[i, 2]
    nodes[0], least[0] = 0, square_to_box(px, py, pz, boxes, 0)
    top = 1
    while top:
        top -= 1
        node = nodes[top]
        if least[top] >= best:
            continue
        if node >= leaves - 1:
            leaf = node - leaves + 1
            for face in range(start[leaf], start[leaf + 1]):
                away = square_to_face(px, py, pz, corners, face, spot)
                if away >= best or (len(ways) and _looks_away(corners, face, ways, i)):
                    continue
                best, found = away, face
                for k in range(3):
                    place[i, k] = spot[k]
            continue
        one, other = 2 * node + 1, 2 * node + 2
        a, b = square_to_box(px, py, pz, boxes, one), square_to_box(px, py, pz, boxes, other)
        if a < b:
            one, other, a, b = other, one, b, a
        if a < best:
            nodes[top], least[top] = one, a
            top += 1
        if b < best:
            nodes[top], least[top] = other, b
            top += 1
    return (best if found >= 0 else np.inf), found


@njit(cache=True)
def _looks_away(corners: Any, face: int, ways: Any, i: int) -> bool:
    """Whether a face's normal is a right angle or more away from a point's way."""
    ax, ay, az = corners[face, 0], corners[face, 1], corners[face, 2]
    ux, uy, uz = corners[face, 3] - ax, corners[face, 4] - ay, corners[face, 5] - az
    vx, vy, vz = corners[face, 6] - ax, corners[face, 7] - ay, corners[face, 8] - az
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    return x * ways[i, 0] + y * ways[i, 1] + z * ways[i, 2] <= 0.0


@njit(cache=True)
def square_to_box(px: float, py: float, pz: float, boxes: Any, node: int) -> float:
    """Squared distance from a point to a node's box; 0 inside."""
    x = max(boxes[node, 0] - px, px - boxes[node, 3], 0.0)
    y = max(boxes[node, 1] - py, py - boxes[node, 4], 0.0)
    z = max(boxes[node, 2] - pz, pz - boxes[node, 5], 0.0)
    return x * x + y * y + z * z


@njit(cache=True)
def square_to_face(px: float, py: float, pz: float, corners: Any, face: int, place: Any) -> float:
    """Squared distance from a point to one of (F, 9) triangles; writes the nearest place.

    By the region of the triangle's plane that the point lies over: Ericson, Real-Time
    Collision Detection (2005), 5.1.5. A triangle nearly without area counts as its sides.
    """
    ax, ay, az = corners[face, 0], corners[face, 1], corners[face, 2]
    ux, uy, uz = corners[face, 3] - ax, corners[face, 4] - ay, corners[face, 5] - az
    vx, vy, vz = corners[face, 6] - ax, corners[face, 7] - ay, corners[face, 8] - az
    px, py, pz = px - ax, py - ay, pz - az
    uu = ux * ux + uy * uy + uz * uz
    vv = vx * vx + vy * vy + vz * vz
    uv = ux * vx + uy * vy + uz * vz
    up = ux * px + uy * py + uz * pz
    vp = vx * px + vy * py + vz * pz
    if uu * vv - uv * uv > 1e-20 * uu * vv:
        s, t = _over(uu, vv, uv, up, vp)
    else:
        s, t = _along_sides(uu, vv, uv, up, vp)
    qx, qy, qz = s * ux + t * vx, s * uy + t * vy, s * uz + t * vz
    place[0], place[1], place[2] = ax + qx, ay + qy, az + qz
    dx, dy, dz = px - qx, py - qy, pz - qz
    return dx * dx + dy * dy + dz * dz


@njit(cache=True, inline="always")
def _over(uu, vv, uv, up, vp):  # type: ignore[no-untyped-def]
    """Weights of the second and third corner at the nearest place."""
    if up <= 0.0 and vp <= 0.0:
        return 0.0, 0.0
    up_b, vp_b = up - uu, vp - uv
    if up_b >= 0.0 and vp_b <= up_b:
        return 1.0, 0.0
    third = up * vp_b - up_b * vp
    if third <= 0.0 and up >= 0.0 and up_b <= 0.0:
        return up / (up - up_b), 0.0
    up_c, vp_c = up - uv, vp - vv
    if vp_c >= 0.0 and up_c <= vp_c:
        return 0.0, 1.0
    second = up_c * vp - up * vp_c
    if second <= 0.0 and vp >= 0.0 and vp_c <= 0.0:
        return 0.0, vp / (vp - vp_c)
    first = up_b * vp_c - up_c * vp_b
    if first <= 0.0 and vp_b >= up_b and up_c >= vp_c:
        t = (vp_b - up_b) / ((vp_b - up_b) + (up_c - vp_c))
        return 1.0 - t, t
    whole = first + second + third
    return second / whole, third / whole


@njit(cache=True, inline="always")
def _along_sides(uu, vv, uv, up, vp):  # type: ignore[no-untyped-def]
    """The same for three corners in one line: the nearest of the three sides' places."""
    s, t, best = 0.0, 0.0, 0.0  # each place by how much nearer it is than the first corner
    if uu > 0.0:
        along = min(max(up / uu, 0.0), 1.0)
        gain = along * (2.0 * up - along * uu)
        if gain > best:
            s, t, best = along, 0.0, gain
    if vv > 0.0:
        along = min(max(vp / vv, 0.0), 1.0)
        gain = along * (2.0 * vp - along * vv)
        if gain > best:
            s, t, best = 0.0, along, gain
    side = uu - 2.0 * uv + vv
    if side > 0.0:
        along = min(max(((vp - uv) - (up - uu)) / side, 0.0), 1.0)
        a, b = 1.0 - along, along
        gain = 2.0 * (a * up + b * vp) - (a * a * uu + 2.0 * a * b * uv + b * b * vv)
        if gain > best:
            s, t = a, b
    return s, t
