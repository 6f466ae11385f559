"""Where silicone fill would be too deep to strip: rigid pieces that lie loose under the shell.

A loose piece takes the place of fill in a deep pocket. It rests on the silicone in the pocket,
its outer face is the filled skin's, so the shell stays as it is. The shell comes off first; then
the piece is drawn out along a pull of its own, past all silicone that is left:

* What is left is the plain skin, the fill of other pockets, and what this pull cannot free.
  The piece lies where the sweep of all that is positive, so it leaves by construction.
* Feathers are cut back: what no ball of 3 mm reaches stays silicone, and the sweep is made again
  past it. Removing silicone only widens the way of later pieces, so several may share a pocket.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
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
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.fill_guide import SIDES, FillPlace, fill_guide, told
from firstpull.core.mould.options import DEEPEST_FILL_MM
from firstpull.core.mould.shell import SkinAndShell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept, with_soft_valleys
from firstpull.core.mould.zone import PartingWall, Zone

LIP_MM = 1.0  # thinner silicone gives way
NEXT_STEPS = 2  # of the grid, so far around a pocket fill may belong to none
LEAST_CM3 = 1.0  # a smaller piece is lost or glued in; common practice
LEAST_SHARE = 0.2  # of the pocket's fill: a piece that takes less is not worth its making
WORTH_KEEPING = 0.5  # of it: pieces that leave the pocket too deep must take so much
MOST_A_POCKET = 3
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


@dataclass(frozen=True)
class LoosePiece:
    """A rigid piece between skin and shell.

    Args:
        mesh: closed, in the mould frame.
        pull: unit vector it leaves along, once the shell is off.
        volume_cm3: of the piece.
        place_mm: the pocket's deepest place.
        depth_mm: how deep the fill would be there without it.
        fill_saved_cm3: silicone it saves: its own volume and the gap around it.
        deepest_left_mm: the deepest fill that is left in the pocket with it in.
        sentence: where, how deep, what it saves and when it is taken out, for the maker.
    """

    mesh: Mesh
    pull: tuple[float, float, float]
    volume_cm3: float
    place_mm: tuple[float, float, float]
    depth_mm: float
    fill_saved_cm3: float
    deepest_left_mm: float
    sentence: str

    def as_json(self) -> dict[str, Any]:
        """Plain data without the mesh."""
        return {
            "pull": [round(c, 4) for c in self.pull],
            "volume_cm3": round(self.volume_cm3, 2),
            "place_mm": [round(c, 1) for c in self.place_mm],
            "depth_mm": round(self.depth_mm, 1),
            "fill_saved_cm3": round(self.fill_saved_cm3, 2),
            "deepest_left_mm": round(self.deepest_left_mm, 1),
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class StaysDeep:
    """A pocket whose fill stays deeper than strips well.

    Args:
        place_mm: its deepest place.
        depth_mm: how deep.
        tried: how many pulls were tried for a further loose piece.
        best_share: the most of the pocket's fill that one of them frees.
        sentence: why, and what to do, for the maker.
    """

    place_mm: tuple[float, float, float]
    depth_mm: float
    tried: int
    best_share: float
    sentence: str

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "place_mm": [round(c, 1) for c in self.place_mm],
            "depth_mm": round(self.depth_mm, 1),
            "tried": self.tried,
            "best_share": round(self.best_share, 3),
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class Loosened:
    """A mould with its loose pieces.

    Args:
        built: skin and shell; the skin and its fill are thinner by the loose pieces, the
            shell's pieces are as they were.
        pieces: in the order they come out, all after the shell.
        stays: pockets that stay filled deeper than strips well.
    """

    built: SkinAndShell
    pieces: tuple[LoosePiece, ...]
    stays: tuple[StaysDeep, ...]


def loose_pieces(shape: SkinShape, built: SkinAndShell, *, draft_deg: float) -> Loosened:
    """Loose pieces for the pockets whose fill is deeper than 25 mm, and the skin around them.

    Args:
        shape: the skin before fill.
        built: skin and shell as built from it.
        draft_deg: least lean of a loose piece's faces, and of the board, to its pull.

    Depth is the distance off the plain skin, of the filled surface and of all that lies under
    it. A piece is proposed only if it takes a fifth of its pocket's fill and 1 cm3 at least.
    """
    if not _is_deep(shape, built.fill):
        return Loosened(built, (), ())
    plain = with_soft_valleys(shape.phi, shape.grid)
    guide = fill_guide(shape, built.fill, zones=built.parting.zones)
    pieces: list[LoosePiece] = []
    stays: list[StaysDeep] = []
    for place in guide.places:
        if not _may_be_deep(plain, place):
            continue
        elsewhere = [other.cells for other in guide.places if other is not place]
        own = _own(shape.grid, plain, built.fill.field(plain), place, elsewhere)
        found, left, built = _loosened_place(shape, plain, place, own, built, draft_deg)
        pieces += found
        stays += left
    return Loosened(built, tuple(pieces), tuple(stays))


def _is_deep(shape: SkinShape, fill: Fill) -> bool:
    inside = fill.cells[fill.levels_mm < 0.5 * shape.grid.step_mm]
    deepest = float(shape.phi.ravel()[inside].max(initial=0.0))
    return deepest > DEEPEST_FILL_MM - shape.grid.step_mm


def _may_be_deep(plain: Field, place: FillPlace) -> bool:
    deepest = float(plain.ravel()[place.cells].max(initial=0.0))
    return max(place.depth_mm, deepest) > DEEPEST_FILL_MM


def _own(
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


def _loosened_place(
    shape: SkinShape,
    plain: Field,
    place: FillPlace,
    own: Flags,
    before: SkinAndShell,
    draft_deg: float,
) -> tuple[list[LoosePiece], list[StaysDeep], SkinAndShell]:
    """One pocket's pieces, what stays deep in it, and the mould with them."""
    pieces: list[LoosePiece] = []
    built = before
    depth = max(place.depth_mm, _depth_left(plain, place, built.fill.field(plain)))
    at_first = 0.0
    while depth > DEEPEST_FILL_MM:
        pocket = _Pocket.of(shape, plain, np.minimum(built.fill.field(plain), plain), place, own)
        at_first = at_first or pocket.thick_cm3
        way, share, tried = _best_pull(pocket, shape, built.clearance_mm, draft_deg)
        taken = None
        if share >= LEAST_SHARE and len(pieces) < MOST_A_POCKET:
            taken = _take(pocket, shape, way, built, draft_deg)
        if taken is None:
            if pocket.thick_cm3 > (1 - WORTH_KEEPING) * at_first:
                pieces, built = [], before
                depth = max(depth, _depth_left(plain, place, built.fill.field(plain)))
            return pieces, [_stays(place, depth, tried, share, bool(pieces))], built
        mesh, field, skin = taken
        saved = (built.skin.volume_mm3 - skin.volume_mm3) / 1000
        fill = Fill.between(plain, field, step_mm=shape.grid.step_mm)
        built = _with_skin(built, skin, saved, fill)
        was, depth = depth, _depth_left(plain, place, field)
        pieces.append(_piece(mesh, way, place, was, saved, depth))
    return pieces, [], built


