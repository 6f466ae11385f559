"""Where do the bolts through the flanges of a parted shell stand?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.grid import sample
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import PartingPlane, Zone

SPACING_MM = 100.0
HOLE_MM = 6.5
ABOVE_BOARD_MM = 14.0
FROM_CORNER_MM = 22.0  # a bolt keeps away from where flanges of two planes meet
LEAST_RUN_MM = 30.0  # of flange that a bolt of its own is worth


@dataclass(frozen=True)
class Bolts:
    """Bolt holes.

    Args:
        places_mm: (B, 3) their centres, on a parting plane.
        ways: (B, 3) unit normals of that plane.
        planes: the planes, and (B,) which of them each bolt stands on.
    """

    places_mm: Floats
    ways: Floats
    planes: tuple[PartingPlane, ...]
    which: NDArray[np.int64]

    def of(self, zone: Zone) -> Bolts:
        """Those on the borders of a zone."""
        chosen = np.zeros(len(self.which), dtype=np.bool_)
        for number, plane in enumerate(self.planes):
            if _on_border(zone, plane):
                here = self.which == number
                chosen[here] = _depth(zone, plane, self.places_mm[here]) > 0
        return Bolts(self.places_mm[chosen], self.ways[chosen], self.planes, self.which[chosen])


def place_bolts(shape: SkinShape, parting: Parting, *, beyond_mm: float) -> Bolts:
    """Bolts along the middle of the flanges of every parting plane.

    Args:
        shape: the skin; bolts follow it at a distance.
        parting: the zones, which share planes.
        beyond_mm: how far from the skin the middle of the flange is.
    """
    planes = _planes(parting.zones)
    places, which = [np.zeros((0, 3))], []
    for number, plane in enumerate(planes):
        for run in _runs(shape, parting.zones, plane, beyond_mm):
            along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])
            if along[-1] < LEAST_RUN_MM:
                continue
            least = 2 if along[-1] > 3 * LEAST_RUN_MM else 1
            count = max(least, int(np.ceil(along[-1] / SPACING_MM)))
            at = (np.arange(count) + 0.5) / count * along[-1]
            places.append(np.stack([np.interp(at, along, run[:, a]) for a in range(3)], axis=1))
            which += [number] * count
    number_of = np.array(which, dtype=np.int64)
    normals = np.array([p.normal for p in planes]).reshape(-1, 3)
    return Bolts(np.concatenate(places), normals[number_of], planes, number_of)


def bolt_holes(bolts: Bolts, *, through_mm: float) -> Any:
    """Cylinders through the flanges, along the parting planes' normals, as one solid."""
    import manifold3d

    hole = manifold3d.Manifold.cylinder(through_mm, HOLE_MM / 2, circular_segments=32, center=True)
    made = []
    for at, n in zip(bolts.places_mm, bolts.ways, strict=True):
        side = np.cross(n, [0.0, 0.0, 1.0] if abs(n[2]) < 0.9 else [1.0, 0.0, 0.0])
        side /= np.linalg.norm(side)
        made.append(hole.transform(np.column_stack([side, np.cross(n, side), n, at])))
    return manifold3d.Manifold.compose(made)


def _planes(zones: tuple[Zone, ...]) -> tuple[PartingPlane, ...]:
    """Each plane between zones once, from one side."""
    found: list[PartingPlane] = []
    for zone in zones:
        for plane in zone.planes:
            if plane not in found and plane.turned not in found:
                found.append(plane)
    return tuple(found)


def _on_border(zone: Zone, plane: PartingPlane) -> bool:
    return plane in zone.planes or plane.turned in zone.planes


def _depth(zone: Zone, plane: PartingPlane, points: Floats) -> Floats:
    """How far points on one of a zone's planes lie within its other planes."""
    others = tuple(p for p in zone.planes if p not in (plane, plane.turned))
    depth = Zone(others).into(*points.T)
    return np.broadcast_to(np.asarray(depth, dtype=np.float64), len(points))


def _joint(zones: tuple[Zone, ...], plane: PartingPlane, points: Floats) -> Flags:
    """Which points on a plane have a piece on both sides, well away from its other planes."""
    sides = []
    for own in (plane, plane.turned):
        here = np.zeros(len(points), dtype=np.bool_)
        for zone in zones:
            if own in zone.planes:
                here |= _depth(zone, plane, points) > FROM_CORNER_MM
        sides.append(here)
    return np.asarray(sides[0] & sides[1])


def _runs(
    shape: SkinShape, zones: tuple[Zone, ...], plane: PartingPlane, beyond_mm: float
) -> list[Floats]:
    """Lines on a plane along which two pieces meet, at a distance from the skin."""
    from skimage.measure import find_contours

    n = np.array(plane.normal)
    across = np.array([-n[1], n[0], 0.0]) / np.hypot(n[0], n[1])
    rise = np.cross(n, across)
    rise = rise if rise[2] > 0 else -rise
    step = shape.grid.step_mm
    low, top = np.array(shape.grid.low_mm), shape.grid.axis(2)[-1]
    span = float(np.hypot(*(np.array(shape.grid.shape[:2]) * step)))
    u = np.arange(-span, span, step)
    v = np.arange(ABOVE_BOARD_MM, top, step) / rise[2]
    middle = np.append(low[:2] + 0.5 * step * np.array(shape.grid.shape[:2]), 0.0)
    out = (plane.offset_mm - middle @ n) / np.hypot(n[0], n[1])
    start = middle + out * np.array([n[0], n[1], 0.0]) / np.hypot(n[0], n[1])
    points = start + u[:, None, None] * across + v[None, :, None] * rise
    phi = sample(shape.phi, shape.grid, points.reshape(-1, 3)).reshape(len(u), len(v))
    lines = find_contours(phi, beyond_mm)
    if not lines:
        return []
    line = max(lines, key=len) * step
    spots = start + (u[0] + line[:, :1]) * across + (v[0] + line[:, 1:]) * rise
    wanted = _joint(zones, plane, spots)
    ends = np.flatnonzero(np.diff(wanted)) + 1
    return [
        run
        for run, keep in zip(np.split(spots, ends), np.split(wanted, ends), strict=True)
        if keep[0]
    ]
