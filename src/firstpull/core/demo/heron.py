"""A heron half-mask, from brow to upper lip, as a wall of even thickness.

The middle of the wall is where one smooth field is zero: a face, a drooping bill, brows, lids.
Divided by its own slope that field is a distance close to the wall, so the wall is
{|distance| <= wall / 2}. Fine relief (feathers, crease, nostrils) lies on the outside alone and
stays within 0.4 mm, so it never thins the wall much.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange
from scipy.interpolate import CubicSpline

from firstpull.core.arrays import Floats
from firstpull.core.demo.shaping import joined, need_range, rise, rounded_max
from firstpull.core.demo.surface import mirrored_surface
from firstpull.core.mesh.mesh import Mesh

WALL_MM = (2.5, 3.5)
TRIANGLES = (50_000, 4_000_000)  # with fewer the wall tears or passes through itself

# The outline, seen from a point behind the face: angle from the side, degrees; radius, mm at
# 100 mm from that point. Crest at 40 degrees, feather tips of the cheek at -53, -37 and -21,
# notch over the lip at -90.
_OUTLINE = (
    (-90, 45), (-82, 47), (-74, 54), (-66, 67), (-59, 82), (-53, 90), (-48, 87), (-43, 91),
    (-37, 95), (-32, 90), (-27, 90), (-21, 93), (-15, 89), (-8, 91), (2, 96), (14, 99),
    (25, 104), (34, 109), (40, 113), (45, 106), (48, 99), (51, 99), (54, 100), (58, 86),
    (61, 78), (64, 76), (67, 74), (72, 64), (80, 58), (85, 60), (90, 63),
)  # fmt: skip


def _outline_table() -> Floats:
    angle, radius = np.array(_OUTLINE, dtype=np.float64).T
    angle = np.concatenate([-180 - angle[:0:-1], angle, 180 - angle[-2::-1]])
    radius = np.concatenate([radius[:0:-1], radius, radius[-2::-1]])
    table: Floats = CubicSpline(angle, radius)(np.linspace(-90.0, 90.0, 721))
    return table


OUTLINE_MM = _outline_table()
FACE = np.array([0.0, 4.0, -3.0, 101.0, 110.0, 57.0])  # centre and half axes
BEHIND = np.array([4.0, -62.0])  # y and z of the point that the outline is seen from
BILL_START = np.array([-3.0, 36.0])  # y and z where the bill's axis starts, inside the face
BILL_TURN_MM = 116.0  # radius of the arc that the axis follows
BILL_TILT = -0.02  # heading at the start, radians above +z
BILL_LONG_MM = 112.0
HOLLOW_LONG_MM = 84.0
EYE = np.array([31.5, 7.0])


def heron_half_mask(*, triangles: int = 400_000, wall_mm: float = 3.0) -> Mesh:
    """The mask as a closed wall with two eye openings, always the same for the same options.

    Args:
        triangles: how many to aim for, 50 thousand to 4 million; met within a few per cent.
        wall_mm: thickness of the wall, 2.5 to 3.5 mm; the tip of the bill is solid.

    Returns:
        One closed mesh, outward, mm: x across, y up, z forward; x = 0 is its mirror plane.

    Raises:
        DemoOutOfRange: an option lies outside its range.

    >>> mask = heron_half_mask(triangles=50_000)
    >>> bool(0.95 < len(mask.faces) / 50_000 < 1.05)
    True
    """
    need_range(triangles, TRIANGLES, where="Triangle count", unit="")
    need_range(wall_mm, WALL_MM, where="Wall", unit=" mm")

    def field(points_mm: Floats) -> Floats:
        return _wall(np.ascontiguousarray(points_mm), 0.5 * float(wall_mm))

    return mirrored_surface(
        field, low_mm=[0, -90, -20], high_mm=[100, 90, 170], triangles=int(triangles)
    )


@njit(cache=True, parallel=True)
def _wall(points: Any, half_mm: float) -> Any:
    """The field of the finished wall at each point."""
    out = np.empty(len(points))
    for n in prange(len(points)):
        x, y, z = abs(points[n, 0]), points[n, 1], points[n, 2]
        away = _distance(x, y, z)
        # the hollow ends before it gets too narrow to print, clean and cast
        inside = -rounded_max(away + half_mm, _bill_place(y, z)[0] - HOLLOW_LONG_MM, 3.0)
        wall = max(away - half_mm - _relief(x, y, z, away), inside)
        wall = rounded_max(wall, _outline(x, y, z), 1.6)
        out[n] = rounded_max(wall, -_eye(x, y), 1.6)
    return out


@njit(cache=True)
def _distance(x, y, z):  # type: ignore[no-untyped-def]
    """The middle field over its slope: a distance, to first order, near the wall."""
    f = _middle(x, y, z)
    near = 1.0 - rise(abs(f), 3.5, 7.0)
    if near == 0.0:
        return f
    e = 0.01
    gx = _middle(x + e, y, z) - f
    gy = _middle(x, y + e, z) - f
    gz = _middle(x, y, z + e) - f
    slope = np.sqrt(gx * gx + gy * gy + gz * gz) / e
    return f / (1.0 + near * (max(slope, 0.5) - 1.0))


@njit(cache=True)
def _middle(x, y, z):  # type: ignore[no-untyped-def]
    """Zero in the middle of the wall, negative on the side of the wearer."""
    f = _face(x, y, z)
    f = joined(f, _brow(x, y, z), 5.2 + 10.3 * rise(_over_brow(x, y), -3.0, 6.0))
    return joined(f, _bill(x, y, z), 13.0)


@njit(cache=True)
def _face(x, y, z):  # type: ignore[no-untyped-def]
    """An ellipsoid with cheekbones, lids, a ridge up the forehead and plumes behind the brow."""
    px, py, pz = x, y - FACE[1], z - FACE[2]
    k0 = np.sqrt((px / FACE[3]) ** 2 + (py / FACE[4]) ** 2 + (pz / FACE[5]) ** 2)
    k1 = np.sqrt((px / FACE[3] ** 2) ** 2 + (py / FACE[4] ** 2) ** 2 + (pz / FACE[5] ** 2) ** 2)
    f = k0 * (k0 - 1.0) / max(k1, 1e-9)
    if z < -10.0:
        return f
    f -= 4.0 * _bump((x - 46.0) / 17.0, (y + 20.0) / 13.0)  # cheekbone
    f += 3.0 * _bump((x - 31.0) / 15.0, (y - 7.0) / 12.0)  # socket
    f -= 2.0 * np.exp(-(((_eye(x, y) - 3.4) / 3.4) ** 2))  # lids
    f -= 2.6 * np.exp(-((x / 6.5) ** 2)) * rise(y, 14.0, 34.0)  # forehead
    s = _over_brow(x, y)
    behind = rise(s, 5.0, 10.0) * rise(x, 10.0, 34.0)
    return f - 0.85 * behind * np.cos(2.0 * np.pi * (s - 12.0) / 9.5)  # plumes


@njit(cache=True)
def _brow_height(x):  # type: ignore[no-untyped-def]
    return 13.5 + 0.36 * x + 0.0054 * x * x


@njit(cache=True)
def _over_brow(x, y):  # type: ignore[no-untyped-def]
    """How far a point lies above the brow, square to it, and less toward the crest."""
    return (y - _brow_height(x)) / np.sqrt(1.0 + (0.36 + 0.0108 * x) ** 2)


@njit(cache=True)
def _brow(x, y, z):  # type: ignore[no-untyped-def]
    """A tapered roll that stands proud of the face over the eye."""
    yb = _brow_height(x)
    inner = (x / FACE[3]) ** 2 + ((yb - FACE[1]) / FACE[4]) ** 2
    zb = FACE[2] + FACE[5] * np.sqrt(max(1.0 - inner, 0.02))
    strength = rise(x, 1.0, 24.0) * (1.0 - 0.6 * rise(x, 30.0, 78.0))
    radius = 1.0 + 5.8 * strength
    lift = -3.0 + 8.9 * strength
    slope = 0.36 + 0.0108 * x
    across = (y - yb) / np.sqrt(1.0 + slope * slope)
    return np.sqrt(across * across + (z - zb - lift) ** 2) - radius


@njit(cache=True)
def _bill_place(y, z):  # type: ignore[no-untyped-def]
    """(s, n): how far along the bill's axis, and how far above it, a point lies."""
    cy = BILL_START[0] - BILL_TURN_MM * np.cos(BILL_TILT)
    cz = BILL_START[1] + BILL_TURN_MM * np.sin(BILL_TILT)
    dy, dz = y - cy, z - cz
    s = BILL_TURN_MM * (np.arctan2(dz, dy) + BILL_TILT)
    return s, np.sqrt(dy * dy + dz * dz) - BILL_TURN_MM


