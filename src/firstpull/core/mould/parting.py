"""Where to part the shell in two, and which way each piece comes off, for the least fill.

Every upright wall only adds up the shadows on its two sides and takes the cheapest pull on
each. Three and four pieces are made in the same way from two and three walls, see ``wedges``;
walls are tilted and bent afterwards, see ``adjust``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mould.shadows import STEEPEST_ONE_PIECE, Shadows, refined
from firstpull.core.mould.zone import EVERYWHERE, PartingWall, Zone

WALL_ANGLES = 12
WALL_OFFSETS = 9
MIRROR_WORTH_CM3 = 8.0  # silicone that a seam down the middle is worth; common practice
LEAST_SHARE = 0.25  # of the body's width on the smaller side of the wall
LEAST_LEAN_DEG = 3.0  # between a wall and the pulls that leave it


@dataclass(frozen=True)
class Parting:
    """A shell in one piece or several.

    Args:
        zones: where each piece lives, in the order they come off.
        pulls: (P, 3) unit vectors.
        fill_cm3: silicone that must close the shadows, by the coarse grid of the search.
        is_ordered: whether the pieces must come off in this order; else in any.
    """

    zones: tuple[Zone, ...]
    pulls: Floats
    fill_cm3: float
    is_ordered: bool = False

    @property
    def walls(self) -> tuple[PartingWall, ...]:
        """Each wall between zones once, as the first zone beside it sees it."""
        found: list[PartingWall] = []
        for wall in (wall for zone in self.zones for wall in zone.walls):
            if wall not in found and wall.turned not in found:
                found.append(wall)
        return tuple(found)


@dataclass(frozen=True)
class Rules:
    """Where a wall may not stand.

    Args:
        keep_whole: (place in mm, radius in mm) of balls that no wall may cross.
        symmetric: whether walls must stand on the mirror plane or square to it.
    """

    keep_whole: tuple[tuple[tuple[float, float, float], float], ...] = ()
    symmetric: bool = False

    def allow(self, wall: PartingWall, mirror: PartingWall | None) -> bool:
        """Whether a wall may stand where it does."""
        for place, radius_mm in self.keep_whole:
            if abs(float(wall.depth(*np.array(place)[:, None])[0])) < radius_mm:
                return False
        if not self.symmetric or mirror is None:
            return not self.symmetric
        lean = abs(float(np.dot(wall.normal, mirror.normal)))
        return not wall.bend and (lean < 1e-6 or is_on(wall, mirror))


NO_RULES = Rules()


@dataclass(frozen=True)
class Candidates:
    """The upright walls that are tried.

    Args:
        normals: (A, 3).
        offsets: (A, K) rising.
        worth_cm3: (A, K) what a seam there is worth besides; minus infinity where none may be.
    """

    normals: Floats
    offsets: Floats
    worth_cm3: Floats


def candidates(shadows: Shadows, rules: Rules) -> Candidates:
    """Upright walls at even angles and offsets; the mirror plane is one of them."""
    mirror = shadows.mirror
    first = np.arctan2(mirror.normal[1], mirror.normal[0]) if mirror else 0.0
    angles = first + np.arange(WALL_ANGLES) * np.pi / WALL_ANGLES
    normals = np.stack([np.cos(angles), np.sin(angles), np.zeros(WALL_ANGLES)], axis=1)
    offsets = np.stack([wall_offsets(shadows, n) for n in normals])
    worth = np.zeros(offsets.shape)
    if mirror is not None:
        middle = int(np.argmin(np.abs(offsets[0] - mirror.offset_mm)))
        offsets[0, middle] = mirror.offset_mm
        worth[0, middle] = MIRROR_WORTH_CM3
    for a, k in np.ndindex(*offsets.shape):
        wall = Zone.beyond(normals[a], float(offsets[a, k])).walls[0]
        if not rules.allow(wall, mirror):
            worth[a, k] = -np.inf
    return Candidates(normals, offsets, worth)


def wall_offsets(shadows: Shadows, normal: Floats) -> Floats:
    """Where walls with this normal may stand; the middle one halves the body's width."""
    body = np.argwhere(shadows.phi < 0)[:, :2] * shadows.grid.step_mm + shadows.grid.low_mm[:2]
    across = body @ normal[:2]
    low, high = float(across.min()), float(across.max())
    return 0.5 * (low + high) + (high - low) * np.linspace(
        LEAST_SHARE - 0.5, 0.5 - LEAST_SHARE, WALL_OFFSETS
    )


