"""Which open loops are damage? Their lengths, small holes and cracks."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mesh.mesh import Mesh

SMALL_HOLE_MM = 15.0
"""Length around a hole up to which it counts as damage: 15 mm is a hole 5 mm across. The eye
opening of a mask is 80 mm around and more, a breathing hole 20 mm. Common practice, no
source."""

SMALL_SHARE = 0.15
"""And never more than this share of the mesh's diagonal, so that a mesh read in the wrong
unit keeps its openings."""

TRIANGLE_TIMES = 4.0
"""How much longer a hole of three edges may be: a coarse mesh that lost a single triangle."""

CRACK_SHARE = 2e-3
"""A loop whose lid has less than this share of the area of a disc with the same perimeter is
a crack: two edges that lie on each other."""

CRACK_MOST = 400
"""Vertices up to which a loop is tried as a crack."""


def loop_lengths_mm(mesh: Mesh, loops: list[Ints]) -> Floats:
    """(L,) length around each loop."""
    return np.array(
        [
            np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum()
            for ring in (mesh.vertices_mm[loop] for loop in loops)
        ]
    )


def small_loops(
    mesh: Mesh, loops: list[Ints], *, small_hole_mm: float = SMALL_HOLE_MM
) -> list[bool]:
    """Whether each loop is a small hole or a crack, which may be closed."""
    low, high = mesh.bounds_mm
    limit = min(small_hole_mm, SMALL_SHARE * float(np.linalg.norm(high - low)))
    lengths = loop_lengths_mm(mesh, loops)
    return [
        length <= (TRIANGLE_TIMES * limit if len(loop) == 3 else limit)
        or is_crack(mesh.vertices_mm[loop], length_mm=float(length))
        for loop, length in zip(loops, lengths, strict=True)
    ]


def is_crack(ring_mm: Floats, *, length_mm: float) -> bool:
    """Whether the two sides of a loop lie on each other.

    >>> is_crack(np.array([[0., 0, 0], [1, 0, 0], [2, 0, 0], [1, 1e-4, 0]]), length_mm=4.0)
    True
    """
    if not 3 <= len(ring_mm) <= CRACK_MOST:
        return False
    area = _zipped_area(np.ascontiguousarray(ring_mm))
    return bool(area < CRACK_SHARE * length_mm * length_mm / (4.0 * np.pi))


@njit(cache=True)
def _zipped_area(ring: Any) -> float:
    """Area of the lid that joins, again and again, the two vertices nearest to each other."""
    left = ring.copy()
    n = len(left)
    area = 0.0
    while n > 2:
        best, at = np.inf, 0
        for i in range(n):
            across = left[(i + 1) % n] - left[i - 1 if i else n - 1]
            if (across * across).sum() < best:
                best, at = (across * across).sum(), i
        before, after = left[at - 1 if at else n - 1], left[(at + 1) % n]
        u, v = before - left[at], after - left[at]
        area += 0.5 * np.sqrt((np.cross(u, v) ** 2).sum())
        for i in range(at, n - 1):
            left[i] = left[i + 1]
        n -= 1
    return area
