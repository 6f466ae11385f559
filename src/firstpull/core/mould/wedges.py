"""Three and four shell pieces: a plane through the part, and further planes through its sides.

Fill is a sum over points, and a zone of up to two planes is a corner of the table that counts
a direction's fill by the slots between parallel planes of two angles. So all pairs of planes
are weighed from one table for each pair of angles.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement, product
from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mould.parting import (
    NO_RULES,
    Candidates,
    Parting,
    Rules,
    candidates,
    part_in_one,
    part_in_two,
    settled,
    sheaf_lean,
)
from firstpull.core.mould.shadows import Shadows
from firstpull.core.mould.zone import PartingWall, Zone

MOST_PIECES = 4
LEAST_SKIN_SHARE = 0.08  # of the skin that a piece must cover; less is a splinter


@dataclass(frozen=True)
class _Planes:
    """The upright planes that are tried.

    Args:
        walls: their (A, 3) normals, (A, K) offsets and what a seam there is worth besides.
        fills: (D, N) cm3 of fill in each upright column, for each direction.
        fill_at: (A, N) slot between the planes of each angle that each column lies in.
        skin_at: (A, M) the same for points of the skin's surface.
    """

    walls: Candidates
    fills: Floats
    fill_at: Ints
    skin_at: Ints


@dataclass(frozen=True)
class _Side:
    """One side of a plane: kept whole or parted by another plane.

    Args:
        cost: cm3, mirror worth taken off.
        pulls: numbers of the directions, one for each piece.
        zones: the pieces' zones.
    """

    cost: float
    pulls: tuple[int, ...]
    zones: tuple[Zone, ...]


def part_in(
    shadows: Shadows, *, pieces: int, draft_deg: float, rules: Rules = NO_RULES
) -> Parting | None:
    """The parting in so many pieces with the least fill, or None where there is none.

    Args:
        shadows: as cast.
        pieces: 1 to 4. Three are a plane and a second one through one of its sides; four have
            one through either side.
        draft_deg: least lean of a pull to the planes of its zone.
        rules: where no plane may stand.

    Each piece leaves its zone along its own pull, so they come off in any order.
    """
    if pieces == 1:
        return part_in_one(shadows, draft_deg=draft_deg)
    if pieces == 2:
        return part_in_two(shadows, draft_deg=draft_deg, rules=rules)
    return part_further(shadows, draft_deg=draft_deg, rules=rules).get(pieces)


def part_further(
    shadows: Shadows, *, draft_deg: float, rules: Rules = NO_RULES
) -> dict[int, Parting]:
    """The best parting in three and in four pieces, those that there are."""
    planes = _planes_through(shadows, rules)
    lean = shadows.directions @ planes.walls.normals.T
    whole, parted = _tables(planes, lean, sheaf_lean(draft_deg))
    best: dict[int, _Side] = {}
    for a, i in product(range(len(planes.walls.normals)), range(planes.walls.offsets.shape[1])):
        kept = [_whole_side(planes, whole, a, i, s) for s in (0, 1)]
        cut = [_parted_side(planes, parted, a, i, s) for s in (0, 1)]
        for pieces, one, other in (
            (3, kept[0], cut[1]),
            (3, cut[0], kept[1]),
            (4, cut[0], cut[1]),
        ):
            if one is None or other is None or planes.walls.worth_cm3[a, i] == -np.inf:
                continue
            cost = one.cost + other.cost - float(planes.walls.worth_cm3[a, i])
            if pieces not in best or cost < best[pieces].cost:
                best[pieces] = _Side(cost, one.pulls + other.pulls, one.zones + other.zones)
    return {
        pieces: settled(
            shadows, found.zones, shadows.directions[list(found.pulls)], draft_deg=draft_deg
        )
        for pieces, found in sorted(best.items())
    }


def _planes_through(shadows: Shadows, rules: Rules) -> _Planes:
    walls = candidates(shadows, rules)
    near = np.argwhere(np.abs(shadows.phi) < 0.5 * shadows.grid.step_mm)
    skin = np.array(shadows.grid.low_mm) + shadows.grid.step_mm * near
    skin = skin[skin[:, 2] > 0]
    places, fills = _columns(shadows)
    return _Planes(
        walls,
        fills,
        _slots(places, walls.normals, walls.offsets),
        _slots(skin, walls.normals, walls.offsets),
    )


def _columns(shadows: Shadows) -> tuple[Floats, Floats]:
    """(N, 3) and (D, N) the shadow points one above the other as one: planes are upright."""
    from scipy.sparse import coo_matrix

    places, column = np.unique(shadows.points_mm[:, :2], axis=0, return_inverse=True)
    rows = np.arange(len(column))
    gather = coo_matrix((np.ones(len(column)), (rows, column.ravel())))
    return np.column_stack([places, np.zeros(len(places))]), np.asarray(shadows.fills @ gather)


def _slots(points: Floats, normals: Floats, offsets: Floats) -> Ints:
    rows = [
        np.searchsorted(o, points @ n, side="right") for n, o in zip(normals, offsets, strict=True)
    ]
    return np.stack(rows).astype(np.int32)


def _tables(
    planes: _Planes, lean: Floats, least: float
) -> tuple[tuple[Floats, Ints], tuple[Floats, Ints]]:
    """For each plane and side the cheapest pull, and for each two planes and quarter as well.

    Returns:
        (A, K, 2) costs and directions; (A, A, K, K, 2, 2) costs and directions. Sides are 0
        ahead, 1 behind; a piece without a pull that leaves it, or that is a splinter, costs
        infinity.
    """
    count, slots = len(planes.walls.normals), planes.walls.offsets.shape[1]
    quarter = np.full((count, count, slots, slots, 2, 2), np.inf)
    way = np.zeros(quarter.shape, dtype=np.int32)
    side = np.full((count, slots, 2), np.inf)
    side_way = np.zeros(side.shape, dtype=np.int32)
    enough = LEAST_SKIN_SHARE * planes.skin_at.shape[1]
    signs = (1.0, -1.0)
    ones = np.ones((1, planes.skin_at.shape[1]))
    for a, b in combinations_with_replacement(range(count), 2):
        fill = _counted(planes.fills, planes.fill_at[a], planes.fill_at[b], slots + 1)
        skin = _counted(ones, planes.skin_at[a], planes.skin_at[b], slots + 1)
        for s, t in product((0, 1), repeat=2):
            cost = _corner(fill, s, t)
            leaves = (signs[s] * lean[:, a] >= least) & (signs[t] * lean[:, b] >= least)
            cost[~leaves] = np.inf
            cost[:, _corner(skin, s, t)[0] < enough] = np.inf
            way[a, b, :, :, s, t] = cost.argmin(axis=0)
            quarter[a, b, :, :, s, t] = cost.min(axis=0)
        quarter[b, a] = quarter[a, b].transpose(1, 0, 3, 2)
        way[b, a] = way[a, b].transpose(1, 0, 3, 2)
        for s in (0, 1) if a == b else ():
            cost = (_corner(fill, s, 0) + _corner(fill, s, 1))[:, :, 0]
            cost[signs[s] * lean[:, a] < least] = np.inf
            side_way[a, :, s] = cost.argmin(axis=0)
            side[a, :, s] = cost.min(axis=0)
    return (side, side_way), (quarter, way)


@njit(cache=True)
def _counted(fills: Any, at_a: Any, at_b: Any, slots: int) -> Any:
    """(D, S, S) each direction's fill by the slots of two angles."""
    table = np.zeros((len(fills), slots, slots))
    for d in range(len(fills)):
        for n in range(len(at_a)):
            table[d, at_a[n], at_b[n]] += fills[d, n]
    return table


