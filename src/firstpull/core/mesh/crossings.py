"""Which faces of a mesh cross or touch others that they do not join?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.facing import APART, THROUGH, is_line, meeting
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import DEPTH, Tree
from firstpull.core.mesh.weld import equal_points


@dataclass(frozen=True)
class Crossings:
    """Pairs of faces that have more in common than the corners they share.

    Args:
        a, b: (N,) the faces of each pair, a before b; sorted.
        through: (N,) whether one passes through the inside of the other; the rest touch.
        places_mm: (N, 3) a point near where they meet.
    """

    a: NDArray[np.int32]
    b: NDArray[np.int32]
    through: Flags
    places_mm: Floats

    @property
    def faces(self) -> NDArray[np.int32]:
        """The faces in any pair, each once."""
        return np.unique(np.concatenate([self.a, self.b]))


def find_crossings(mesh: Mesh, *, tree: Tree | None = None) -> Crossings:
    """Every pair of faces that meet elsewhere than in corners or an edge they share.

    Corners at the same place count as shared. None is missed and none invented: what the
    tree of boxes proposes is decided without rounding. Faces without area are passed over,
    as are faces with the same three corners, which are duplicates.

    >>> one = [[0, 0, 0], [9, 0, 0], [0, 9, 0], [2, 2, -1], [3, 2, 4], [2, 3, 4]]
    >>> found = find_crossings(Mesh(one, [[0, 1, 2], [3, 4, 5]]))
    >>> found.a.tolist(), found.b.tolist(), found.through.tolist()
    ([0], [1], [True])
    """
    tree = tree or Tree.of(mesh)
    _, place = equal_points(mesh.vertices_mm)
    names = np.ascontiguousarray(place[mesh.faces][tree.order])
    corners = tree.corners_mm.reshape(-1, 3)
    lines = _lines(corners)
    count = _count(tree.boxes_mm, tree.start, corners, names, lines)
    busy = np.flatnonzero(count).astype(np.int32)
    ends = np.cumsum(count[busy])
    total = int(ends[-1]) if len(busy) else 0
    a, b = np.empty(total, dtype=np.int32), np.empty(total, dtype=np.int32)
    through = np.empty(total, dtype=np.bool_)
    _list(tree.boxes_mm, tree.start, corners, names, lines, busy, ends, a, b, through)
    three = corners.reshape(-1, 3, 3)
    places = _meeting_places(three[a], three[b]) if total else np.zeros((0, 3))
    a, b = tree.order[a], tree.order[b]
    a, b = np.minimum(a, b), np.maximum(a, b)
    order = np.lexsort((b, a))
    return Crossings(a[order], b[order], through[order], places[order])


def crosses_itself(mesh: Mesh, *, tree: Tree | None = None) -> bool:
    """Whether any pair of faces meets elsewhere than in what they share."""
    return bool(len(find_crossings(mesh, tree=tree).a))


@njit(cache=True, parallel=True)
def _lines(corners: Any) -> Any:
    lines = np.empty(len(corners) // 3, dtype=np.bool_)
    for face in prange(len(lines)):
        lines[face] = is_line(corners, 3 * face)
    return lines


@njit(cache=True, parallel=True)
def _count(boxes: Any, start: Any, corners: Any, names: Any, lines: Any) -> Any:
    leaves = len(start) - 1
    count = np.zeros(leaves, dtype=np.int64)
    for block in prange((leaves + 63) // 64):
        nodes = np.empty(2 * DEPTH, dtype=np.int32)
        a, b, through = (
            np.empty(0, dtype=np.int32),
            np.empty(0, dtype=np.int32),
            np.empty(0, dtype=np.bool_),
        )
        for leaf in range(64 * block, min(leaves, 64 * block + 64)):
            count[leaf] = _around(
                leaf, boxes, start, corners, names, lines, nodes, -1, a, b, through
            )
    return count


@njit(cache=True, parallel=True)
def _list(
    boxes: Any,
    start: Any,
    corners: Any,
    names: Any,
    lines: Any,
    busy: Any,
    ends: Any,
    a: Any,
    b: Any,
    through: Any,
) -> None:
    for i in prange(len(busy)):
        nodes = np.empty(2 * DEPTH, dtype=np.int32)
        at = ends[i - 1] if i else 0
        _around(busy[i], boxes, start, corners, names, lines, nodes, at, a, b, through)


@njit(cache=True)
def _around(
    leaf: int,
    boxes: Any,
    start: Any,
    corners: Any,
    names: Any,
    lines: Any,
    nodes: Any,
    at: int,
    a: Any,
    b: Any,
    through: Any,
) -> int:
    """Pairs of the leaf's faces with later faces; listed from ``at`` on unless it is negative."""
    leaves = len(start) - 1
    six = np.empty((6, 3))
    found = 0
    nodes[0] = 0
    top = 1
    while top:
        top -= 1
        node = nodes[top]
        if not _overlap(boxes, leaves - 1 + leaf, node):
            continue
        if node < leaves - 1:
            nodes[top], nodes[top + 1] = 2 * node + 1, 2 * node + 2
            top += 2
            continue
        other = node - leaves + 1
        if other < leaf:
            continue
        for one in range(start[leaf], start[leaf + 1]):
            if lines[one]:
                continue
            for two in range(max(start[other], one + 1), start[other + 1]):
                if lines[two] or not _near(corners, 3 * one, 3 * two):
                    continue
                shared = _aligned(corners, names, one, two, six)
                if shared == 3:
                    continue
                kind = meeting(six, shared)
                if kind == APART:
                    continue
                if at >= 0:
                    a[at + found], b[at + found] = one, two
                    through[at + found] = kind == THROUGH
                found += 1
    return found


@njit(cache=True, inline="always")
def _overlap(boxes, one, two):  # type: ignore[no-untyped-def]
    for k in range(3):
        if boxes[one, k] > boxes[two, 3 + k] or boxes[two, k] > boxes[one, 3 + k]:
            return False
    return True


@njit(cache=True)
def _near(corners: Any, p: int, q: int) -> bool:
    """Whether the boxes around two triangles overlap."""
    for k in range(3):
        a, b, c = corners[p, k], corners[p + 1, k], corners[p + 2, k]
        d, e, f = corners[q, k], corners[q + 1, k], corners[q + 2, k]
        if min(a, b, c) > max(d, e, f) or min(d, e, f) > max(a, b, c):
            return False
    return True


@njit(cache=True)
def _aligned(corners: Any, names: Any, one: int, two: int, six: Any) -> int:
    """Copies the corners of both, shared ones first in the same order; how many are shared."""
    shared = 0
    used_p, used_q = 0, 0
    for i in range(3):
        for j in range(3):
            if names[one, i] == names[two, j] and not (used_q >> j) & 1:
                for k in range(3):
                    six[shared, k] = six[3 + shared, k] = corners[3 * one + i, k]
                used_p |= 1 << i
                used_q |= 1 << j
                shared += 1
                break
    at_p, at_q = shared, 3 + shared
    for i in range(3):
        if not (used_p >> i) & 1:
            for k in range(3):
                six[at_p, k] = corners[3 * one + i, k]
            at_p += 1
        if not (used_q >> i) & 1:
            for k in range(3):
                six[at_q, k] = corners[3 * two + i, k]
            at_q += 1
    return shared


def _meeting_places(p: Floats, q: Floats) -> Floats:
    """(N, 3) the middle of what the boxes around both triangles have in common."""
    low = np.maximum(p.min(axis=1), q.min(axis=1))
    high = np.minimum(p.max(axis=1), q.max(axis=1))
    return np.asarray(0.5 * (low + high))
