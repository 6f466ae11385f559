"""The bend of a wall that leaves the least fill, where a crest or crease wanders.

Seen along the rise of a wall, shadow points are spots on a map: u across, w out of the wall.
A wall is a line over u. Each spot ahead of it costs the fill of the piece there, each behind
it that of the piece there, so the cheapest line is a shortest way through the map from one
end to the other, with slopes no steeper than the pulls of the pieces beside it allow. The way
found is the least of all on the map (dynamic programming).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mould.shadows import Shadows, fill_of
from firstpull.core.mould.zone import PartingWall, Zone

Indices = NDArray[np.int64]

REACH_SHARE = 0.2  # of the body's width that a bend may stand out
BINS_A_STEP = 2  # of the map, out of the wall
STEEPEST = 1.2  # slope of a bend: builders follow about 50 degrees
LONGER_CM3_MM = 0.01  # fill that each mm of a wall's extra length must save; common practice
KNOT_MM = 0.35  # coarse steps that the knots may stray from the way found


def bent_wall(
    shadows: Shadows,
    zones: tuple[Zone, ...],
    pulls: Floats,
    wall: PartingWall,
    *,
    draft_deg: float,
) -> tuple[PartingWall, float] | None:
    """The wall bent for the least fill, pulls held, and the cm3 that saves; None without a bend.

    Args:
        shadows: the skin on its coarse grid.
        zones, pulls: of the parting that the wall belongs to.
        wall: a plane among the zones' walls.
        draft_deg: least lean between the wall and the pulls.
    """
    slopes = _slopes(zones, pulls, wall, draft_deg)
    step = shadows.grid.step_mm
    du, dw = step, step / BINS_A_STEP
    u, w, ahead, behind = _spots(shadows, zones, pulls, wall, draft_deg)
    if not len(u):
        return None
    middle, reach = wall.offset_mm, _reach(shadows, wall)
    rows = 2 * int(np.ceil(reach / dw)) + 1
    first = float(u.min()) - 2 * du
    columns = int(np.ceil((float(u.max()) + 2 * du - first) / du)) + 1
    i = np.rint((u - first) / du).astype(np.int64)
    j = np.clip(np.ceil((w - middle) / dw).astype(np.int64) + rows // 2, 0, rows)
    cost = _column_costs(i, j, ahead, behind, columns, rows)
    reachable = np.arange(-int(STEEPEST * du / dw), int(STEEPEST * du / dw) + 1, dtype=np.int64)
    allowed = reachable[(reachable * dw / du >= slopes[0]) & (reachable * dw / du <= slopes[1])]
    if not len(allowed) or 0 not in allowed:
        return None
    longer = LONGER_CM3_MM * (np.hypot(du, allowed * dw) - du)
    way = _cheapest_way(cost, allowed, longer)
    line = np.column_stack([first + du * np.arange(columns), dw * (way - rows // 2)])
    if np.ptp(line[:, 1]) < 0.5 * step:
        return None
    new = _bent(wall, _knots(line, KNOT_MM * step), zones, pulls, draft_deg)
    if new is None:
        return None
    straight = cost[:, rows // 2].sum()
    return new, float(straight - cost[np.arange(columns), way].sum())


def _slopes(
    zones: tuple[Zone, ...], pulls: Floats, wall: PartingWall, draft_deg: float
) -> tuple[float, float]:
    """The least and greatest slope that every pull beside the wall leaves with its lean."""
    tried = np.linspace(-STEEPEST, STEEPEST, 241)
    facings = np.array(wall.normal) - tried[:, None] * wall.across
    facings /= np.linalg.norm(facings, axis=1, keepdims=True)
    fine = np.ones(len(tried), dtype=np.bool_)
    for zone, pull in zip(zones, pulls, strict=True):
        if wall in zone.walls or wall.turned in zone.walls:
            lean = facings @ pull * (1.0 if wall in zone.walls else -1.0)
            fine &= lean >= np.sin(np.radians(draft_deg)) + 1e-6
    fit = tried[fine]
    return (float(fit.min()), float(fit.max())) if len(fit) else (1.0, -1.0)


def _spots(
    shadows: Shadows,
    zones: tuple[Zone, ...],
    pulls: Floats,
    wall: PartingWall,
    draft_deg: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Of each shadow point: u, w, and its fill with the wall before or behind it."""
    x, y, z = shadows.grid.axes()
    sides = [np.zeros(shadows.phi.shape, np.float32) for _ in range(2)]
    for zone, pull in zip(zones, pulls, strict=True):
        for side, own in enumerate((wall, wall.turned)):
            if own in zone.walls:
                others = Zone(tuple(w for w in zone.walls if w != own))
                fill = fill_of(shadows.phi, shadows.grid, pull, draft_deg, zone=others)
                sides[side] += np.where(others.into(x, y, z) >= 0, fill, np.float32(0))
    where = np.flatnonzero((sides[0] > 0) | (sides[1] > 0))
    ijk = np.stack(np.unravel_index(where, shadows.phi.shape), axis=1)
    points = np.array(shadows.grid.low_mm) + shadows.grid.step_mm * ijk
    ahead, behind = (np.asarray(s.ravel()[where], dtype=np.float64) for s in sides)
    return points @ wall.across, points @ np.array(wall.normal), ahead, behind