def _corner(table: Any, s: int, t: int) -> Any:
    """(D, K, K) the sum ahead of or behind plane i of one angle and plane j of the other."""
    total = table if s else table[:, ::-1]
    total = total if t else total[:, :, ::-1]
    total = total.cumsum(axis=1).cumsum(axis=2)[:, :-1, :-1]
    total = total if s else total[:, ::-1]
    return (total if t else total[:, :, ::-1]).copy()


def _plane(planes: _Planes, a: int, i: int, side: int) -> PartingWall:
    plane = Zone.beyond(planes.walls.normals[a], float(planes.walls.offsets[a, i])).walls[0]
    return plane.turned if side else plane


def _whole_side(
    planes: _Planes, table: tuple[Floats, Ints], a: int, i: int, side: int
) -> _Side | None:
    cost = float(table[0][a, i, side])
    if not np.isfinite(cost):
        return None
    return _Side(cost, (int(table[1][a, i, side]),), (Zone((_plane(planes, a, i, side),)),))


def _parted_side(
    planes: _Planes, table: tuple[Floats, Ints], a: int, i: int, side: int
) -> _Side | None:
    """The side parted by the plane that leaves the least fill."""
    both = table[0][a, :, i, :, side, :].sum(axis=-1) - planes.walls.worth_cm3
    b, j = (int(k) for k in np.unravel_index(int(np.argmin(both)), both.shape))
    if not np.isfinite(both[b, j]):
        return None
    ways = table[1][a, b, i, j, side]
    zone = Zone((_plane(planes, a, i, side),))
    zones = tuple(zone.within(_plane(planes, b, j, t)) for t in (0, 1))
    return _Side(float(both[b, j]), (int(ways[0]), int(ways[1])), zones)