@njit(cache=True)
def _bill_size(s):  # type: ignore[no-untyped-def]
    """(wide, high): half the bill's width and height at s."""
    t = min(max(s / BILL_LONG_MM, 0.0), 1.0)
    left = 1.0 - t
    return 1.7 + 16.3 * left**1.12, 1.9 + 15.6 * left**1.02


@njit(cache=True)
def _bill(x, y, z):  # type: ignore[no-untyped-def]
    """A bill along an arc, keeled above, with a crease where it would open."""
    s, n = _bill_place(y, z)
    wide, high = _bill_size(s)
    lean = 1.0 - 0.30 * min(max(n / high, -1.0), 1.6)  # narrower toward the keel
    u = x / (wide * lean)
    v = n / high
    w = max(s - BILL_LONG_MM, 0.0) / 2.0 - min(s + 10.0, 0.0) / 12.0
    q = np.sqrt(u * u + v * v + w * w)
    g = np.sqrt((u / (wide * lean)) ** 2 + (v / high) ** 2 + (w / 2.0) ** 2)
    thick = min(wide, high)
    core = rise(q, 0.25, 0.6)  # near the axis the slope of an ellipse means nothing
    f = (q - 1.0) * (thick if core == 0.0 else thick + core * (q / g - thick))
    fade = rise(s, 18.0, 34.0) * (1.0 - rise(s, 86.0, 108.0)) * rise(x, 0.5, 4.0)
    return f + 1.2 * fade * np.exp(-(((n + 0.22 * high) / 2.2) ** 2))


