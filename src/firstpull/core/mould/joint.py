"""The bolted joint between the parts of a shell piece that is too large for the build box.

On both sides of a cut a flange stands out of the shell. It is laid into the piece's field
before that is contoured, so it keeps off the skin and leaves along the pull like the rest of
the piece. Holes are drilled through both flanges before the piece is cut: they match.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid, sample
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.bolts import ABOVE_BOARD_MM, FROM_CORNER_MM, HOLE_MM, LEAST_RUN_MM
from firstpull.core.mould.build_box import Fit, fits
from firstpull.core.mould.cut import Cut, Split, regions, trimmed
from firstpull.core.mould.splits import CannotSplit, splits_for
from firstpull.core.mould.zone import Zone

SPACING_MM = 80.0  # of bolts along a joint
DOWEL_MM = 5.0
BOLT_SHARE = 0.55  # of the flange's width, where the holes stand
HEAD_MM = 6.0  # radius of a washer, and room for head and nut beyond the flange
COARSE_STEPS = 4
SPARE_MM = (0.0, 2.0, 5.0)  # the search counts on this much less box, till the parts fit


class NoPlaceForBolts(WorkshopError):
    """A joint without a straight enough stretch of flange for bolts."""

    code = "no_place_for_bolts"


@dataclass(frozen=True)
class JointSizes:
    """The build of a joint.

    Args:
        shell_mm: from the skin's outside to the shell's: clearance and thickness.
        flange_mm: how far the flange stands out of the shell.
        flange_thickness_mm: on each side of the cut.
    """

    shell_mm: float
    flange_mm: float
    flange_thickness_mm: float

    @property
    def reach_mm(self) -> float:
        """How far from the skin's outside a flange stands out."""
        return self.shell_mm + self.flange_mm

    @property
    def bolts_out_mm(self) -> float:
        """How far from the skin's outside the bolts stand."""
        return self.shell_mm + BOLT_SHARE * self.flange_mm


@dataclass(frozen=True)
class Outside:
    """All that lies outside of what a piece's sweep takes up.

    Args:
        s: the swept field: a piece may stand where it is positive.
        phi: distance to the plain skin.
        grid: where both stand.
        tree: over the surface where s is zero.
    """

    s: Field
    phi: Field
    grid: Grid
    tree: Tree

    @staticmethod
    def of(side: Mesh, s: Field, phi: Field, grid: Grid) -> Outside:
        """From the contour of s."""
        return Outside(s, phi, grid, Tree.of(side))

    def away(self, points_mm: Floats, *, up_to_mm: float) -> Floats:
        """(N,) distance to the surface where s is zero, ``up_to_mm`` at most; negative within."""
        far = np.minimum(self.tree.closest(points_mm, reach_mm=up_to_mm)[0], up_to_mm)
        return np.where(sample(self.s, self.grid, points_mm) > 0, far, -far)


@dataclass(frozen=True)
class Joint:
    """Holes through both flanges of a joint.

    Args:
        split: the cut it closes.
        bolts_mm: (B, 3) middles of the bolt holes, on the cut.
        dowels_mm: (D, 3) middles of the dowel holes, which locate the parts.
    """

    split: Split
    bolts_mm: Floats
    dowels_mm: Floats


@dataclass(frozen=True)
class Part:
    """One printed part.

    Args:
        mesh: closed, in the mould frame.
        fit: how it lies in the build box.
        volume_cm3: of the part.
    """

    mesh: Mesh
    fit: Fit
    volume_cm3: float


@dataclass(frozen=True)
class PartedPiece:
    """A piece as it is printed: parts that are bolted together for good.

    Args:
        piece: all parts together, joints and holes included.
        parts: what is printed; one where the piece fits the box.
        joints: between them.
    """

    piece: Mesh
    parts: tuple[Part, ...]
    joints: tuple[Joint, ...]


