"""Is a point inside a closed mesh?"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import ArrayLike

from firstpull.core.arrays import Flags
from firstpull.core.mesh.mesh import Mesh

BINS = 512


def is_inside(mesh: Mesh, points_mm: ArrayLike) -> Flags:
    """(N,) whether each point lies where a closed mesh winds at least once.

    Counts the faces above each point with their sense; faces are sorted into columns first.

    >>> tetra = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]],
    ...              [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> is_inside(tetra, [[1, 1, 1], [8, 8, 8]]).tolist()
    [True, False]
    """
    points = np.ascontiguousarray(points_mm, dtype=np.float64).reshape(-1, 3)
    low, high = mesh.bounds_mm
    cell = np.maximum((high - low)[:2] / BINS, 1e-9)
    corners = np.ascontiguousarray(mesh.corners_mm)
    first = np.clip(((corners[:, :, :2].min(axis=1) - low[:2]) / cell).astype(int), 0, BINS - 1)
    last = np.clip(((corners[:, :, :2].max(axis=1) - low[:2]) / cell).astype(int), 0, BINS - 1)
    start, listed = _columns(first, last)
    return _count_above(points, corners, start, listed, low[:2], cell) > 0


@njit(cache=True)
def _columns(first, last):  # type: ignore[no-untyped-def]
    """The faces over each cell of the plan, as one list and where each cell's part starts."""
    start = np.zeros(BINS * BINS + 1, dtype=np.int64)
    for f in range(len(first)):
        for i in range(first[f, 0], last[f, 0] + 1):
            for j in range(first[f, 1], last[f, 1] + 1):
                start[i * BINS + j + 1] += 1
    for c in range(BINS * BINS):
        start[c + 1] += start[c]
    listed = np.empty(start[-1], dtype=np.int32)
    at = start[:-1].copy()
    for f in range(len(first)):
        for i in range(first[f, 0], last[f, 0] + 1):
            for j in range(first[f, 1], last[f, 1] + 1):
                listed[at[i * BINS + j]] = f
                at[i * BINS + j] += 1
    return start, listed


@njit(cache=True, parallel=True)
def _count_above(points, corners, start, listed, low, cell):  # type: ignore[no-untyped-def]
    out = np.zeros(len(points), dtype=np.int32)
    for p in prange(len(points)):
        x, y, z = points[p]
        i, j = int(np.floor((x - low[0]) / cell[0])), int(np.floor((y - low[1]) / cell[1]))
        if i < 0 or j < 0 or i > BINS or j > BINS:
            continue
        c = min(i, BINS - 1) * BINS + min(j, BINS - 1)
        total = 0
        for n in range(start[c], start[c + 1]):
            t = corners[listed[n]]
            # an edge belongs to the face on one side of it only: compare ends with >=
            u = _turn(t[1], t[2], x, y)
            v = _turn(t[2], t[0], x, y)
            w = _turn(t[0], t[1], x, y)
            if (u == v) and (v == w) and (u != 0):
                ax, ay = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1]
                bx, by = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1]
                area = ax * by - ay * bx
                if area == 0.0:
                    continue
                s = ((x - t[0, 0]) * by - (y - t[0, 1]) * bx) / area
                r = (ax * (y - t[0, 1]) - ay * (x - t[0, 0])) / area
                height = t[0, 2] + s * (t[1, 2] - t[0, 2]) + r * (t[2, 2] - t[0, 2])
                if height > z:
                    total += 1 if area > 0 else -1
        out[p] = total
    return out


@njit(cache=True, inline="always")
def _turn(a, b, x, y):  # type: ignore[no-untyped-def]
    """Side of a point on the line a to b: the same answer for both faces of the edge."""
    flip = (a[0] > b[0]) or (a[0] == b[0] and a[1] > b[1])
    if flip:
        side = (a[0] - b[0]) * (y - b[1]) - (a[1] - b[1]) * (x - b[0])
        return -1 if side >= 0 else 1
    side = (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
    return 1 if side >= 0 else -1