def _reach(shadows: Shadows, wall: PartingWall) -> float:
    body = np.argwhere(shadows.phi < 0) * shadows.grid.step_mm
    return REACH_SHARE * float(np.ptp(body @ np.array(wall.normal)))


def _column_costs(
    i: Indices, j: Indices, ahead: Floats, behind: Floats, columns: int, rows: int
) -> Floats:
    """(C, R) fill in each column of the map for a wall through each of its rows."""
    front = np.zeros((columns, rows + 1))
    back = np.zeros((columns, rows + 1))
    np.add.at(front, (i, j), ahead)
    np.add.at(back, (i, j), behind)
    # a spot in slot j lies ahead of rows below j, and behind the others
    cost: Floats = front.sum(axis=1)[:, None] - front.cumsum(axis=1) + back.cumsum(axis=1)
    return cost[:, :rows]


@njit(cache=True)
def _cheapest_way(cost: Floats, moves: Indices, longer: Floats) -> Indices:
    """(C,) the row in each column of the cheapest way through."""
    columns, rows = cost.shape
    total = cost[0].copy()
    came = np.zeros((columns, rows), dtype=np.int64)
    for c in range(1, columns):
        here = np.full(rows, np.inf)
        for r in range(rows):
            for m in range(len(moves)):
                before = r - moves[m]
                if 0 <= before < rows and total[before] + longer[m] < here[r]:
                    here[r] = total[before] + longer[m]
                    came[c, r] = before
        total = here + cost[c]
    way = np.zeros(columns, dtype=np.int64)
    way[-1] = np.argmin(total)
    for c in range(columns - 1, 0, -1):
        way[c - 1] = came[c, way[c]]
    return way


def _knots(line: Floats, stray_mm: float) -> Floats:
    """The fewest knots of a line that none of its points strays from, by halving."""
    keep = np.zeros(len(line), dtype=np.bool_)
    keep[[0, -1]] = True
    open_runs = [(0, len(line) - 1)]
    while open_runs:
        a, b = open_runs.pop()
        inside = line[a + 1 : b]
        off = np.abs(inside[:, 1] - np.interp(inside[:, 0], line[[a, b], 0], line[[a, b], 1]))
        if len(off) and off.max() > stray_mm:
            k = a + 1 + int(off.argmax())
            keep[k] = True
            open_runs += [(a, k), (k, b)]
    return line[keep]


def _bent(
    wall: PartingWall, knots: Floats, zones: tuple[Zone, ...], pulls: Floats, draft_deg: float
) -> PartingWall | None:
    """The wall with this bend, or None where a pull would run into it."""
    bend = tuple((float(u), float(out)) for u, out in knots)
    new = PartingWall(wall.normal, wall.offset_mm, bend)
    for zone, pull in zip(zones, pulls, strict=True):
        for own, seen in ((wall, new), (wall.turned, new.turned)):
            if own in zone.walls and not Zone((seen,)).is_left_by(pull, draft_deg=draft_deg):
                return None
    return new
