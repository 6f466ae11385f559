"""On which side of a plane or line does a point lie? Answered without rounding.

A quick determinant first, with the bound on its error; where the bound is not enough, the
same determinant as an exact sum of doubles. Source: Shewchuk, Adaptive Precision
Floating-Point Arithmetic and Fast Robust Geometric Predicates (1997). Valid while no product
of three differences of coordinates leaves the range of doubles.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

_HALF_ULP = 2.0**-53
_PLANE_BOUND = (7.0 + 56.0 * _HALF_ULP) * _HALF_ULP
_LINE_BOUND = (3.0 + 16.0 * _HALF_ULP) * _HALF_ULP
_LINE_BOUND_LAST = (9.0 + 64.0 * _HALF_ULP) * _HALF_ULP * _HALF_ULP
_ROUNDED = (3.0 + 8.0 * _HALF_ULP) * _HALF_ULP
_SPLITTER = 134217729.0  # 2^27 + 1


@njit(cache=True)
def side_of_plane(points: Any, a: int, b: int, c: int, d: int) -> int:
    """1 where d lies on the side that sees a, b, c turn clockwise, -1 on the other, 0 in it.

    The four are rows of (N, 3) points: views of single rows would cost more than the answer.

    >>> points = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 0], [0.5, 0.25, 0.25]])
    >>> side_of_plane(points, 0, 1, 2, 3), side_of_plane(points, 0, 1, 2, 4)
    (1, 0)
    """
    dx, dy, dz = points[d, 0], points[d, 1], points[d, 2]
    adx, ady, adz = points[a, 0] - dx, points[a, 1] - dy, points[a, 2] - dz
    bdx, bdy, bdz = points[b, 0] - dx, points[b, 1] - dy, points[b, 2] - dz
    cdx, cdy, cdz = points[c, 0] - dx, points[c, 1] - dy, points[c, 2] - dz
    bc, cb = bdx * cdy, cdx * bdy
    ca, ac = cdx * ady, adx * cdy
    ab, ba = adx * bdy, bdx * ady
    det = adz * (bc - cb) + bdz * (ca - ac) + cdz * (ab - ba)
    size = (
        (abs(bc) + abs(cb)) * abs(adz)
        + (abs(ca) + abs(ac)) * abs(bdz)
        + (abs(ab) + abs(ba)) * abs(cdz)
    )
    if det > _PLANE_BOUND * size:
        return 1
    if -det > _PLANE_BOUND * size:
        return -1
    if size == 0.0:
        return 0
    return _exact_side_of_plane(points, a, b, c, d)


@njit(cache=True)
def side_of_line(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> int:
    """1 where c lies left of the line from a to b, -1 right of it, 0 on it.

    >>> side_of_line(0.0, 0.0, 1.0, 0.0, 0.5, 0.5)
    1
    """
    left, right = (ax - cx) * (by - cy), (ay - cy) * (bx - cx)
    det = left - right
    size = abs(left) + abs(right)
    if abs(det) > _LINE_BOUND * size:
        return 1 if det > 0.0 else -1
    u, v = _difference(ax, cx), _difference(by, cy)
    s, t = _difference(ay, cy), _difference(bx, cx)
    det = _difference_of_products(u[0], v[0], s[0], t[0])
    if u[1] == 0.0 and v[1] == 0.0 and s[1] == 0.0 and t[1] == 0.0:
        return int(det > 0.0) - int(det < 0.0)
    bound = _LINE_BOUND_LAST * size + _ROUNDED * abs(det)
    det += (u[0] * v[1] + v[0] * u[1]) - (s[0] * t[1] + t[0] * s[1])
    if abs(det) > bound:
        return 1 if det > 0.0 else -1
    return _exact_side_of_line(u, v, s, t)


@njit(cache=True)
def _difference_of_products(a: float, b: float, c: float, d: float) -> float:
    """a b - c d, rounded once: its sign is right."""
    p, p_low = _times(a, b)
    q, q_low = _times(c, d)
    low, x0 = _difference(p_low, q_low)
    middle, rest = _plus(p, low)
    low, x1 = _difference(rest, q)
    high, x2 = _plus(middle, low)
    return x0 + x1 + x2 + high


@njit(cache=True)
def _exact_side_of_line(u: Any, v: Any, s: Any, t: Any) -> int:
    """The sign of u v - s t, of differences with what each lost."""
    one, other = np.empty(8), np.empty(8)
    n = _product(u, v, one)
    m = _product(s, t, other)
    for i in range(m):
        other[i] = -other[i]
    total = np.empty(16)
    k = _sum(one, n, other, m, total)
    return _sign(total, k)


@njit(cache=True)
def _exact_side_of_plane(points: Any, a: int, b: int, c: int, d: int) -> int:
    """The determinant as a sum of doubles that do not overlap: its last tells the sign."""
    total, grown = np.empty(192), np.empty(192)
    minor, part, scaled = np.empty(16), np.empty(8), np.empty(64)
    n = 0
    for turn in range(3):
        if turn == 0:
            p, q, r = a, b, c
        elif turn == 1:
            p, q, r = b, c, a
        else:
            p, q, r = c, a, b
        qx = _difference(points[q, 0], points[d, 0])
        qy = _difference(points[q, 1], points[d, 1])
        rx = _difference(points[r, 0], points[d, 0])
        ry = _difference(points[r, 1], points[d, 1])
        other = np.empty(8)
        k = _product(qx, ry, part)
        j = _product(rx, qy, other)
        for i in range(j):
            other[i] = -other[i]
        m = _sum(part, k, other, j, minor)
        high, low = _difference(points[p, 2], points[d, 2])
        one, two = np.empty(32), np.empty(32)
        k = _scaled(minor, m, high, one)
        j = _scaled(minor, m, low, two)
        m = _sum(one, k, two, j, scaled)
        n = _sum(total, n, scaled, m, grown)
        total, grown = grown, total
    return _sign(total, n)


@njit(cache=True, inline="always")
def _sign(total, n):  # type: ignore[no-untyped-def]
    if n == 0:
        return 0
    return 1 if total[n - 1] > 0.0 else -1


@njit(cache=True, inline="always")
def _difference(a, b):  # type: ignore[no-untyped-def]
    """a - b as a rounded difference and what rounding lost."""
    x = a - b
    lost_b = a - x
    kept = x + lost_b
    return x, (a - kept) + (lost_b - b)


@njit(cache=True, inline="always")
def _plus(a, b):  # type: ignore[no-untyped-def]
    x = a + b
    virtual = x - a
    return x, (a - (x - virtual)) + (b - virtual)


@njit(cache=True, inline="always")
def _times(a, b):  # type: ignore[no-untyped-def]
    x = a * b
    c = _SPLITTER * a
    a_high = c - (c - a)
    a_low = a - a_high
    c = _SPLITTER * b
    b_high = c - (c - b)
    b_low = b - b_high
    error = x - a_high * b_high
    error -= a_low * b_high
    error -= a_high * b_low
    return x, a_low * b_low - error


@njit(cache=True)
def _product(u: Any, v: Any, out: Any) -> int:
    """The product of two differences, each with what it lost; smallest part first."""
    first, one, two = np.empty(2), np.empty(4), np.empty(4)
    n = 0
    if u[1] != 0.0:
        first[n] = u[1]
        n += 1
    if u[0] != 0.0:
        first[n] = u[0]
        n += 1
    k = _scaled(first, n, v[0], one)
    j = _scaled(first, n, v[1], two)
    return _sum(one, k, two, j, out)


@njit(cache=True)
def _scaled(e: Any, n: int, by: float, out: Any) -> int:
    """A sum of doubles times one double; parts of 0 are left out."""
    if n == 0 or by == 0.0:
        return 0
    k = 0
    total, low = _times(e[0], by)
    if low != 0.0:
        out[k] = low
        k += 1
    for i in range(1, n):
        high, low = _times(e[i], by)
        total, rest = _plus(total, low)
        if rest != 0.0:
            out[k] = rest
            k += 1
        total, rest = _plus(high, total)
        if rest != 0.0:
            out[k] = rest
            k += 1
    if total != 0.0:
        out[k] = total
        k += 1
    return k


@njit(cache=True)
def _sum(e: Any, n: int, f: Any, m: int, out: Any) -> int:
    """Two sums of doubles as one, merged by size from small to large; parts of 0 are left out."""
    i, j, k = 0, 0, 0
    total = 0.0
    while i < n or j < m:
        if j >= m or (i < n and abs(e[i]) < abs(f[j])):
            part = e[i]
            i += 1
        else:
            part = f[j]
            j += 1
        total, rest = _plus(total, part)
        if rest != 0.0:
            out[k] = rest
            k += 1
    if total != 0.0:
        out[k] = total
        k += 1
    return k