def part_for_box(
    plain: Any,
    rebuilt: Callable[[tuple[Split, ...]], Any],
    outside: Outside,
    zone: Zone,
    *,
    box_mm: ArrayLike,
    margin_mm: float,
    pull: ArrayLike,
    sizes: JointSizes,
    keep_clear_mm: ArrayLike = (),
    where: str = "Shell piece",
) -> PartedPiece:
    """A shell piece in as few parts as were found to fit the build box.

    Args:
        plain: the piece without joints, a manifold3d solid.
        rebuilt: makes the piece with the joints of some splits in its field, see ``with_joints``.
        outside: what the piece was made around.
        zone: where the piece lives.
        box_mm: width, depth and height of the build box.
        margin_mm: kept free on the four sides of the plate.
        pull: the piece's.
        sizes: of the joints.
        keep_clear_mm: (B, 3) bolts and corners of other flanges.
        where: what the piece is called in a refusal.

    Raises:
        BoxSmallerThanFlange, CannotSplit: see ``splits_for``.

    The search for cuts looks at few points. Where a part as built is larger than it thought,
    it is asked again with a little less box.
    """
    whole = mesh_of(plain)
    reached = joint_outline(outside, zone, reach_mm=sizes.reach_mm)
    for spare in SPARE_MM:
        splits = splits_for(
            whole,
            np.asarray(box_mm, dtype=np.float64) - [0.0, 0.0, spare],
            pull=pull,
            flange_mm=sizes.flange_mm,
            flange_thickness_mm=sizes.flange_thickness_mm,
            margin_mm=margin_mm + 0.5 * spare,
            keep_clear_mm=keep_clear_mm,
            reached_mm=reached,
            accepts=lambda found: _can_be_bolted(found, outside, zone, sizes),
            where=where,
        )
        joints = place_joints(splits, outside, zone, sizes=sizes, where=where)
        made = drilled(rebuilt(splits) if splits else plain, joints, sizes=sizes)
        parts = cut_parts(made, splits)
        found = [fits(mesh, box_mm, margin_mm=margin_mm) for mesh in parts]
        if all(found):
            break
    if not all(found):
        raise CannotSplit(
            where=where,
            found="was cut for the build box, and a part with its joint flange still does not fit",
            limit="each part needs its place",
            remedy="Give a larger shop.build_box_mm, or more shell.pieces.",
        )
    return PartedPiece(
        mesh_of(made),
        tuple(
            Part(mesh, fit, mesh.volume_mm3 / 1000)
            for mesh, fit in zip(parts, found, strict=True)
            if fit is not None
        ),
        joints,
    )


def joint_outline(outside: Outside, zone: Zone, *, reach_mm: float) -> Floats:
    """(M, 3) places in a zone all over the surface out to which joint flanges stick."""
    n = COARSE_STEPS
    s = outside.s[::n, ::n, ::n]
    grid = Grid(
        outside.grid.low_mm,
        n * outside.grid.step_mm,
        (s.shape[0], s.shape[1], s.shape[2]),
    )
    far = reach_mm + 2 * grid.step_mm
    field = np.full(s.shape, -far, dtype=np.float32)
    free = np.argwhere(s > 0)
    points = np.array(grid.low_mm) + grid.step_mm * free
    field[tuple(free.T)] = np.minimum(outside.tree.closest(points, reach_mm=far)[0], far)
    shell = contour(field - np.float32(reach_mm), grid).vertices_mm
    inside = np.broadcast_to(zone.into(*shell.T) >= 0, len(shell))
    return shell[inside & (shell[:, 2] >= 0)]


def with_joints(
    field: Field, splits: Sequence[Split], outside: Outside, *, sizes: JointSizes
) -> Field:
    """A piece's field with a flange on both sides of each cut.

    Args:
        field: negative in the piece, before it is held off the skin: what a flange adds may
            reach into the gap and must be clipped with the rest.
        splits: the cuts.
        outside: what the piece is made around.
        sizes: of the joints.

    Flanges stand only where the piece may stand at all, so it leaves along its pull as before.
    """
    grid = outside.grid
    made = field.copy()
    room = 2 * grid.step_mm
    # a filled place lies at most so deep under the filled skin's outside
    deepest = max(0.0, float(outside.phi[outside.s <= 0].max(initial=0.0)))
    near = (outside.s > 0) & (outside.phi < sizes.reach_mm + deepest + room)
    for split in splits:
        depth = _depth(grid, split.cut)
        chosen = near & (np.abs(depth) < sizes.flange_thickness_mm + room)
        for cut in split.within:
            chosen &= _depth(grid, cut) > -room
        at = np.argwhere(chosen)
        points = np.array(grid.low_mm) + grid.step_mm * at
        away = np.minimum(
            outside.tree.closest(points, reach_mm=sizes.reach_mm + room)[0], sizes.reach_mm + room
        )
        flange = np.maximum(
            np.abs(split.cut.depth(*points.T)) - sizes.flange_thickness_mm, away - sizes.reach_mm
        )
        for cut in split.within:
            flange = np.maximum(flange, -cut.depth(*points.T))
        key = tuple(at.T)
        made[key] = np.minimum(made[key], flange.astype(np.float32))
    return made


