"""Faces of any number of corners, as triangles in the same order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

MOST_TESTS = 200_000_000
"""Corners looked at for one polygon, at most: about a second. A ring that crosses itself has no
ear to find, and looking for one takes the cube of its corners."""


@dataclass(frozen=True)
class Rows:
    """Lists of different lengths, end to end.

    Args:
        values: (N,) all entries.
        sizes: (R,) the length of each list; their sum is N.
    """

    values: NDArray[Any]
    sizes: NDArray[np.int64]

    @staticmethod
    def of(lists: list[list[int]]) -> Rows:
        """The same lists, whole numbers, end to end."""
        sizes = np.array([len(row) for row in lists], dtype=np.int64)
        flat = [value for row in lists for value in row]
        return Rows(np.array(flat, dtype=np.int64), sizes)

    @property
    def starts(self) -> NDArray[np.int64]:
        """(R,) where each list begins."""
        starts: NDArray[np.int64] = np.cumsum(self.sizes) - self.sizes
        return starts

    def table(self, chosen: NDArray[Any], width: int) -> NDArray[Any]:
        """(len(chosen), width) the first entries of lists at least that long."""
        return self.values[self.starts[chosen][:, None] + np.arange(width)]


def triangulated(
    polygons: Rows, vertices: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Polygons as triangles of the same winding.

    A four-sided face is cut along the diagonal that leaves no triangle turned over, the
    shorter where both do; larger ones are cut ear by ear in their own plane. Fewer than three
    corners give nothing.

    Returns:
        (F, 3) triangles in the order of the polygons, and (F,) the polygon of each.

    >>> square = np.array([[0., 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> faces, polygon = triangulated(Rows.of([[0, 1, 2, 3], [0, 1, 2]]), square)
    >>> len(faces), polygon.tolist()
    (3, [0, 0, 1])
    """
    sizes = polygons.sizes
    made = np.maximum(sizes - 2, 0)
    first = np.cumsum(made) - made
    faces = np.zeros((int(made.sum()), 3), dtype=np.int64)
    threes, fours = np.flatnonzero(sizes == 3), np.flatnonzero(sizes == 4)
    faces[first[threes]] = polygons.table(threes, 3)
    if len(fours):
        cut = _cut_fours(polygons.table(fours, 4).astype(np.int64), vertices)
        faces[first[fours][:, None] + [0, 1]] = cut
    starts = polygons.starts
    for row in np.flatnonzero(sizes > 4).tolist():
        corners = polygons.values[starts[row] : starts[row] + sizes[row]]
        cut = _cut_ears([int(corner) for corner in corners], vertices)
        faces[first[row] : first[row] + made[row]] = cut
    return faces, np.repeat(np.arange(len(sizes)), made)


def _cut_fours(quads: NDArray[np.int64], vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    """(Q, 2, 3) two triangles for each."""
    if quads.min() < 0 or quads.max() >= len(vertices):
        return quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 2, 3)
    p = vertices[quads]
    whole = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])

    def least(a: int, b: int, c: int, d: int) -> NDArray[np.float64]:
        """Smaller of the two triangles' areas along the common normal."""
        one = np.cross(p[:, b] - p[:, a], p[:, c] - p[:, a])
        two = np.cross(p[:, c] - p[:, a], p[:, d] - p[:, a])
        return np.minimum(np.einsum("ij,ij->i", one, whole), np.einsum("ij,ij->i", two, whole))

    first, second = least(0, 1, 2, 3), least(1, 2, 3, 0)
    shorter = np.linalg.norm(p[:, 0] - p[:, 2], axis=1) <= np.linalg.norm(p[:, 1] - p[:, 3], axis=1)
    use_first = np.where((first > 0) & (second > 0), shorter, first >= second)
    cut = np.where(use_first[:, None], quads[:, [0, 1, 2, 0, 2, 3]], quads[:, [1, 2, 3, 1, 3, 0]])
    return cut.reshape(-1, 2, 3)


def _cut_ears(polygon: list[int], vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    n = len(polygon)
    fan = np.array([[polygon[0], polygon[i], polygon[i + 1]] for i in range(1, n - 1)])
    if min(polygon) < 0 or max(polygon) >= len(vertices):
        return fan
    ring = vertices[polygon]
    ring = ring - ring.mean(axis=0)
    normal = np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if not np.isfinite(size) or size == 0.0:
        return fan
    normal = normal / size
    x = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    x = x / np.linalg.norm(x)
    flat = np.stack([ring @ x, ring @ np.cross(normal, x)], axis=1)
    tests = min(64 * n * n, MOST_TESTS)
    cut: NDArray[np.int64] = np.array(polygon, dtype=np.int64)[_ears(flat, tests)]
    return cut


@njit(cache=True)
def _ears(flat: Any, tests: int) -> Any:
    """(N - 2, 3) triangles of a ring of N corners, cut off one after the other.

    Where a crossed ring has no corner that can be cut off, or when the tests are used up, the
    next one goes all the same.
    """
    left = np.arange(len(flat))
    out = np.empty((len(flat) - 2, 3), dtype=np.int64)
    at = 0
    for row in range(len(out)):
        count = len(flat) - row
        ear = at
        for step in range(count):
            k = (at + step) % count
            a, b, c = left[k - 1 if k else count - 1], left[k], left[(k + 1) % count]
            if tests > 0 and _side(flat, a, b, c) <= 0.0:
                continue
            tests -= count
            if tests < 0 or not _holds_another(flat, left[:count], a, b, c):
                ear = k
                break
        out[row, 0] = left[ear - 1 if ear else count - 1]
        out[row, 1] = left[ear]
        out[row, 2] = left[(ear + 1) % count]
        for k in range(ear, count - 1):
            left[k] = left[k + 1]
        at = ear % (count - 1)
    return out


@njit(cache=True)
def _holds_another(flat: Any, ring: Any, a: int, b: int, c: int) -> bool:
    """Whether another corner lies in the triangle.

    Corners at the place of its own do not stand in its way: a ring passes twice through the
    ends of a cut that joins a hole to its border.
    """
    for q in ring:
        if _same(flat, q, a) or _same(flat, q, b) or _same(flat, q, c):
            continue
        if _side(flat, a, b, q) >= 0 and _side(flat, b, c, q) >= 0 and _side(flat, c, a, q) >= 0:
            return True
    return False


@njit(cache=True)
def _same(flat: Any, p: int, q: int) -> bool:
    return flat[p, 0] == flat[q, 0] and flat[p, 1] == flat[q, 1]  # type: ignore[no-any-return]


@njit(cache=True)
def _side(flat: Any, a: int, b: int, q: int) -> Any:
    """Above 0 where corner q is left of the way from a to b."""
    across = (flat[b, 0] - flat[a, 0]) * (flat[q, 1] - flat[a, 1])
    return across - (flat[b, 1] - flat[a, 1]) * (flat[q, 0] - flat[a, 0])
