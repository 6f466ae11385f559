"""Where to part the shell and which way each piece comes off, for the least fill.

Each pull direction sweeps its own shadow out of the skin, whatever the parting. So a sheaf of
directions is swept once on a coarse grid, and every upright parting plane then only adds up
the shadows on its two sides and takes the cheapest pull on each. Three and four pieces are
made in the same way from two and three planes, see ``wedges``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.grid import Field, Grid, sample
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept
from firstpull.core.mould.zone import EVERYWHERE, PartingWall, Zone

COARSE_STEPS = 4  # of the skin's grid
PLANE_ANGLES = 12
PLANE_OFFSETS = 9
MIRRORED_MM = 1.0  # a skin this near to its mirror image counts as symmetric
MIRROR_WORTH_CM3 = 8.0  # silicone that a seam down the middle is worth; common practice
SHEAF = 100
STEEPEST_ONE_PIECE = 0.75  # least upward part of the pull of a shell in one piece
LEAST_SHARE = 0.25  # of the body's width on the smaller side of the plane


@dataclass(frozen=True)
class Parting:
    """A shell in one piece or several.

    Args:
        zones: where each piece lives, in the order they come off.
        pulls: (P, 3) unit vectors.
        fill_cm3: silicone that must close the shadows, by the coarse grid of the search.
    """

    zones: tuple[Zone, ...]
    pulls: Floats
    fill_cm3: float

    @property
    def walls(self) -> tuple[PartingWall, ...]:
        """Each wall between zones once, as the first zone beside it sees it."""
        found: list[PartingWall] = []
        for wall in (wall for zone in self.zones for wall in zone.walls):
            if wall not in found and wall.turned not in found:
                found.append(wall)
        return tuple(found)


@dataclass(frozen=True)
class Shadows:
    """What each direction of a sheaf would need as fill, on a coarse grid.

    Args:
        phi, grid: the skin on the coarse grid.
        directions: (D, 3) unit vectors, all off the board.
        fills: (D, N) cm3 of fill at the points that any direction fills.
        points_mm: (N, 3) those points.
    """

    phi: Field
    grid: Grid
    directions: Floats
    fills: NDArray[np.float32]
    points_mm: Floats


def cast_shadows(shape: SkinShape, *, draft_deg: float) -> Shadows:
    """The fill of every direction in the sheaf."""
    n = COARSE_STEPS
    phi = np.ascontiguousarray(shape.phi[::n, ::n, ::n])
    grid = Grid(shape.grid.low_mm, n * shape.grid.step_mm, _shape3(phi))
    directions = _sheaf(draft_deg)
    rows = [_fill_of(phi, grid, d, draft_deg) for d in directions]
    fills = np.stack([row.ravel() for row in rows])
    used = np.flatnonzero(fills.any(axis=0))
    ijk = np.stack(np.unravel_index(used, phi.shape), axis=1)
    return Shadows(
        phi, grid, directions, fills[:, used], np.array(grid.low_mm) + grid.step_mm * ijk
    )


def part_in_one(shadows: Shadows, *, draft_deg: float) -> Parting:
    """One piece: the pull with the least fill among those that point well up."""
    up = np.flatnonzero(shadows.directions[:, 2] >= STEEPEST_ONE_PIECE)
    best = up[np.argmin(shadows.fills[up].sum(axis=1))]
    everything = np.ones(shadows.phi.shape, dtype=bool)
    pull, fill = _refined(
        shadows, shadows.directions[best], everything, EVERYWHERE, draft_deg, STEEPEST_ONE_PIECE
    )
    return Parting((EVERYWHERE,), pull[None], fill)


def part_in_two(shadows: Shadows, *, draft_deg: float) -> Parting:
    """Two pieces: an upright plane through the part and a pull for each side."""
    best: tuple[float, Zone, int, int] | None = None
    for angle in np.arange(PLANE_ANGLES) * np.pi / PLANE_ANGLES:
        normal = np.array([np.cos(angle), np.sin(angle), 0.0])
        offsets = plane_offsets(shadows, normal)
        ways = [_best_offset(shadows, normal, offsets, draft_deg)]
        middle = offsets[len(offsets) // 2]
        if mirror_error_mm(shadows, normal, float(middle)) < MIRRORED_MM:
            way = _best_offset(shadows, normal, np.array([middle]), draft_deg)
            ways.append((way[0] - MIRROR_WORTH_CM3, *way[1:]))
        for found in ways:
            if best is None or found[0] < best[0]:
                best = found
    assert best is not None
    _, zone, ahead, behind = best
    other = Zone((zone.walls[0].turned,))
    return settled(shadows, (zone, other), (ahead, behind), draft_deg=draft_deg)


def settled(
    shadows: Shadows, zones: tuple[Zone, ...], directions: tuple[int, ...], *, draft_deg: float
) -> Parting:
    """The parting with each zone's pull turned from the sheaf's to where it saves most."""
    pulls, fills = [], []
    for zone, index in zip(zones, directions, strict=True):
        within = np.broadcast_to(zone.into(*shadows.grid.axes()) >= 0, shadows.phi.shape)
        pull, fill = _refined(
            shadows, shadows.directions[index], within, zone, draft_deg, np.sin(0.12)
        )
        pulls.append(pull)
        fills.append(fill)
    return Parting(zones, np.stack(pulls), float(sum(fills)))


def plane_offsets(shadows: Shadows, normal: Floats) -> Floats:
    """Where planes with this normal may stand; the middle one halves the body's width."""
    body = np.argwhere(shadows.phi < 0)[:, :2] * shadows.grid.step_mm + shadows.grid.low_mm[:2]
    across = body @ normal[:2]
    low, high = float(across.min()), float(across.max())
    return 0.5 * (low + high) + (high - low) * np.linspace(
        LEAST_SHARE - 0.5, 0.5 - LEAST_SHARE, PLANE_OFFSETS
    )


