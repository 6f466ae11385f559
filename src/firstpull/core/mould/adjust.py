"""Are walls better moved, tilted or bent? Each free wall of a parting, for less fill.

With the other walls held, what a wall costs is a sum over shadow points: on its near side they
count by one piece's pull, on its far side by another's. So moving and tilting is a short
search, and the best bend is found column by column (see ``bend``). A straight upright wall is
easier to build, so a change must be worth it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import product

import numpy as np

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mould.bend import bent_wall
from firstpull.core.mould.parting import (
    MIRROR_WORTH_CM3,
    NO_RULES,
    Parting,
    Rules,
    freed_walls,
    is_on,
    leaving,
    settled,
)
from firstpull.core.mould.shadows import Shadows
from firstpull.core.mould.zone import PartingWall, Zone

WORTH_CM3 = 2.0  # fill that a tilted or bent wall must save; common practice
WORTH_SHARE = 0.1  # of all the fill, and it must save that much as well
STRIDES = ((12.0, 2.0), (6.0, 1.0), (3.0, 0.5))  # degrees of turn and tilt, coarse steps of shift
SETTLED = 2  # of the ways found, those whose pulls are turned to where they save most
STEEPEST_TILT = float(np.sin(np.radians(50.0)))


def adjusted(
    shadows: Shadows,
    parting: Parting,
    *,
    draft_deg: float,
    rules: Rules = NO_RULES,
    held: tuple[PartingWall, ...] = (),
) -> Parting:
    """The parting with its walls moved, tilted and bent where that is worth it.

    Args:
        shadows: that the parting was found with.
        parting: one piece or several.
        draft_deg: least lean between walls and pulls.
        rules: where no wall may stand.
        held: walls that stay as they are.
    """
    best = parting
    for wall in parting.walls:
        if rules.symmetric or wall in held or wall.turned in held:
            continue
        if best.fill_cm3 <= _due(shadows, best, wall):
            continue
        for tried in _other_ways(shadows, best, wall, draft_deg, rules):
            if best.fill_cm3 - tried.fill_cm3 > _due(shadows, best, wall):
                best = tried
                break
    return best


def exchanged(zones: tuple[Zone, ...], wall: PartingWall, new: PartingWall) -> tuple[Zone, ...]:
    """The zones with another wall in the place of one."""
    place = {wall: new, wall.turned: new.turned}
    return tuple(Zone(tuple(place.get(w, w) for w in zone.walls)) for zone in zones)


def cheapest(
    shadows: Shadows, zones: tuple[Zone, ...], *, draft_deg: float, is_ordered: bool = False
) -> tuple[float, Ints]:
    """The sheaf's cheapest directions for some zones, cm3; infinity where one has none."""
    cost, ways = 0.0, []
    for number, zone in enumerate(zones):
        fills = shadows.fills @ shadows.in_zone(zone).astype(np.float32)
        freed = freed_walls(zones, number) if is_ordered else ()
        fills[~leaving(shadows, zone, draft_deg=draft_deg, but_for=freed)] = np.inf
        ways.append(int(np.argmin(fills)))
        cost += float(fills[ways[-1]])
    return cost, np.array(ways)


def _other_ways(
    shadows: Shadows, parting: Parting, wall: PartingWall, draft_deg: float, rules: Rules
) -> list[Parting]:
    """The parting with one wall moved, and with the wall bent there or where it was; best first."""
    moved = _moved(shadows, parting, wall, draft_deg, rules)
    tried = [_bent(shadows, parting, wall, draft_deg, rules)]
    if moved is not None:
        tried += [moved, _bent(shadows, *moved, draft_deg, rules)]
    found = [way[0] for way in tried if way is not None]
    best = sorted(found, key=lambda p: p.fill_cm3)[:SETTLED]
    settle = partial(settled, shadows, draft_deg=draft_deg, is_ordered=parting.is_ordered)
    return sorted((settle(p.zones, p.pulls) for p in best), key=lambda p: p.fill_cm3)


def _due(shadows: Shadows, parting: Parting, wall: PartingWall) -> float:
    """What a change of a wall must save."""
    least = max(WORTH_CM3, WORTH_SHARE * parting.fill_cm3)
    on_mirror = shadows.mirror is not None and is_on(wall, shadows.mirror)
    return least + (MIRROR_WORTH_CM3 if on_mirror else 0.0)


def _moved(
    shadows: Shadows, parting: Parting, wall: PartingWall, draft_deg: float, rules: Rules
) -> tuple[Parting, PartingWall] | None:
    """The wall turned, tilted and shifted as long as that saves fill, pulls chosen anew."""
    ordered = parting.is_ordered
    best, skin = wall, skin_points(shadows)
    cost, ways = cheapest(shadows, parting.zones, draft_deg=draft_deg, is_ordered=ordered)
    for degrees, steps in STRIDES:
        for tried in _neighbours(best, np.radians(degrees), steps * shadows.grid.step_mm, shadows):
            if not rules.allow(tried, shadows.mirror) or not _parts(skin, tried):
                continue
            zones = exchanged(parting.zones, wall, tried)
            there = cheapest(shadows, zones, draft_deg=draft_deg, is_ordered=ordered)
            if there[0] < cost - 1e-3:
                best, (cost, ways) = tried, there
    if best == wall:
        return None
    zones = exchanged(parting.zones, wall, best)
    return Parting(zones, shadows.directions[ways], cost, ordered), best


def _neighbours(
    wall: PartingWall, turn: float, shift_mm: float, shadows: Shadows
) -> list[PartingWall]:
    """Walls near one: turned, tilted, shifted, all about its foot in the middle of the body."""
    middle = shadows.points_mm.mean(axis=0) if len(shadows.points_mm) else np.zeros(3)
    n = np.array(wall.normal)
    foot = middle - (middle @ n - wall.offset_mm) * n
    found = []
    for t, r, s in product((-1, 0, 1), repeat=3):
        normal = n + np.tan(t * turn) * wall.across + np.tan(r * turn) * wall.rise
        normal /= np.linalg.norm(normal)
        if (t, r, s) != (0, 0, 0) and abs(normal[2]) < STEEPEST_TILT:
            x, y, z = (float(c) for c in normal)
            found.append(PartingWall((x, y, z), float(foot @ normal) + s * shift_mm))
    return found


def _parts(skin: Floats, wall: PartingWall) -> bool:
    """Whether a fair share of the skin lies on either side."""
    ahead = float((wall.depth(*skin.T) > 0).mean())
    return 0.15 < ahead < 0.85


def skin_points(shadows: Shadows) -> Floats:
    """(M, 3) points of the coarse grid on the skin's surface above the board."""
    near = np.argwhere(np.abs(shadows.phi) < 0.5 * shadows.grid.step_mm)
    points = np.array(shadows.grid.low_mm) + shadows.grid.step_mm * near
    return np.asarray(points[points[:, 2] > 0])


def _bent(
    shadows: Shadows, parting: Parting, wall: PartingWall, draft_deg: float, rules: Rules
) -> tuple[Parting, PartingWall] | None:
    """The wall bent where it leaves the least fill under the present pulls."""
    found = bent_wall(shadows, parting.zones, parting.pulls, wall, draft_deg=draft_deg)
    if found is None or not rules.allow(found[0], shadows.mirror):
        return None
    zones = exchanged(parting.zones, wall, found[0])
    return replace(parting, zones=zones, fill_cm3=parting.fill_cm3 - found[1]), found[0]
