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
from firstpull.core.mould.zone import PartingWall, Zone

SPACING_MM = 100.0
HOLE_MM = 6.5
ABOVE_BOARD_MM = 14.0
FROM_CORNER_MM = 22.0  # a bolt keeps away from where flanges of two planes meet
LEAST_RUN_MM = 30.0  # of flange that a bolt of its own is worth


@dataclass(frozen=True)
class Bolts:
    """Bolt holes.

    Args:
        places_mm: (B, 3) their centres, on a parting wall.
        ways: (B, 3) unit normals of the wall there.
        walls: the walls, and (B,) which of them each bolt stands on.
    """

    places_mm: Floats
    ways: Floats
    walls: tuple[PartingWall, ...]
    which: NDArray[np.int64]

    def of(self, zone: Zone) -> Bolts:
        """Those on the borders of a zone."""
        chosen = np.zeros(len(self.which), dtype=np.bool_)
        for number, wall in enumerate(self.walls):
            if wall in zone.walls or wall.turned in zone.walls:
                here = self.which == number
                chosen[here] = _depth(zone, wall, self.places_mm[here]) > 0
        return Bolts(self.places_mm[chosen], self.ways[chosen], self.walls, self.which[chosen])


def place_bolts(shape: SkinShape, parting: Parting, *, beyond_mm: float) -> Bolts:
    """Bolts along the middle of the flanges of every parting wall.

    Args:
        shape: the skin; bolts follow it at a distance.
        parting: the zones, which share walls.
        beyond_mm: how far from the skin the middle of the flange is.
    """
    walls = parting.walls
    places, ways, which = [np.zeros((0, 3))], [np.zeros((0, 3))], []
    for number, wall in enumerate(walls):
        for run in _runs(shape, parting.zones, wall, beyond_mm):
            along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])
            if along[-1] < LEAST_RUN_MM:
                continue
            least = 2 if along[-1] > 3 * LEAST_RUN_MM else 1
            count = max(least, int(np.ceil(along[-1] / SPACING_MM)))
            at = (np.arange(count) + 0.5) / count * along[-1]
            spots = np.stack([np.interp(at, along, run[:, a]) for a in range(3)], axis=1)
            places.append(spots)
            ways.append(wall.facing_at(spots @ wall.across))
            which += [number] * count
    return Bolts(
        np.concatenate(places), np.concatenate(ways), walls, np.array(which, dtype=np.int64)
    )


def bolt_holes(bolts: Bolts, *, through_mm: float) -> Any:
    """Cylinders through the flanges, square to the parting walls, as one solid."""
    import manifold3d

    hole = manifold3d.Manifold.cylinder(through_mm, HOLE_MM / 2, circular_segments=32, center=True)
    made = []
    for at, n in zip(bolts.places_mm, bolts.ways, strict=True):
        side = np.cross(n, [0.0, 0.0, 1.0] if abs(n[2]) < 0.9 else [1.0, 0.0, 0.0])
        side /= np.linalg.norm(side)
        made.append(hole.transform(np.column_stack([side, np.cross(n, side), n, at])))
    return manifold3d.Manifold.compose(made)


def _depth(zone: Zone, wall: PartingWall, points: Floats) -> Floats:
    """How far points on one of a zone's walls lie within its other walls."""
    others = tuple(w for w in zone.walls if w not in (wall, wall.turned))
    depth = Zone(others).into(*points.T)
    return np.broadcast_to(np.asarray(depth, dtype=np.float64), len(points))


def _joint(zones: tuple[Zone, ...], wall: PartingWall, points: Floats) -> Flags:
    """Which points on a wall have a piece on both sides, well away from its other walls."""
    sides = []
    for own in (wall, wall.turned):
        here = np.zeros(len(points), dtype=np.bool_)
        for zone in zones:
            if own in zone.walls:
                here |= _depth(zone, wall, points) > FROM_CORNER_MM
        sides.append(here)
    return np.asarray(sides[0] & sides[1])


def _runs(
    shape: SkinShape, zones: tuple[Zone, ...], wall: PartingWall, beyond_mm: float
) -> list[Floats]:
    """Lines on a wall along which two pieces meet, at a distance from the skin."""
    from skimage.measure import find_contours

    step = shape.grid.step_mm
    across, rise, n = wall.across, wall.rise, np.array(wall.normal)
    corners = np.array([[axis[0], axis[-1]] for axis in map(shape.grid.axis, range(3))])
    box = np.array(np.meshgrid(*corners)).reshape(3, -1).T
    u = np.arange((box @ across).min(), (box @ across).max(), step)
    v = np.arange((box @ rise).min(), (box @ rise).max(), step)
    foot = n * (wall.offset_mm + wall.out_mm(u))[:, None] + across * u[:, None]
    points = foot[:, None] + v[:, None] * rise
    phi = sample(shape.phi, shape.grid, points.reshape(-1, 3)).reshape(len(u), len(v))
    lines = find_contours(phi, beyond_mm)
    if not lines:
        return []
    line = max(lines, key=len)
    i = line[:, 0].astype(np.intp)
    part = (line[:, :1] - i[:, None]) * (foot[np.minimum(i + 1, len(u) - 1)] - foot[i])
    spots = foot[i] + part + (v[0] + line[:, 1:] * step) * rise
    wanted = _joint(zones, wall, spots) & (spots[:, 2] > ABOVE_BOARD_MM)
    ends = np.flatnonzero(np.diff(wanted)) + 1
    return [
        run
        for run, keep in zip(np.split(spots, ends), np.split(wanted, ends), strict=True)
        if keep[0]
    ]