@njit(cache=True)
def _relief(x, y, z, away):  # type: ignore[no-untyped-def]
    """Fine relief of the outside, within 0.4 mm either way."""
    if abs(away) > 6.0:
        return 0.0
    s, n = _bill_place(y, z)
    _, high = _bill_size(s)
    on_bill = rise(s, 26.0, 40.0)
    out = 0.0
    if on_bill > 0.0:
        fade = on_bill * (1.0 - rise(s, 88.0, 108.0)) * rise(x, 0.5, 4.0)
        out -= 0.4 * fade * np.exp(-(((n + 0.22 * high) / 0.9) ** 2))
        nostril = ((s - 50.0) / 7.0) ** 2 + ((n - 0.28 * high - 0.02 * (s - 50.0)) / 1.2) ** 2
        out -= 0.4 * rise(x, 1.0, 4.0) * np.exp(-(nostril**2))
    if on_bill < 1.0:
        out += (1.0 - on_bill) * _feathers(x, y)
    return min(max(out, -0.4), 0.4)


@njit(cache=True)
def _feathers(x, y):  # type: ignore[no-untyped-def]
    """Overlapping feathers that fan out from the root of the bill over the cheek."""
    px, py = x - 2.0, y - 4.0
    r = np.sqrt(px * px + py * py)
    angle = np.arctan2(py, px)
    where = (
        rise(r, 26.0, 34.0)
        * (1.0 - rise(_over_brow(x, y), -22.0, -12.0))
        * rise(_eye(x, y), 6.0, 9.0)
    )
    if where <= 0.0:
        return 0.0
    row_mm, count = 11.0, 5.2
    best = 0.0
    for ahead in range(2):
        # the row nearer the bill lies over the next one: take the first tile that covers
        row = np.floor(r / row_mm) - 1.0 + ahead
        shift = 0.5 * (row % 2.0)
        across = angle * count + shift
        across -= np.floor(across) + 0.5
        tip = (row + 1.75 - 1.9 * across * across) * row_mm
        along = (r - row * row_mm) / row_mm
        edge = rise(tip - r, -0.5, 0.9)
        shaft = 0.12 * np.exp(-((across / 0.07) ** 2))
        height = -0.4 + 0.8 * min(max(along / 1.75, 0.0), 1.0) - shaft
        if ahead == 0:
            top, cover = height, edge
        else:
            best = cover * top + (1.0 - cover) * (edge * height + (1.0 - edge) * -0.4)
    return where * best


@njit(cache=True)
def _outline(x, y, z):  # type: ignore[no-untyped-def]
    """Negative within the rim, measured across a cone so that the rim's edge stands square."""
    depth = z - BEHIND[1]
    if depth < 8.0:
        return 20.0
    py = y - BEHIND[0]
    radius = np.sqrt(x * x + py * py)
    place = (np.arctan2(py, x) + 0.5 * np.pi) * (720.0 / np.pi)
    i = min(max(int(place), 0), 719)
    t = place - i
    limit = 0.01 * depth * (OUTLINE_MM[i] * (1.0 - t) + OUTLINE_MM[i + 1] * t)
    return (radius - limit) * depth / np.sqrt(depth * depth + radius * radius)


@njit(cache=True)
def _eye(x, y):  # type: ignore[no-untyped-def]
    """Almond opening, 34 x 20 mm, its outer corner a little raised; negative within."""
    c, s = 0.978, 0.208
    u = c * (x - EYE[0]) + s * (y - EYE[1])
    v = -s * (x - EYE[0]) + c * (y - EYE[1])
    v -= 0.006 * u * u - 1.0 + 0.00012 * u * u * u  # a heavier upper lid
    upper = np.sqrt(u * u + (v + 10.2) ** 2) - 20.2
    lower = np.sqrt(u * u + (v - 10.2) ** 2) - 20.2
    return rounded_max(upper, lower, 3.0)


@njit(cache=True)
def _bump(u, v):  # type: ignore[no-untyped-def]
    return np.exp(-u * u - v * v)
