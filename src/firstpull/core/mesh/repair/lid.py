"""A flat lid: triangles over a ring of vertices, no vertex added."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Floats, Ints

WEIGHED_MOST = 320
"""Vertices up to which every way of closing a ring is weighed: the work grows with the third
power, a quarter of a second at 320."""

BEND_STEPS = 512
"""Bends are compared in this many steps per unit of 1 - cosine, so that rounding does not
decide between bends that are alike."""

THIN = 1e-9
"""A triangle whose doubled area is under this share of its longest side squared is a line."""

SHORT_SHARE = 1e-3
"""Weight of the squared sides beside the area: between lids of one area, short new edges."""


def flat_lid(ring_mm: Floats, *, apex_mm: Floats | None = None, barred: Ints | None = None) -> Ints:
    """Triangles that close a ring: the one with the smallest worst bend, then least area.

    Args:
        ring_mm: (N, 3) the ring in the direction of the faces along it.
        apex_mm: (N, 3) the third corner of the face along each side; not a number where
            there is none, or where it should not count.
        barred: (B, 2) pairs of ring places that no new edge may join.

    Returns:
        (N - 2, 3) places in the ring, running against it; (0, 3) where the barred pairs
        leave no way.

    Up to 320 vertices every triangulation is weighed by dynamic programming. A larger ring is
    triangulated in the plane it lies near if it does not cross itself there; else every few
    vertices are weighed, and then the pockets between.

    Source: Barequet & Sharir, Filling gaps in the boundary of a polyhedron, 1995; the weight
    is that of Liepa, Filling holes in meshes, 2003.

    >>> flat_lid(np.array([[0., 0, 0], [1, 0, 0], [1, 1, 0], [0.1, 0.9, 0]])).tolist()
    [[3, 1, 0], [3, 2, 1]]
    """
    ring = np.ascontiguousarray(ring_mm, dtype=np.float64)
    apex = np.full(ring.shape, np.nan) if apex_mm is None else np.ascontiguousarray(apex_mm)
    pairs = np.zeros((0, 2), dtype=np.int32) if barred is None else barred
    if len(ring) <= WEIGHED_MOST:
        return _weighed(ring, apex, _chart(np.arange(len(ring)), pairs, len(ring)))
    for lid in (_in_plane(ring), _in_pockets(ring, pairs)):
        if len(lid) and not _joins(lid, pairs, len(ring)):
            return lid
    return np.zeros((0, 3), dtype=np.int32)


def _chart(places: Any, pairs: Ints, n: int) -> Any:
    """(P, P) which of the chosen places, out of n, may not be joined."""
    number = np.full(n, -1)
    number[places] = np.arange(len(places))
    inside = number[pairs]
    inside = inside[(inside >= 0).all(axis=1)]
    chart = np.zeros((len(places), len(places)), dtype=np.bool_)
    chart[inside[:, 0], inside[:, 1]] = chart[inside[:, 1], inside[:, 0]] = True
    return chart


def _joins(lid: Ints, pairs: Ints, n: int) -> bool:
    """Whether a lid has an inner edge that is barred."""
    a, b = lid.ravel().astype(np.int64), np.roll(lid, -1, axis=1).ravel().astype(np.int64)
    inner = ~np.isin(np.abs(a - b), (1, n - 1))
    low, high = np.minimum(a, b)[inner], np.maximum(a, b)[inner]
    wanted = np.sort(pairs.astype(np.int64), axis=1)
    return bool(np.isin(low * n + high, wanted[:, 0] * n + wanted[:, 1]).any())


def _in_plane(ring: Floats) -> Ints:
    """The lid of a ring that is a simple polygon seen along its own area, or nothing."""
    import manifold3d

    spots = ring - ring.mean(axis=0)
    vector = 0.5 * np.cross(spots, np.roll(spots, -1, axis=0)).sum(axis=0)
    area = float(np.linalg.norm(vector))
    if area == 0.0:
        return np.zeros((0, 3), dtype=np.int32)
    across = np.linalg.svd(vector[None])[2][1:]
    if np.linalg.det(np.vstack([across, vector])) < 0:
        across = across[::-1]
    flat = np.ascontiguousarray(spots @ across.T)
    lid = np.asarray(manifold3d.triangulate([flat], allow_convex=False), dtype=np.int32)
    a, b, c = (flat[lid[:, i]] for i in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    if len(lid) != len(ring) - 2 or (doubled < -THIN * area).any():
        return np.zeros((0, 3), dtype=np.int32)
    return np.ascontiguousarray(lid[:, ::-1])


def _in_pockets(ring: Floats, pairs: Ints) -> Ints:
    """A coarse lid over every few vertices, and lids over the pockets along its sides."""
    n = len(ring)
    coarse = np.unique(np.linspace(0, n, WEIGHED_MOST // 2, endpoint=False).astype(np.int32))
    sides = pairwise([*coarse.tolist(), n])
    pockets = [np.arange(first, last + 1) % n for first, last in sides]
    lids = [
        places[_weighed(ring[places], np.full((len(places), 3), np.nan), _chart(places, pairs, n))]
        for places in (coarse, *pockets)
        if len(places) > 2
    ]
    lid = np.concatenate(lids).astype(np.int32)
    return lid if len(lid) == n - 2 else np.zeros((0, 3), dtype=np.int32)


@njit(cache=True)
def _weighed(ring: Any, apex: Any, barred: Any) -> Any:
    """Dynamic programming over the chords of a ring; O(n^3) time, O(n^2) room."""
    n = len(ring)
    bend = np.zeros((n, n))
    size = np.zeros((n, n))
    split = np.full((n, n), -1, dtype=np.int32)
    normal = np.zeros((n, n, 3))
    for i in range(n):
        j = (i + 1) % n
        unit = _unit_normal(ring[i], ring[j], apex[i])
        # the last side is told apart from the chord 0 - (n-1), which it is on the other side
        normal[i, j] = unit
    for gap in range(2, n):
        for i in range(n - gap):
            j = i + gap
            whole = gap == n - 1
            bend[i, j], size[i, j] = np.inf, np.inf
            if barred[i, j] and not whole:
                continue
            for m in range(i + 1, j):
                worst = max(bend[i, m], bend[m, j])
                if worst > bend[i, j] or size[i, m] == np.inf or size[m, j] == np.inf:
                    continue
                area, turn, unit = _triangle(ring[j], ring[m], ring[i])
                turn = max(turn, _turn(unit, normal[i, m]), _turn(unit, normal[m, j]))
                if whole:
                    turn = max(turn, _turn(unit, normal[j, i]))
                worst = max(worst, np.round(turn * BEND_STEPS))
                total = size[i, m] + size[m, j] + area
                if worst < bend[i, j] or (worst == bend[i, j] and total < size[i, j]):
                    bend[i, j], size[i, j], split[i, j] = worst, total, m
                    normal[i, j] = unit
    return _unrolled(split, n)


@njit(cache=True)
def _unrolled(split: Any, n: int) -> Any:
    """The triangles behind the best weight, or none."""
    lid = np.empty((max(n - 2, 0), 3), dtype=np.int32)
    if n < 3 or split[0, n - 1] < 0:
        return lid[:0].copy()
    stack = [(0, n - 1)]
    made = 0
    while len(stack):
        i, j = stack.pop()
        m = split[i, j]
        lid[made, 0], lid[made, 1], lid[made, 2] = j, m, i
        made += 1
        if m - i > 1:
            stack.append((i, m))
        if j - m > 1:
            stack.append((m, j))
    return lid


@njit(cache=True)
def _triangle(a: Any, b: Any, c: Any) -> Any:
    """Weight, own bend (2 for a line) and unit normal of a triangle."""
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    doubled = np.sqrt(x * x + y * y + z * z)
    uu, vv = ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz
    ww = (ux - vx) ** 2 + (uy - vy) ** 2 + (uz - vz) ** 2
    weight = 0.5 * doubled + SHORT_SHARE * (uu + vv + ww)
    if doubled <= THIN * max(uu, vv, ww):
        return weight, 2.0, (0.0, 0.0, 0.0)
    return weight, 0.0, (x / doubled, y / doubled, z / doubled)


@njit(cache=True)
def _turn(unit: Any, other: Any) -> float:
    """1 - cosine of the bend; 0 where one of the normals is not known."""
    if other[0] == 0.0 and other[1] == 0.0 and other[2] == 0.0:
        return 0.0
    return 1.0 - (unit[0] * other[0] + unit[1] * other[1] + unit[2] * other[2])


@njit(cache=True)
def _unit_normal(a: Any, b: Any, c: Any) -> Any:
    _, _, unit = _triangle(a, b, c)
    if not np.isfinite(unit[0] + unit[1] + unit[2]):
        return (0.0, 0.0, 0.0)
    return unit
