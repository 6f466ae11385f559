"""What a rigid piece in a pocket of fill looks like, and which way it leaves.

What stays in its way is the plain skin, the fill of other pockets, and what its pull cannot
free. The piece lies where the sweep of all that is positive, so it leaves by construction.

Where piece and silicone meet at a sharp edge the piece would end in a feather. What no ball of
3 mm reaches, rolling inside the piece, stays silicone, and the sweep is made again past it. A
bead of silicone thinner than a cell would be lost between grid points, so the sweep keeps half a
cell off it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid, sample, signed_distance
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene
from firstpull.core.mesh.solid import mesh_of_largest, solid
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.access import off_board, pull_directions
from firstpull.core.mould.fill_guide import FillPlace
from firstpull.core.mould.shell import SkinAndShell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept, with_soft_valleys
from firstpull.core.mould.zone import PartingWall, Zone

NEXT_STEPS = 2  # of the grid, so far around a pocket fill may belong to none
LEAST_CM3 = 1.0  # a smaller piece is lost or glued in; common practice
LEAST_SHARE = 0.2  # of the pocket's fill: a piece that takes less is not worth its making
THICK_MM = 5.0  # off the plain skin: fill nearer to it does not count for a loose piece
RIGID_GAP_MM = 0.3  # between printed faces that must come apart; common practice
BALL_MM = 1.5  # radius: what is thinner than 3 mm is a feather
BLUNT = 0.75  # radii around the ball that an edge keeps: edges over some 70 degrees stay whole
CUTS = 3  # rounds of cutting feathers back
SETTLED = 0.01  # of the piece: cutting back less than this is done
BEYOND_MM = 6.0  # the room is cut so far out through the filled surface
REACH_MM = 12.0  # distances around a pocket are told up to here
SEARCH_MM = 4.0  # grid of the search for a pull
DIVISIONS = 8  # of the directions tried
RAYS = 4000  # of each direction
WORTH_TURN = 0.005  # of the pocket's fill, which the search's grid can tell
FRONT = 6  # directions that are then swept
TURNS_DEG = (6.0, 2.5)


def own_points(
    grid: Grid, plain: Field, filled: Field, place: FillPlace, elsewhere: list[NDArray[np.int64]]
) -> Flags:
    """The points whose fill may go: the pocket's, those between it and other pockets that belong
    to none, and those under it below the board, where a piece may stand.
    """
    from scipy.ndimage import binary_dilation

    own = np.zeros(grid.shape, dtype=bool)
    own.ravel()[place.cells] = True
    foot = int(np.searchsorted(grid.axis(2), 0.0))
    own[:, :, :foot] = own[:, :, foot, None] & (plain[:, :, :foot] > 0)
    free = (filled < 0.5 * grid.step_mm) & (filled < plain)
    for cells in elsewhere:
        free.ravel()[cells] = False
    return np.asarray(own | binary_dilation(own, np.ones((3, 3, 3)), NEXT_STEPS, mask=free))


@dataclass(frozen=True)
class Pocket:
    """A pocket's surroundings.

    Args:
        cut: its part of the skin's grid.
        grid: that part.
        others: over the whole grid, distance to what stays silicone whatever its pull: the
            plain skin and the fill of other pockets.
        filled: in the part, distance to the filled skin.
        whole: the filled skin's field over the whole grid.
        cells: the pocket's points that thick fill reaches, as flat indices into the whole grid.
        points_mm, cm3: those points, and the fill in each.
    """

    cut: tuple[slice, ...]
    grid: Grid
    others: Field
    filled: Field
    whole: Field
    cells: NDArray[np.int64]
    points_mm: Floats
    cm3: Floats

    @staticmethod
    def of(shape: SkinShape, plain: Field, filled: Field, place: FillPlace, own: Flags) -> Pocket:
        grid = shape.grid
        stays = np.where(own, plain, filled)
        others = signed_distance(contour(stays, grid), grid, reach_mm=shape.reach_mm)
        np.minimum(others, plain, out=others)
        margin = int(np.ceil((2 * BEYOND_MM) / grid.step_mm)) + 2
        ijk = np.stack(np.unravel_index(place.cells, grid.shape), axis=1)
        low = np.maximum(ijk.min(axis=0) - margin, 0)
        high = np.minimum(ijk.max(axis=0) + margin + 1, grid.shape)
        cut = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
        corner = np.array(grid.low_mm) + grid.step_mm * low
        n = high - low
        part = Grid(
            (float(corner[0]), float(corner[1]), float(corner[2])),
            grid.step_mm,
            (int(n[0]), int(n[1]), int(n[2])),
        )
        # a true distance also where the fields of two shell pieces meet with a jump
        around = signed_distance(contour(filled[cut], part), part, reach_mm=REACH_MM)
        thick = place.cells[plain.ravel()[place.cells] > THICK_MM]
        cm3 = _filled_share(filled.ravel()[thick], grid) * grid.step_mm**3 / 1000
        cells, cm3 = thick[cm3 > 0], cm3[cm3 > 0]
        points = np.array(grid.low_mm) + grid.step_mm * np.stack(
            np.unravel_index(cells, grid.shape), axis=1
        )
        return Pocket(cut, part, others, around, filled, cells, points, cm3)

    @property
    def thick_cm3(self) -> float:
        """The fill that counts."""
        return float(self.cm3.sum())

    def left_cm3(self, field: Field) -> float:
        """What of it is left with another filled skin."""
        share = _filled_share(field.ravel()[self.cells], self.grid)
        return float(share.sum()) * self.grid.step_mm**3 / 1000

    @property
    def zone(self) -> Zone:
        """The upright shaft around it."""
        low = np.array(self.grid.low_mm)
        high = low + self.grid.step_mm * (np.array(self.grid.shape) - 1)
        sides = [((1.0, 0.0, 0.0), low[0]), ((0.0, 1.0, 0.0), low[1])]
        sides += [((-1.0, 0.0, 0.0), -high[0]), ((0.0, -1.0, 0.0), -high[1])]
        return Zone(tuple(PartingWall(normal, float(at)) for normal, at in sides))


def _filled_share(levels: NDArray[np.float32], grid: Grid) -> Floats:
    """How much of each cell lies where a field is negative."""
    return np.clip(0.5 - levels.astype(np.float64) / grid.step_mm, 0, 1)


def best_pull(
    pocket: Pocket, shape: SkinShape, clearance_mm: float, draft_deg: float
) -> tuple[Floats, float, int]:
    """The pull that frees the most of the pocket's fill, that share, and how many were tried.

    All directions are tried with rays alone, the best of them and those around it with sweeps.
    """
    n = max(1, round(SEARCH_MM / shape.grid.step_mm))
    field = np.ascontiguousarray(pocket.others[::n, ::n, ::n])
    a, b, c = field.shape
    grid = Grid(shape.grid.low_mm, n * shape.grid.step_mm, (a, b, c))
    zone = pocket.zone

    def share(pull: Floats) -> float:
        s = swept(
            field, grid, pull=pull, draft_deg=draft_deg, up_to_mm=clearance_mm + grid.step_mm,
            zone=zone,
        )  # fmt: skip
        free = np.clip(
            0.5 + (sample(s, grid, pocket.points_mm) - clearance_mm) / grid.step_mm, 0, 1
        )
        return float(pocket.cm3 @ free) / pocket.thick_cm3

    ways = _directions(draft_deg)
    seen = _share_seen(pocket, contour(field, grid), ways)
    front = ways[np.argsort(-seen)[:FRONT]]
    shares = np.array([share(way) for way in front])
    best, most, tried = front[int(shares.argmax())], float(shares.max()), len(ways)
    for turn_deg in TURNS_DEG:
        around = _turned(best, turn_deg)
        around = around[off_board(around, draft_deg=draft_deg)]
        tried += len(around)
        for way in around:
            if (found := share(way)) > most + WORTH_TURN:
                best, most = way, found
    return best, most, tried


def _share_seen(pocket: Pocket, stays: Mesh, ways: Floats) -> Floats:
    """(D,) share of a pocket's fill that sees the open along each direction."""
    some = np.arange(0, len(pocket.cm3), max(1, len(pocket.cm3) // RAYS))
    points, weight = pocket.points_mm[some], pocket.cm3[some] / pocket.cm3[some].sum()
    scene = RayScene(stays)
    return np.array([weight[~scene.is_blocked(points, way)].sum() for way in ways])


def _directions(draft_deg: float) -> Floats:
    """(D, 3) ways off the board; the lowest of them are level ones, tilted up just so far."""
    ways = pull_directions(divisions=DIVISIONS)
    level = ways[np.abs(ways[:, 2]) < 1e-9]
    rise = np.radians(draft_deg)
    low = np.column_stack([level[:, :2] * np.cos(rise), np.full(len(level), np.sin(rise))])
    return np.concatenate([ways[off_board(ways, draft_deg=draft_deg) & (ways[:, 2] > 0)], low])


def _turned(way: Floats, by_deg: float) -> Floats:
    """(8, 3) directions around one."""
    side = np.cross(way, np.eye(3)[int(np.abs(way).argmin())])
    side /= np.linalg.norm(side)
    around = np.arange(8)[:, None] * np.pi / 4
    out = np.cos(around) * side + np.sin(around) * np.cross(way, side)
    by = np.radians(by_deg)
    return np.asarray(np.cos(by) * way + np.sin(by) * out)


def carved(
    pocket: Pocket, shape: SkinShape, pull: Floats, built: SkinAndShell, draft_deg: float
) -> tuple[Mesh, Field, Mesh] | None:
    """The piece, the filled skin's field without its room, and the skin without it."""
    gap = built.clearance_mm
    others = pocket.others.copy()
    solid_part = None
    volume = np.inf
    for _ in range(CUTS):
        s = _swept_part(pocket, shape, others, pull, gap, draft_deg)
        core = _without_feathers(np.maximum(np.float32(gap) - s, pocket.filled), pocket.grid)
        if core is None:
            return None
        solid_part, was, volume = core, volume, _volume(core, pocket.grid)
        # what is far from the core stays silicone, and beads thick enough for the grid to show
        left = np.maximum(pocket.filled, np.float32(gap + BLUNT * BALL_MM) - core)
        bead = np.float32(min(0.5 * pocket.grid.step_mm, BLUNT * BALL_MM))
        others[pocket.cut] = np.minimum(others[pocket.cut], _from(left, pocket.grid) - bead)
        if volume > (1 - SETTLED) * was:
            break
    assert solid_part is not None
    s = _swept_part(pocket, shape, others, pull, gap, draft_deg)
    near = solid_part - np.float32(BEYOND_MM)
    room = np.maximum(-s, near)
    hollow = solid(contour(room, pocket.grid))
    mesh = _piece_mesh(pocket, shape, s, near, built.clearance_mm, solid(built.skin) ^ hollow)
    if mesh is None or mesh.volume_mm3 < 1000 * LEAST_CM3:
        return None
    field = pocket.whole.copy()
    field[pocket.cut] = np.maximum(field[pocket.cut], -room)
    if pocket.left_cm3(field) > (1 - LEAST_SHARE) * pocket.thick_cm3:
        return None
    skin = mesh_of_largest(solid(built.skin) - hollow)
    return mesh, field, skin


def _swept_part(
    pocket: Pocket, shape: SkinShape, others: Field, pull: Floats, gap: float, draft_deg: float
) -> Field:
    """What a pull sweeps out of the silicone, in the pocket's part of the grid."""
    s = swept(
        others,
        shape.grid,
        pull=pull,
        draft_deg=draft_deg,
        up_to_mm=gap + 3 * shape.grid.step_mm,
        zone=pocket.zone,
    )
    return with_soft_valleys(np.ascontiguousarray(s[pocket.cut]), pocket.grid)


def _without_feathers(field: Field, grid: Grid) -> Field | None:
    """Distance to the largest part of a solid that a ball of 3 mm reaches from inside it."""
    made = contour(field, grid)
    if not len(made.faces):
        return None
    inner = contour(signed_distance(made, grid, reach_mm=2 * BALL_MM) + np.float32(BALL_MM), grid)
    if not len(inner.faces):
        return None
    largest = mesh_of_largest(solid(inner))
    return signed_distance(largest, grid, reach_mm=REACH_MM) - np.float32(BALL_MM)


def _from(field: Field, grid: Grid) -> Field:
    """Distance to where a field is negative; infinite out of reach."""
    made = contour(field, grid)
    if not len(made.faces):
        return np.full(grid.shape, np.inf, dtype=np.float32)
    away = signed_distance(made, grid, reach_mm=REACH_MM)
    away[away >= REACH_MM] = np.inf
    return away


def _volume(field: Field, grid: Grid) -> float:
    """mm3 where a distance is negative, counted in cells."""
    return float(np.clip(0.5 - field / grid.step_mm, 0, 1).sum()) * grid.step_mm**3


def _piece_mesh(
    pocket: Pocket, shape: SkinShape, s: Field, near: Field, gap: float, fill: Any
) -> Mesh | None:
    """What keeps the clearance from the silicone left, within the fill (a solid) that goes.

    Facets of a grid of step h cut across an edge of radius r by h^2 / 8 r, as for the shell.
    """
    grid = pocket.grid
    edge = 1.0 / shape.thickness_mm + 1.0 / (shape.thickness_mm + gap)
    low = gap + edge * grid.step_mm**2 / 8
    away = s.copy()
    close = np.argwhere((s > 0) & (s < 2.0 * low + 2.0 * grid.step_mm))
    if len(close):
        at = np.array(grid.low_mm) + grid.step_mm * close
        away[tuple(close.T)] = Tree.of(contour(s, grid)).closest(at)[0]
    field = np.maximum(np.float32(low) - away, near)
    if gap < RIGID_GAP_MM:
        field = np.maximum(field, pocket.filled + np.float32(RIGID_GAP_MM - gap))
    if not (field < 0).any():
        return None
    made = solid(contour(field, grid)) ^ fill
    return None if made.is_empty() else mesh_of_largest(made)
