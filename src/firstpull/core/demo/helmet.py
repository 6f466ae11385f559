"""A full helmet for the river parade: the stag-beetle warden's.

Like the half-mask it is a wall around the place where one smooth field is zero: skull, jaw and
neck joined with fillets, and tubes along curves for brow, crest and the two mandibles. A front
plate laps over the wing cases behind it, lames run down the nape, cheeks draw in under. What
reaches out of the skull is solid where its hollow would be too narrow to cast and clean.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange

from firstpull.core.arrays import Floats
from firstpull.core.demo.shaping import joined, need_range, rise, rounded_max
from firstpull.core.demo.surface import mirrored_surface
from firstpull.core.mesh.mesh import Mesh

WALL_MM = (4.0, 5.5)
TRIANGLES = (100_000, 4_000_000)  # with fewer the wall tears between grid points

# centre (y, z) and half axes (x, y, z)
SKULL = np.array([34.0, -8.0, 107.0, 112.0, 126.0])
JAW = np.array([-54.0, 20.0, 87.0, 116.0, 97.0])
EYE = np.array([34.0, 52.0, 25.0, 31.0, 35.0])  # of the bulging eye, which stands at EYE_X
EYE_X = 95.0
NECK = np.array([-8.0, 86.0, 104.0])  # z of the axis, half axes across and along
VISOR = np.array([14.0, 150.0, 132.0])  # height, radius of the two arcs, how far they overlap

# Curves: three control points, then the radius at start and end.
BROW = np.array([[0, 46, 120], [82, 44, 122], [97, 82, 12], [10.5, 5.5, 0]], dtype=np.float64)
CREST = np.array([[0, 70, 108], [0, 172, 78], [0, 150, -36], [6.0, 17.0, 0]], dtype=np.float64)
CREST_SLIM = 1.5
MANDIBLE = np.array([[44, 90, 84], [104, 140, 144], [20, 168, 132], [19, 4.8, 0]], dtype=np.float64)
TOOTH = np.array([[64, 132, 124], [54, 140, 128], [40, 138, 126], [8, 4.2, 0]], dtype=np.float64)
HOLLOW_LONG_MM = 46.0  # of a mandible


def beetle_helmet(*, triangles: int = 400_000, wall_mm: float = 4.0) -> Mesh:
    """The helmet as a closed wall with a visor slit and a neck opening, always the same.

    Args:
        triangles: how many to aim for, 100 thousand to 4 million; met within a few per cent.
        wall_mm: thickness of the wall, 4 to 5.5 mm; the tips of the mandibles are solid.

    Returns:
        One closed mesh, outward, mm: x across, y up, z forward; x = 0 is its mirror plane.

    Raises:
        DemoOutOfRange: an option lies outside its range.

    >>> helmet = beetle_helmet(triangles=100_000)
    >>> bool(0.95 < len(helmet.faces) / 100_000 < 1.05)
    True
    """
    need_range(triangles, TRIANGLES, where="Triangle count", unit="")
    need_range(wall_mm, WALL_MM, where="Wall", unit=" mm")

    def field(points_mm: Floats) -> Floats:
        return _wall(np.ascontiguousarray(points_mm), 0.5 * float(wall_mm))

    return mirrored_surface(
        field, low_mm=[0, -175, -160], high_mm=[140, 190, 170], triangles=int(triangles)
    )


@njit(cache=True, parallel=True)
def _wall(points: Any, half_mm: float) -> Any:
    """The field of the finished wall at each point."""
    out = np.empty(len(points))
    for n in prange(len(points)):
        x, y, z = abs(points[n, 0]), points[n, 1], points[n, 2]
        away = _distance(x, y, z)
        wall = max(away - half_mm, -rounded_max(away + half_mm, -_tips(x, y, z), 3.0))
        wall = rounded_max(wall, _rim(x, y, z), 4.0)
        out[n] = rounded_max(wall, -_visor(x, y, z), 4.0)
    return out


@njit(cache=True)
def _distance(x, y, z):  # type: ignore[no-untyped-def]
    """The middle field over its slope: a distance, to first order, near the wall."""
    f = _middle(x, y, z)
    near = 1.0 - rise(abs(f), 4.5, 9.0)
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
    f = _ellipsoid(x, y, z, 0.0, SKULL)
    f = joined(f, _neck(x, y, z), 50.0)
    f = joined(f, _ellipsoid(x, y, z, 0.0, JAW), 44.0)
    if abs(f) < 40.0:
        f += _carving(x, y, z)
        f = joined(f, _eye(x, y, z), 7.0)
    f = joined(f, _tube(x, y, z, BROW)[0], 9.0)
    f = joined(f, _tube(CREST_SLIM * x, y, z, CREST)[0] / 1.2, 8.0)
    horn = joined(_tube(x, y, z, MANDIBLE)[0], _tube(x, y, z, TOOTH)[0], 6.0)
    return joined(f, horn, 16.0)


@njit(cache=True)
def _ellipsoid(x, y, z, middle_x, place):  # type: ignore[no-untyped-def]
    px, py, pz = x - middle_x, y - place[0], z - place[1]
    u, v, w = px / place[2], py / place[3], pz / place[4]
    k0 = np.sqrt(u * u + v * v + w * w)
    k1 = np.sqrt((u / place[2]) ** 2 + (v / place[3]) ** 2 + (w / place[4]) ** 2)
    return k0 * (k0 - 1.0) / max(k1, 1e-9)


@njit(cache=True)
def _neck(x, y, z):  # type: ignore[no-untyped-def]
    """An upright oval that ends in the skull and flares at the nape."""
    flare = 1.0 + 0.13 * rise(-y, 96.0, 150.0) * rise(-z, -30.0, 70.0)
    u, w = x / (NECK[1] * flare), (z - NECK[0]) / (NECK[2] * flare)
    q = np.sqrt(u * u + w * w)
    g = np.sqrt((u / NECK[1]) ** 2 + (w / NECK[2]) ** 2)
    side = q * (q - 1.0) / max(g, 1e-9)
    return rounded_max(side, y - 20.0, 30.0)


@njit(cache=True)
def _carving(x, y, z):  # type: ignore[no-untyped-def]
    """What is raised on the skull (negative) or sunk into it, within 6 mm."""
    front = rise(z - _lap(y), -4.0, 4.0)
    out = -4.0 * front
    if front < 1.0:
        out += (1.0 - front) * (_wing_cases(x, y, z) + _lames(y, z))
    if front > 0.0:
        out += front * (_keel(x, y, z) + _cheek(x, y, z))
    return out


@njit(cache=True)
def _lap(y):  # type: ignore[no-untyped-def]
    """z of the edge where the front plate laps over what is behind it."""
    return -26.0 + 0.0016 * (y - 20.0) ** 2 * (1.0 if y < 20.0 else 0.35)


@njit(cache=True)
def _wing_cases(x, y, z):  # type: ignore[no-untyped-def]
    """Two wing cases: a seam down the middle and ribs that run back along them."""
    where = rise(y, -40.0, -10.0)
    if where <= 0.0:
        return 0.0
    angle = np.arctan2(x, y + 75.0)  # 0 over the middle
    far = rise(np.sqrt(x * x + (y + 75.0) ** 2), 80.0, 130.0)
    fade = far * rise(x, 6.0, 16.0) * (1.0 - rise(angle, 0.62, 0.80))
    ribs = -1.1 * fade * np.cos(2.0 * np.pi * (angle - 0.055) / 0.105)
    edge = -1.5 * np.exp(-(((x - 9.0) / 5.0) ** 2))
    return where * (3.2 * np.exp(-((x / 4.0) ** 2)) + edge + ribs)


@njit(cache=True)
def _lames(y, z):  # type: ignore[no-untyped-def]
    """Plates that overlap down the nape, each edge over the next plate below."""
    down = (-48.0 - 0.12 * z - y) / 27.0
    if down <= 0.0:
        return 0.0
    along = down - np.floor(down)
    height = 3.2 * along * (1.0 - rise(along, 0.80, 1.0))
    return -height * rise(down, 0.0, 0.3) - 1.0 * rise(down, 0.0, 1.0)


@njit(cache=True)
def _keel(x, y, z):  # type: ignore[no-untyped-def]
    """A prow from under the visor to the chin, and the plate over the forehead."""
    prow = rise(z, 60.0, 95.0) * rise(-y, 4.0, 26.0)
    return -7.0 * prow * np.exp(-((x / 15.0) ** 2))


@njit(cache=True)
def _cheek(x, y, z):  # type: ignore[no-untyped-def]
    """A cheek plate that hangs from the temple and draws in to the chin, with three gills."""
    if y > 25.0 or z < -60.0:
        return 0.0
    u = 100.0 * np.arctan2(x, z + 20.0) - 84.0  # back along the jaw
    v = y + 52.0
    front = -(u + 48.0 + 0.30 * v) / 1.05  # the edge toward the prow leans with the visor
    back = (u - 40.0 + 0.42 * v) / 1.1
    below = (-v - 56.0 + 0.45 * u) / 1.1  # runs down toward the chin
    plate = rounded_max(rounded_max(front, back, 18.0), rounded_max(below, v - 46.0, 18.0), 22.0)
    out = -4.2 * (1.0 - rise(plate, -4.0, 4.0)) - 1.6 * np.exp(-(((plate + 6.0) / 3.6) ** 2))
    for k in range(3):
        along = v + 6.0 + 5.0 * k
        a = u + 0.34 * v - 19.0 * (k - 1.0) + 4.0 - 0.010 * along * along
        slot = rounded_max(abs(a) - 4.2, abs(along) - 27.0 + 3.0 * k, 6.0)
        out += 3.4 * (1.0 - rise(slot, -4.2, 4.2))
    return out


@njit(cache=True)
def _eye(x, y, z):  # type: ignore[no-untyped-def]
    """A bulging eye at the temple, facetted."""
    f = _ellipsoid(x, y, z, EYE_X, EYE)
    if abs(f) > 12.0:
        return f
    u, v = (z - EYE[1]) / 9.5, (y - EYE[0]) / 9.5
    cell = (
        np.cos(2.0 * np.pi * u) + np.cos(np.pi * (u + 1.732 * v)) + np.cos(np.pi * (u - 1.732 * v))
    )
    return f - 0.32 * cell


@njit(cache=True)
def _tube(x, y, z, curve):  # type: ignore[no-untyped-def]
    """(f, s): distance from a tapered tube along a curve, and how far along it, mm."""
    a, b, c = curve[0], curve[1], curve[2]
    best, t = 1e18, 0.0
    for k in range(9):
        at = k / 8.0
        here = _square_from(x, y, z, a, b, c, at)
        if here < best:
            best, t = here, at
    for _ in range(4):  # Newton's steps toward the nearest point
        slope, bend = 0.0, 0.0
        for i in range(3):
            p = x if i == 0 else (y if i == 1 else z)
            off = (1 - t) * (1 - t) * a[i] + 2 * t * (1 - t) * b[i] + t * t * c[i] - p
            one = 2 * (1 - t) * (b[i] - a[i]) + 2 * t * (c[i] - b[i])
            two = 2 * (c[i] - 2 * b[i] + a[i])
            slope += off * one
            bend += one * one + off * two
        if bend > 1e-9:
            t = min(max(t - slope / bend, 0.0), 1.0)
    long = np.sqrt(((b - a) ** 2).sum()) + np.sqrt(((c - b) ** 2).sum())
    radius = curve[3, 0] + (curve[3, 1] - curve[3, 0]) * t
    return np.sqrt(_square_from(x, y, z, a, b, c, t)) - radius, 0.9 * long * t


@njit(cache=True)
def _square_from(x, y, z, a, b, c, t):  # type: ignore[no-untyped-def]
    i, j, k = (1 - t) * (1 - t), 2 * t * (1 - t), t * t
    px = i * a[0] + j * b[0] + k * c[0] - x
    py = i * a[1] + j * b[1] + k * c[1] - y
    pz = i * a[2] + j * b[2] + k * c[2] - z
    return px * px + py * py + pz * pz


@njit(cache=True)
def _tips(x, y, z):  # type: ignore[no-untyped-def]
    """Negative where a mandible and its tooth are solid."""
    f, s = _tube(x, y, z, MANDIBLE)
    solid = max(f, HOLLOW_LONG_MM - s)
    return min(solid, _tube(x, y, z, TOOTH)[0] - 2.0)


@njit(cache=True)
def _rim(x, y, z):  # type: ignore[no-untyped-def]
    """Negative above the rim of the neck opening: low at chin and nape, higher at the sides."""
    side = min(x / 95.0, 1.2)
    return (-146.0 - 0.05 * z + 16.0 * side * side * side - y) / 1.1


@njit(cache=True)
def _visor(x, y, z):  # type: ignore[no-untyped-def]
    """A slit for both eyes, pointed at the temples and a little raised there; negative within."""
    v = y - VISOR[0] - 0.0016 * x * x
    upper = np.sqrt(x * x + (v + VISOR[2]) ** 2) - VISOR[1]
    lower = np.sqrt(x * x + (v - VISOR[2]) ** 2) - VISOR[1]
    return rounded_max(rounded_max(upper, lower, 5.0), 20.0 - z, 4.0)