def _depth_left(plain: Field, place: FillPlace, filled: Field) -> float:
    """The greatest distance off the plain skin of a pocket's silicone, thin lips left out."""
    inside = filled.ravel()[place.cells] < -0.5 * LIP_MM
    return float(plain.ravel()[place.cells][inside].max(initial=0.0))


def _with_skin(built: SkinAndShell, skin: Mesh, saved_cm3: float, fill: Fill) -> SkinAndShell:
    return replace(
        built,
        skin=skin,
        skin_cm3=skin.volume_mm3 / 1000,
        fill_cm3=max(0.0, built.fill_cm3 - saved_cm3),
        fill=fill,
    )


# The pocket, cut out of the grid


@dataclass(frozen=True)
class _Pocket:
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
    def of(shape: SkinShape, plain: Field, filled: Field, place: FillPlace, own: Flags) -> _Pocket:
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
        return _Pocket(cut, part, others, around, filled, cells, points, cm3)

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


# The pull


def _best_pull(
    pocket: _Pocket, shape: SkinShape, clearance_mm: float, draft_deg: float
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


def _share_seen(pocket: _Pocket, stays: Mesh, ways: Floats) -> Floats:
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


# The piece


def _take(
    pocket: _Pocket, shape: SkinShape, pull: Floats, built: SkinAndShell, draft_deg: float
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
    pocket: _Pocket, shape: SkinShape, others: Field, pull: Floats, gap: float, draft_deg: float
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
    pocket: _Pocket, shape: SkinShape, s: Field, near: Field, gap: float, fill: Any
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


# The words


def _piece(
    mesh: Mesh, pull: Floats, place: FillPlace, depth_mm: float, saved_cm3: float, left_mm: float
) -> LoosePiece:
    x, y, z = pull.tolist()
    cx, cy, cz = place.place_mm
    volume = mesh.volume_mm3 / 1000
    rest = f"; {left_mm:.0f} mm is the deepest fill left there" if left_mm >= 1 else ""
    sentence = (
        f"At {place.side}, near ({cx:.0f}, {cy:.0f}, {cz:.0f}) mm, the fill would be "
        f"{depth_mm:.0f} mm deep; over {DEEPEST_FILL_MM:.0f} mm it strips badly. A loose rigid "
        f"piece of {told(volume)} cm³ takes its place and saves {told(saved_cm3)} cm³ of silicone"
        f"{rest}. Take it out after the shell, {_heading(pull)}. A threaded hole or a finger "
        "hold in its outer face helps to draw it."
    )
    return LoosePiece(
        mesh, (x, y, z), volume, place.place_mm, depth_mm, saved_cm3, left_mm, sentence
    )


def _heading(pull: Floats) -> str:
    """A pull in words.

    >>> _heading(np.array([0.0, -0.8, 0.6]))
    'toward the front (-y), rising 37°'
    """
    rise = float(np.degrees(np.arcsin(np.clip(pull[2], -1.0, 1.0))))
    if rise > 80:
        return "straight up" if rise > 89.5 else "almost straight up"
    words, axes = SIDES[round(float(np.degrees(np.arctan2(pull[1], pull[0]))) / 45) % 8]
    return f"toward {words} ({axes}), rising {rise:.0f}°"


def _stays(place: FillPlace, depth_mm: float, tried: int, share: float, some: bool) -> StaysDeep:
    x, y, z = place.place_mm
    why = (
        "the way out is narrower than what lies behind it"
        if share < LEAST_SHARE
        else "what that leaves of a piece is too thin or too small"
    )
    sentence = (
        f"At {place.side}, near ({x:.0f}, {y:.0f}, {z:.0f}) mm, silicone stays {depth_mm:.0f} mm "
        f"deep; over {DEEPEST_FILL_MM:.0f} mm it strips badly. No {'further ' if some else ''}"
        f"loose piece was found for it: of {tried} pulls tried the best frees "
        f"{100 * share:.0f} % of the fill, and {why}. Plug the pocket in the model, plan a slit "
        "there, or part the shell otherwise."
    )
    return StaysDeep(place.place_mm, depth_mm, tried, share, sentence)