def mirror_error_mm(shadows: Shadows, normal: Floats, offset_mm: float) -> float:
    """How far, in the mean, the skin's surface lies from its mirror image in a plane."""
    near = np.argwhere(np.abs(shadows.phi) < shadows.grid.step_mm)
    points = np.array(shadows.grid.low_mm) + shadows.grid.step_mm * near
    image = points - 2 * (points @ normal - offset_mm)[:, None] * normal
    there = shadows.phi[tuple(near.T)]
    return float(np.abs(sample(shadows.phi, shadows.grid, image) - there).mean())


def _best_offset(
    shadows: Shadows, normal: Floats, offsets: Floats, draft_deg: float
) -> tuple[float, Zone, int, int]:
    """The cheapest of these planes: cost, zone ahead, pull ahead, pull behind."""
    middle, width = float(offsets.mean()), 2 * float(np.ptp(offsets))
    at = np.searchsorted(offsets, shadows.points_mm[:, :2] @ normal[:2], side="right")
    slots = np.zeros((len(shadows.directions), len(offsets) + 1))
    for slot in range(len(offsets) + 1):
        slots[:, slot] = shadows.fills[:, at == slot].sum(axis=1)
    below = np.cumsum(slots, axis=1)[:, :-1]
    above = slots.sum(axis=1)[:, None] - below
    lean = shadows.directions @ normal
    least = np.sin(np.radians(max(draft_deg, 3.0)))
    above[lean < least] = np.inf
    below[lean > -least] = np.inf
    # equal fills: the plane through the middle, and pulls that rise
    cost = above.min(axis=0) + below.min(axis=0)
    cost = cost * 1.001 + 0.02 * np.abs(offsets - middle) / max(width, 1.0) * cost.min()
    k = int(np.argmin(cost))
    zone = Zone.beyond(normal, float(offsets[k]))
    return float(cost[k]), zone, int(np.argmin(above[:, k])), int(np.argmin(below[:, k]))


def _refined(
    shadows: Shadows, pull: Floats, within: Flags, zone: Zone, draft_deg: float, least_z: float
) -> tuple[Floats, float]:
    """The pull turned in small steps as long as that saves fill in its zone."""
    best, fill = pull, _fill_within(shadows, pull, within, draft_deg)
    for turn_deg in (6.0, 2.5):
        for tried in _turned(best, turn_deg):
            if tried[2] < least_z or not zone.is_left_by(tried, draft_deg=draft_deg):
                continue
            cost = _fill_within(shadows, tried, within, draft_deg)
            if cost < fill - 0.02:
                best, fill = tried, cost
    return best, fill


def _fill_within(shadows: Shadows, pull: Floats, within: Flags, draft_deg: float) -> float:
    fill = _fill_of(shadows.phi, shadows.grid, pull, draft_deg)
    return float(fill[within].sum())


def _fill_of(phi: Field, grid: Grid, pull: Floats, draft_deg: float) -> Field:
    """cm3 of fill in each cell of the grid for one pull; the border's cells count in part."""
    s = swept(phi, grid, pull=pull, draft_deg=draft_deg, up_to_mm=0.6 * grid.step_mm)
    above_board = (grid.axis(2) > 0)[None, None, :]
    share = np.clip(0.5 - s / grid.step_mm, 0, 1) - np.clip(0.5 - phi / grid.step_mm, 0, 1)
    return np.where(above_board, share * np.float32(grid.step_mm**3 / 1000), 0).astype(np.float32)


def _sheaf(draft_deg: float) -> Floats:
    """(D, 3) directions spread evenly over the upper half-space, straight up among them."""
    n = np.arange(2 * SHEAF) + 0.5
    z = 1 - n / SHEAF
    angle = np.pi * (1 + 5**0.5) * n
    flat = np.sqrt(1 - z * z)
    ball = np.stack([flat * np.cos(angle), flat * np.sin(angle), z], axis=1)
    upper = ball[ball[:, 2] >= max(np.sin(np.radians(draft_deg)), 0.12)]
    return np.vstack([[0.0, 0.0, 1.0], upper])


def _turned(direction: Floats, by_deg: float) -> list[Floats]:
    """Eight directions around one."""
    side = np.cross(direction, [0.0, 1.0, 0.0] if abs(direction[1]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(direction, side)
    by = np.radians(by_deg)
    return [
        np.cos(by) * direction + np.sin(by) * (np.cos(a) * side + np.sin(a) * other)
        for a in np.arange(8) * np.pi / 4
    ]


def _shape3(field: Field) -> tuple[int, int, int]:
    return field.shape[0], field.shape[1], field.shape[2]