def place_joints(
    splits: Sequence[Split],
    outside: Outside,
    zone: Zone,
    *,
    sizes: JointSizes,
    where: str = "Shell piece",
) -> tuple[Joint, ...]:
    """Bolts and dowels along the middle of the flanges of each cut.

    Args:
        splits: the cuts.
        outside: what the piece is made around.
        zone: where the piece lives; holes keep clear of its walls' flanges.
        sizes: of the joints.
        where: what the piece is called in a refusal.

    Bolts stand at most 80 mm apart along each run of flange, with room for washer and head
    on both sides; each run has two dowels as well.

    Raises:
        NoPlaceForBolts: a joint has no run of 30 mm that is clear.
    """
    joints = []
    for split in splits:
        bolts, dowels = [np.zeros((0, 3))], [np.zeros((0, 3))]
        for run in _runs(split, splits, outside, zone, sizes):
            length, at = _along(run)
            bolts.append(at(_bolts_at(length)))
            dowels.append(at(_dowels_at(length)))
        if len(bolts) == 1:
            x, y, z = split.cut.normal
            raise NoPlaceForBolts(
                where=where,
                found="has a cut for the build box, at "
                f"{split.cut.offset_mm:.0f} mm along ({x:.2f}, {y:.2f}, {z:.2f}), whose flange "
                f"has no clear stretch of {LEAST_RUN_MM:g} mm for bolts",
                limit="every joint needs bolts",
                remedy="Take a larger build box, or move the parting wall beside that cut.",
            )
        joints.append(Joint(split, np.concatenate(bolts), np.concatenate(dowels)))
    return tuple(joints)


def _can_be_bolted(
    splits: Sequence[Split], outside: Outside, zone: Zone, sizes: JointSizes
) -> bool:
    try:
        place_joints(splits, outside, zone, sizes=sizes)
    except NoPlaceForBolts:
        return False
    return True


def drilled(made: Any, joints: Sequence[Joint], *, sizes: JointSizes) -> Any:
    """A manifold3d solid with the joints' holes through both flanges."""
    import manifold3d

    holes = [
        hole
        for joint in joints
        for places, wide in ((joint.bolts_mm, HOLE_MM), (joint.dowels_mm, DOWEL_MM))
        for hole in _holes(joint.split.cut, places, wide, 2 * sizes.flange_thickness_mm + 4.0)
    ]
    return made - manifold3d.Manifold.compose(holes) if holes else made


def cut_parts(made: Any, splits: Sequence[Split]) -> list[Mesh]:
    """The parts of a piece, each one closed solid.

    Args:
        made: a manifold3d solid.
        splits: each cuts its own part only.

    Bits too small to be a part are left out.
    """
    if not splits:
        return [mesh_of(made)]
    return [mesh_of(part) for region in regions(splits) for part in trimmed(made, region)]


def _depth(grid: Grid, cut: Cut) -> Field:
    x, y, z = (axis.astype(np.float32) for axis in grid.axes())
    return np.asarray(cut.depth(x, y, z), dtype=np.float32)


def _runs(
    split: Split, splits: Sequence[Split], outside: Outside, zone: Zone, sizes: JointSizes
) -> list[Floats]:
    """Lines on a cut, at the bolts' distance from the skin, where holes may stand."""
    from skimage.measure import find_contours

    start, right, up, count = _frame(split.cut, outside.grid)
    step = outside.grid.step_mm
    i, j = np.arange(count), np.arange(count)
    points = start + step * (i[:, None, None] * right + j[None, :, None] * up)
    flat = points.reshape(-1, 3)
    far = sizes.reach_mm + 2 * step
    away = outside.away(flat, up_to_mm=far)
    high = outside.grid.low_mm + step * (np.array(outside.grid.shape) - 1)
    out_of_grid = ((flat < outside.grid.low_mm) | (flat > high)).any(axis=1)
    away[out_of_grid] = far
    runs = []
    for line in find_contours(away.reshape(count, count), sizes.bolts_out_mm):
        spots = start + step * (line[:, :1] * right + line[:, 1:] * up)
        wanted = _wanted(spots, split, splits, outside, zone, sizes)
        ends = np.flatnonzero(np.diff(wanted)) + 1
        pieces = zip(np.split(spots, ends), np.split(wanted, ends), strict=True)
        runs += [run for run, keep in pieces if keep[0] and _along(run)[0] >= LEAST_RUN_MM]
    return runs