def part_in_one(shadows: Shadows, *, draft_deg: float) -> Parting:
    """One piece: the pull with the least fill among those that point well up."""
    up = np.flatnonzero(shadows.directions[:, 2] >= STEEPEST_ONE_PIECE)
    best = up[np.argmin(shadows.fills[up].sum(axis=1))]
    pull, fill = refined(
        shadows,
        shadows.directions[best],
        EVERYWHERE,
        draft_deg=draft_deg,
        least_z=STEEPEST_ONE_PIECE,
    )
    return Parting((EVERYWHERE,), pull[None], fill)


def part_in_two(shadows: Shadows, *, draft_deg: float, rules: Rules = NO_RULES) -> Parting | None:
    """Two pieces: an upright wall through the part and a pull for each side.

    None where the rules allow no wall.
    """
    walls = candidates(shadows, rules)
    ways = [_best_offset(shadows, walls, a, draft_deg) for a in range(len(walls.normals))]
    cost, zone, ahead, behind = min(ways, key=lambda way: way[0])
    if not np.isfinite(cost):
        return None
    other = Zone((zone.walls[0].turned,))
    pulls = shadows.directions[[ahead, behind]]
    return settled(shadows, (zone, other), pulls, draft_deg=draft_deg)


def settled(
    shadows: Shadows,
    zones: tuple[Zone, ...],
    pulls: Floats,
    *,
    draft_deg: float,
    is_ordered: bool = False,
) -> Parting:
    """The parting with each zone's pull turned a little, to where it saves most."""
    ways, fills = [], []
    for number, (zone, pull) in enumerate(zip(zones, pulls, strict=True)):
        freed = freed_walls(zones, number) if is_ordered else ()
        way, fill = refined(shadows, pull, zone, draft_deg=draft_deg, but_for=freed)
        ways.append(way)
        fills.append(fill)
    return Parting(zones, np.stack(ways), float(sum(fills)), is_ordered)


def leaving(
    shadows: Shadows, zone: Zone, *, draft_deg: float, but_for: tuple[PartingWall, ...] = ()
) -> Flags:
    """(D,) which directions of the sheaf leave a zone with a fair lean to its walls."""
    facings = [w.facings for w in zone.walls if w not in but_for]
    if not facings:
        return np.ones(len(shadows.directions), dtype=np.bool_)
    lean = shadows.directions @ np.concatenate(facings).T
    return np.asarray((lean >= sheaf_lean(draft_deg)).all(axis=1))


def sheaf_lean(draft_deg: float) -> float:
    """Sine of the least angle between a wall and the pulls of the sheaf that leave it."""
    return float(np.sin(np.radians(max(draft_deg, LEAST_LEAN_DEG))))


def freed_walls(zones: tuple[Zone, ...], number: int) -> tuple[PartingWall, ...]:
    """The walls of a zone behind which only zones lie that come off before it."""
    later = [wall for zone in zones[number + 1 :] for wall in zone.walls]
    return tuple(wall for wall in zones[number].walls if wall.turned not in later)


def is_on(wall: PartingWall, other: PartingWall, *, within_mm: float = 1.0) -> bool:
    """Whether two planes are the same, whichever way they face."""
    for seen in (wall, wall.turned):
        lean = float(np.dot(seen.normal, other.normal))
        if lean > np.cos(0.01) and abs(seen.offset_mm - other.offset_mm) < within_mm:
            return not wall.bend
    return False


def _best_offset(
    shadows: Shadows, walls: Candidates, angle: int, draft_deg: float
) -> tuple[float, Zone, int, int]:
    """The cheapest wall of an angle: cost, zone ahead, pull ahead, pull behind."""
    normal, offsets = walls.normals[angle], walls.offsets[angle]
    middle, width = float(offsets.mean()), 2 * float(np.ptp(offsets))
    at = np.searchsorted(offsets, shadows.points_mm[:, :2] @ normal[:2], side="right")
    slots = np.zeros((len(shadows.directions), len(offsets) + 1))
    for slot in range(len(offsets) + 1):
        slots[:, slot] = shadows.fills[:, at == slot].sum(axis=1)
    below = np.cumsum(slots, axis=1)[:, :-1]
    above = slots.sum(axis=1)[:, None] - below
    lean = shadows.directions @ normal
    least = sheaf_lean(draft_deg)
    above[lean < least] = np.inf
    below[lean > -least] = np.inf
    # equal fills: the wall through the middle, and pulls that rise
    cost = above.min(axis=0) + below.min(axis=0)
    cost = cost * 1.001 + 0.02 * np.abs(offsets - middle) / max(width, 1.0) * cost.min()
    cost = cost - walls.worth_cm3[angle]
    k = int(np.argmin(cost))
    zone = Zone.beyond(normal, float(offsets[k]))
    return float(cost[k]), zone, int(np.argmin(above[:, k])), int(np.argmin(below[:, k]))
