"""What each pull direction would need as fill, wherever the shell is parted.

Each direction sweeps its own shadow out of the skin, whatever the parting. So a sheaf of
directions is swept once on a coarse grid, and the search only adds up shadows.
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
SHEAF = 100
STEEPEST_ONE_PIECE = 0.75  # least upward part of the pull of a shell in one piece
LOWEST_PULL = float(np.sin(0.12))  # least upward part of any pull: it clears the board
MIRRORED_MM = 1.0  # a skin this near to its mirror image counts as symmetric
MIRROR_ANGLES = 24


@dataclass(frozen=True)
class Shadows:
    """What each direction of a sheaf would need as fill, on a coarse grid.

    Args:
        phi, grid: the skin on the coarse grid.
        directions: (D, 3) unit vectors, all off the board.
        fills: (D, N) cm3 of fill at the points that any direction fills.
        points_mm: (N, 3) those points.
        mirror: the upright plane that the skin is the same on both sides of, if there is one.
    """

    phi: Field
    grid: Grid
    directions: Floats
    fills: NDArray[np.float32]
    points_mm: Floats
    mirror: PartingWall | None

    def in_zone(self, zone: Zone) -> Flags:
        """(N,) which of the points lie in a zone."""
        return np.broadcast_to(zone.into(*self.points_mm.T) >= 0, len(self.points_mm))

    def cells_in(self, zone: Zone) -> Flags:
        """Which points of the whole coarse grid lie in a zone."""
        return np.broadcast_to(zone.into(*self.grid.axes()) >= 0, self.phi.shape)


def cast_shadows(
    shape: SkinShape, *, draft_deg: float, coarse_steps: int = COARSE_STEPS
) -> Shadows:
    """The fill of every direction in the sheaf.

    Args:
        shape: the skin.
        draft_deg: least lean between the shell's faces and the pull.
        coarse_steps: the coarse grid's step, in steps of the skin's grid.
    """
    n = coarse_steps
    phi = np.ascontiguousarray(shape.phi[::n, ::n, ::n])
    grid = Grid(shape.grid.low_mm, n * shape.grid.step_mm, _shape3(phi))
    directions = _sheaf(draft_deg)
    rows = [fill_of(phi, grid, d, draft_deg) for d in directions]
    fills = np.stack([row.ravel() for row in rows])
    used = np.flatnonzero(fills.any(axis=0))
    ijk = np.stack(np.unravel_index(used, phi.shape), axis=1)
    points = np.array(grid.low_mm) + grid.step_mm * ijk
    return Shadows(phi, grid, directions, fills[:, used], points, find_mirror(phi, grid))


def find_mirror(phi: Field, grid: Grid) -> PartingWall | None:
    """The upright plane that a skin is its own mirror image in, or None."""
    near = np.argwhere(np.abs(phi) < grid.step_mm)
    points = np.array(grid.low_mm) + grid.step_mm * near
    there = phi[tuple(near.T)]

    def error_mm(angle: float, shift_mm: float) -> float:
        wall = _upright(points, angle, shift_mm)
        image = points - 2 * (points @ wall.normal - wall.offset_mm)[:, None] * wall.normal
        return float(np.abs(sample(phi, grid, image) - there).mean())

    angles = np.arange(MIRROR_ANGLES) * np.pi / MIRROR_ANGLES
    best = min((error_mm(angle, 0.0), angle, 0.0) for angle in angles)
    for turn, shift in ((0.06, 1.2), (0.03, 0.6), (0.01, 0.3)):
        near_by = [
            (best[1] + t * turn, best[2] + s * shift) for t in (-1, 0, 1) for s in (-1, 0, 1)
        ]
        best = min((error_mm(*tried), *tried) for tried in near_by)
    return _upright(points, best[1], best[2]) if best[0] < MIRRORED_MM else None


def _upright(points: Floats, angle: float, shift_mm: float) -> PartingWall:
    """The upright plane through the middle of points, or beside it."""
    x, y = float(np.cos(angle)), float(np.sin(angle))
    across = points[:, :2] @ (x, y)
    return PartingWall((x, y, 0.0), float(across.mean()) + shift_mm)


def refined(
    shadows: Shadows,
    pull: Floats,
    zone: Zone,
    *,
    draft_deg: float,
    least_z: float = LOWEST_PULL,
    but_for: tuple[PartingWall, ...] = (),
) -> tuple[Floats, float]:
    """The pull turned in small steps as long as that saves fill in its zone, and that fill."""
    best, fill = pull, fill_within(shadows, pull, zone, draft_deg)
    for turn_deg in (6.0, 2.5):
        for tried in _turned(best, turn_deg):
            leaves = zone.is_left_by(tried, draft_deg=draft_deg, but_for=but_for)
            if tried[2] < least_z or not leaves:
                continue
            cost = fill_within(shadows, tried, zone, draft_deg)
            if cost < fill - 0.02:
                best, fill = tried, cost
    return best, fill


def fill_within(shadows: Shadows, pull: Floats, zone: Zone, draft_deg: float) -> float:
    """cm3 of fill that a pull needs in a zone of the coarse grid."""
    fill = fill_of(shadows.phi, shadows.grid, pull, draft_deg, zone=zone)
    return float(fill[shadows.cells_in(zone)].sum())


def fill_of(
    phi: Field, grid: Grid, pull: Floats, draft_deg: float, *, zone: Zone = EVERYWHERE
) -> Field:
    """cm3 of fill in each cell of the grid for one pull; the border's cells count in part.

    Where a zone is given, only cells in it are right.
    """
    s = swept(phi, grid, pull=pull, draft_deg=draft_deg, up_to_mm=0.6 * grid.step_mm, zone=zone)
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