def _wanted(
    spots: Floats,
    split: Split,
    splits: Sequence[Split],
    outside: Outside,
    zone: Zone,
    sizes: JointSizes,
) -> Flags:
    """Which places on a cut are clear of the board, of other flanges and of the shell."""
    thick = sizes.flange_thickness_mm
    good = spots[:, 2] > ABOVE_BOARD_MM
    good &= np.broadcast_to(zone.into(*spots.T) > thick + FROM_CORNER_MM, len(spots))
    for cut in split.within:
        good &= cut.depth(*spots.T) > thick + 2 * HEAD_MM
    for other in splits:
        if split.cut in other.within or split.cut.turned in other.within:
            near = np.abs(other.cut.depth(*spots.T)) < thick + 2 * HEAD_MM
            for cut in other.within:
                near &= cut.depth(*spots.T) > -1e-6
            good &= ~near
    normal = np.array(split.cut.normal)
    clear = sizes.shell_mm + HEAD_MM
    for side in (1.0, -1.0):
        head = spots + side * (thick + HEAD_MM) * normal
        good &= outside.away(head, up_to_mm=clear + 1.0) > clear
    return np.asarray(good)


def _frame(cut: Cut, grid: Grid) -> tuple[Floats, Floats, Floats, int]:
    """A corner of a square on a cut that covers the grid, its two ways, and steps along each."""
    n = np.array(cut.normal)
    right = np.cross(n, [0.0, 0.0, 1.0] if abs(n[2]) < 0.9 else [1.0, 0.0, 0.0])
    right /= np.linalg.norm(right)
    up = np.cross(right, n)
    span = grid.step_mm * (np.array(grid.shape) - 1)
    middle = np.array(grid.low_mm) + 0.5 * span
    middle = middle - (middle @ n - cut.offset_mm) * n
    half = 0.5 * float(np.linalg.norm(span))
    return middle - half * (right + up), right, up, int(2 * half / grid.step_mm) + 2


def _along(run: Floats) -> tuple[float, Callable[[Floats], Floats]]:
    """Length of a line, and the places at so many mm along it."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])

    def at(mm: Floats) -> Floats:
        return np.stack([np.interp(mm, along, run[:, axis]) for axis in range(3)], axis=1)

    return float(along[-1]), at


def _bolts_at(length_mm: float) -> Floats:
    """Where bolts stand along a run: evenly, half a spacing from its ends.

    >>> _bolts_at(40.0).tolist(), _bolts_at(100.0).tolist()
    ([20.0], [25.0, 75.0])
    """
    least = 2 if length_mm >= 2 * LEAST_RUN_MM else 1
    count = max(least, int(np.ceil(length_mm / SPACING_MM)))
    return np.asarray((np.arange(count) + 0.5) / count * length_mm)


def _dowels_at(length_mm: float) -> Floats:
    """Where the two dowels stand: as far apart as there is room between bolts.

    >>> _dowels_at(30.0).tolist(), _dowels_at(240.0).tolist()
    ([5.0, 25.0], [80.0, 160.0])
    """
    bolts = _bolts_at(length_mm)
    if len(bolts) == 1:
        return length_mm * np.array([1.0, 5.0]) / 6.0
    if len(bolts) == 2:
        return bolts[0] + (bolts[1] - bolts[0]) * np.array([1.0, 2.0]) / 3.0
    return np.array([bolts[:2].mean(), bolts[-2:].mean()])


def _holes(cut: Cut, places: Floats, wide_mm: float, long_mm: float) -> list[Any]:
    import manifold3d

    hole = manifold3d.Manifold.cylinder(long_mm, wide_mm / 2, circular_segments=32, center=True)
    n = np.array(cut.normal)
    side = np.cross(n, [0.0, 0.0, 1.0] if abs(n[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    return [hole.transform(np.column_stack([side, np.cross(n, side), n, at])) for at in places]
