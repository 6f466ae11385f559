"""Does each shell piece come off? Two ways of asking that share nothing but the meshes.

**Steps.** The piece is moved along its pull, first by hair's breadths, then ever farther, and
at each step manifold3d intersects it with every obstacle.

**Columns.** A piece leaves along d without touching an obstacle if and only if, on every line
parallel to d, the obstacle's last point lies below the piece's first point. Two rays a line
answer that for all travels at once: one up to the underside of the piece, one down to the top
of the obstacle. The lines stand on a close grid and through every vertex of the piece and of
the obstacle.

**When is an overlap real?** Faceted surfaces of the same curved thing cross each other by
their chord error (h^2 / 8 R for edges h on a radius R: 0.035 mm for 1.5 mm on 8 mm), and where
a wall runs along the pull that makes slivers as long as the wall is high, so neither volume nor
length along the pull tells noise from a collision. Depth does: an overlap is real when it is
deeper than ``tol_mm``. In steps, depth is how far a point of the overlap's surface lies inside
the other solid; in columns, a point counts when it is overtopped by more than ``tol_mm`` on its
own line and on the eight lines around it at ``tol_mm``.

Surfaces read off a grid have a second noise, on creases: where the distance has a kink with a
jump of slope J, a straight line across one cell of edge h misses it by up to J h / 4, and two
fronts at right angles have J = sqrt 2. So along the valley between wall and flange the shell may
stand up to 0.35 h deep in the rubber, cell by cell. Such a crumb is no wider than it is deep on
either side of the crease and no longer than two cells, which bounds its volume; anything deeper
or larger is real. With no grid stated there are no crumbs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.proof_parts import Check, Part, Samples, at, loose_parts, place, the

FIRST_STEP_MM = 0.1
STEP_RATIO = 3.0
COLUMN_SPACING_MM = 0.5
MOST_COLUMNS = 1_000_000
MOST_TRIALS = 12
DRAFT_TRAVELS_MM = (1.5, 3.0, 6.0, 12.0)
DRAFT_SHARE = 0.005


@dataclass(frozen=True)
class Noise:
    """What overlap counts as noise of the surfaces; see the head of this file.

    Args:
        tol_mm: depth that is noise everywhere.
        grid_mm: cell of the grid that skin and shell were read off; 0 for exact solids.
    """

    tol_mm: float
    grid_mm: float = 0.0

    @property
    def crease_mm(self) -> float:
        """Depth up to which a crumb on a crease is noise."""
        return max(self.tol_mm, self.grid_mm * 2**0.5 / 4)

    @property
    def crumb_mm3(self) -> float:
        """Volume up to which it is a crumb: a wedge two cells long."""
        return 2 * self.grid_mm * self.crease_mm**2

    def is_real(self, depth_mm: Floats, volume_mm3: Floats) -> Flags:
        """Whether overlaps of such depth and volume are more than noise."""
        crumbs = (volume_mm3 <= self.crumb_mm3) & (depth_mm <= self.crease_mm)
        real: Flags = (depth_mm > self.tol_mm) & ~crumbs
        return real


@dataclass(frozen=True)
class Overlap:
    """The worst place where one solid stands in another: depth, volume, place, and its verdict."""

    depth_mm: float
    volume_mm3: float
    where_mm: Floats
    is_real: bool


NO_OVERLAP = Overlap(0.0, 0.0, np.zeros(3), False)


@dataclass(frozen=True)
class Collision:
    """The first meeting of a moving piece with an obstacle."""

    travel_mm: float
    obstacle: str
    overlap: Overlap


def overlap_of(moving: Part, other: Part, *, shift_mm: Floats, noise: Noise) -> Overlap:
    """How deep ``moving``, shifted, and ``other`` stand in one another, at the worst place.

    Every point of the surface of their intersection lies on one of the two surfaces; its
    distance to the other is how deep it stands there. Asked at corners, at the middles of
    edges (two crossing edges leave all corners of the overlap at depth 0) and of faces.
    Connected overlaps are judged one by one.
    """
    box, fixed = moving.bounds_mm + shift_mm, other.bounds_mm
    if np.any(box[0] >= fixed[1]) or np.any(box[1] <= fixed[0]):
        return NO_OVERLAP
    common: Any = moving.manifold.translate(tuple(shift_mm)) ^ other.manifold
    if common.is_empty():
        return NO_OVERLAP
    raw = common.to_mesh64()
    mesh = Mesh(raw.vert_properties[:, :3], raw.tri_verts)
    c = mesh.corners_mm
    points = np.concatenate([*c.swapaxes(0, 1), *_edge_middles(c), c.mean(axis=1)])
    depth = np.maximum(moving.surface.distance(points - shift_mm), other.surface.distance(points))
    deepest = depth.reshape(7, -1).argmax(axis=0)
    faces = np.arange(len(c))
    of_face = depth.reshape(7, -1)[deepest, faces]
    label = loose_parts(mesh)
    depths = np.zeros(int(label.max()) + 1)
    np.maximum.at(depths, label, of_face)
    centred = c - mesh.vertices_mm.mean(axis=0)
    six_volumes = np.einsum("ij,ij->i", centred[:, 0], np.cross(centred[:, 1], centred[:, 2]))
    volumes = np.bincount(label, weights=six_volumes) / 6.0
    real = noise.is_real(depths, volumes)
    worst = int(np.where(real, depths + 1e6, depths).argmax())
    face = int(np.where(label == worst, of_face, -1.0).argmax())
    where = points.reshape(7, -1, 3)[deepest[face], face]
    return Overlap(float(depths[worst]), float(volumes[worst]), where, bool(real[worst]))


def _edge_middles(corners: Floats) -> list[Floats]:
    return [0.5 * (corners[:, i] + corners[:, i - 1]) for i in range(3)]


def release_check(
    piece: Part, obstacles: Sequence[Part], *, body: Part, pull: Floats, noise: Noise
) -> Check:
    """Whether a piece leaves along its pull, past skin, later pieces and body, and off the board.

    The body lies within the skin, which a piece meets first; so it is asked about on the grid
    and the piece's own lines only, not by steps. ``found`` is the deepest overlap met,
    ``limit`` is the tolerance.
    """
    met = _into_board(piece, pull, noise) or _by_steps(piece, obstacles, pull, noise)
    met = met or _by_columns(piece, obstacles, body, pull, noise)
    tol_mm = noise.tol_mm
    name = f"release: {piece.name}"
    if met is None:
        return Check(
            name, True, 0.0, tol_mm, None,
            f"The shell's {piece.name} comes off along its pull without touching anything.",
        )  # fmt: skip
    volume = f", {met.overlap.volume_mm3:.1f} mm3" if met.overlap.volume_mm3 > 0 else ""
    return Check(
        name, False, met.overlap.depth_mm, tol_mm, place(met.overlap.where_mm),
        f"The shell's {piece.name} runs into {the(met.obstacle)} after {met.travel_mm:.2f} mm of "
        f"travel, at {at(met.overlap.where_mm)}, {met.overlap.depth_mm:.2f} mm deep{volume}; "
        f"{tol_mm:g} mm is allowed. Turn the pull, move the parting, add a piece or let more "
        "silicone fill the undercut.",
    )  # fmt: skip


def _into_board(piece: Part, pull: Floats, noise: Noise) -> Collision | None:
    """A pull that points down ends in the board; where the piece starts is another check."""
    if pull[2] >= -1e-6:
        return None
    lowest = piece.mesh.vertices_mm[piece.mesh.vertices_mm[:, 2].argmin()]
    travel = max(lowest[2] + noise.tol_mm, 0.0) / -pull[2]
    below = Overlap(noise.tol_mm, 0.0, lowest + travel * pull, True)
    return Collision(travel, "board", below)


def _steps(clear_mm: float) -> Iterator[float]:
    travel = FIRST_STEP_MM
    while travel < clear_mm:
        yield travel
        travel *= STEP_RATIO


def _by_steps(
    piece: Part, obstacles: Sequence[Part], pull: Floats, noise: Noise
) -> Collision | None:
    lowest = float((piece.mesh.vertices_mm @ pull).min())
    highest = max(float((o.mesh.vertices_mm @ pull).max()) for o in obstacles)
    for travel in _steps(highest - lowest):
        for obstacle in obstacles:
            found = overlap_of(piece, obstacle, shift_mm=travel * pull, noise=noise)
            if found.is_real:
                return Collision(travel, obstacle.name, found)
    return None


def _by_columns(
    piece: Part, obstacles: Sequence[Part], body: Part, pull: Floats, noise: Noise
) -> Collision | None:
    rays = _Columns(piece, pull, noise)
    found = [rays.meeting(body, corners=False)]
    found += [rays.meeting(obstacle, corners=True) for obstacle in obstacles]
    return min((f for f in found if f), key=lambda f: f.travel_mm, default=None)


class _Columns:
    """Lines along the pull of one piece: where they stand and what they meet.

    They stand on a grid and through the corners of piece and obstacle, drawn inward a little: a
    corner on the outline would have lines around it that miss; drawn in by 1.5 tolerances it
    keeps them all.
    """

    def __init__(self, piece: Part, pull: Floats, noise: Noise) -> None:
        self.piece, self.pull, self.noise, self.tol_mm = piece, pull, noise, noise.tol_mm
        turn = Rotation.align_vectors([pull], [[0.0, 0.0, 1.0]])[0]
        self.across: Floats = turn.apply([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        self.start = float((piece.mesh.vertices_mm @ pull).min()) - 1.0
        flat = piece.mesh.vertices_mm @ self.across.T
        self.low, self.high = flat.min(axis=0), flat.max(axis=0)
        own = np.concatenate([self._grid(), piece.inset(1.5 * self.tol_mm) @ self.across.T])
        self.own_lines, self.own_under = self._meeting_piece(own)

    def _grid(self) -> Floats:
        size = float(np.prod(self.high - self.low))
        spacing = max(COLUMN_SPACING_MM, (size / MOST_COLUMNS) ** 0.5)
        low = self.low + 0.37 * spacing
        ticks = [np.arange(low[i], self.high[i], spacing) for i in range(2)]
        return np.stack(np.meshgrid(*ticks, indexing="ij"), axis=-1).reshape(-1, 2)

    def _meeting_piece(self, lines: Floats) -> tuple[Floats, Floats]:
        """The lines that meet the piece, and the heights at which they do."""
        under = self.underside(lines)
        met = np.isfinite(under)
        return lines[met], under[met]

    def meeting(self, obstacle: Part, *, corners: bool) -> Collision | None:
        """The first place where the piece runs into an obstacle, or None.

        Args:
            corners: whether lines also stand through the corners of the obstacle.
        """
        lines, under = self.own_lines, self.own_under
        if corners:
            others = obstacle.inset(1.5 * self.tol_mm) @ self.across.T
            others = others[np.all((others > self.low) & (others < self.high), axis=1)]
            more_lines, more_under = self._meeting_piece(others)
            lines = np.concatenate([lines, more_lines])
            under = np.concatenate([under, more_under])
        lines = lines[self.top(obstacle, lines) - under > self.tol_mm]
        if len(lines):
            lines = lines[self.depth_along(obstacle, lines) > self.tol_mm]
        if len(lines):
            lines = lines[self.are_sound(obstacle, lines)]
        return self._judged(obstacle, lines) if len(lines) else None

    def _judged(self, obstacle: Part, lines: Floats) -> Collision | None:
        """The first real collision on lines that overlap, asked of the Boolean where it may be
        a crumb, at up to a dozen travels of which the deepest is one.
        """
        start = self.underside(lines)
        under = self.points(lines, start)
        travel = obstacle.scene.distance(under, self.pull)
        # An underside that starts inside the obstacle has met it already.
        travel[obstacle.holds(under) | ~np.isfinite(travel)] = 0.0
        depth = self.depth_along(obstacle, lines)
        further = np.clip((self.top(obstacle, lines) - start - travel) / 2, self.tol_mm, 1.0)
        sure = depth > self.noise.crease_mm
        if sure.any():
            index = np.flatnonzero(sure)
            chosen = index[[int(travel[index].argmin())]]
        else:
            spread = np.argsort(travel)[:: -(-len(travel) // (MOST_TRIALS - 1))]
            chosen = np.union1d(spread, int(depth.argmax()))
            chosen = chosen[np.argsort(travel[chosen])]
        for i in chosen:
            shift = (travel[i] + further[i]) * self.pull
            seen = overlap_of(self.piece, obstacle, shift_mm=shift, noise=self.noise)
            if seen.is_real:
                return Collision(float(travel[i]), obstacle.name, seen)
            if sure.any():
                where = under[i] + travel[i] * self.pull
                overlap = Overlap(float(depth[i]), seen.volume_mm3, where, True)
                return Collision(float(travel[i]), obstacle.name, overlap)
        return None

    def points(self, lines: Floats, height: Floats | float) -> Floats:
        """(N, 3) the points of the lines at a height along the pull."""
        first, second = self.across
        points: Floats = lines[:, :1] * first + lines[:, 1:] * second
        points += np.reshape(height, (-1, 1)) * self.pull
        return points

    def underside(self, lines: Floats) -> Floats:
        """(N,) height of the first point of the piece on each line; +inf where it has none."""
        return self.start + self.piece.scene.distance(self.points(lines, self.start), self.pull)

    def top(self, obstacle: Part, lines: Floats) -> Floats:
        """(N,) height of the last point of the obstacle on each line; -inf where it has none."""
        end = float(np.maximum(*(obstacle.bounds_mm * self.pull)).sum()) + 1.0
        return end - obstacle.scene.distance(self.points(lines, end), -self.pull)

    def are_sound(self, obstacle: Part, lines: Floats) -> Flags:
        """(N,) whether both ends found on a line do lie on their surfaces.

        A ray that runs within the plane of a wall is answered from rounding alone, and then
        often with a height where nothing is.
        """
        under = self.points(lines, self.underside(lines))
        top = self.points(lines, self.top(obstacle, lines))
        eps_mm = 0.1 * self.tol_mm
        piece_mm = self.piece.surface.distance(under, limit_mm=eps_mm)
        obstacle_mm = obstacle.surface.distance(top, limit_mm=eps_mm)
        sound: Flags = np.isfinite(piece_mm) & np.isfinite(obstacle_mm)
        return sound

    def depth_along(self, obstacle: Part, lines: Floats) -> Floats:
        """(N,) by how much one solid's point overtops the other all around it.

        The piece's underside is held against the lowest obstacle top on the eight lines around
        it, the obstacle's top against the highest underside; the larger counts. On a slope of
        angle a that is (depth / cos a) - tol tan a, which exceeds tol only where the depth
        exceeds tol (sin a + cos a), between 1 and 1.42 tolerances.
        """
        under, top = self.underside(lines), self.top(obstacle, lines)
        lowest, highest = top, under
        for angle in np.arange(8) * (np.pi / 4):
            aside = lines + self.tol_mm * np.array([np.cos(angle), np.sin(angle)])
            lowest = np.minimum(lowest, self.top(obstacle, aside))
            highest = np.maximum(highest, self.underside(aside))
        deeper: Floats = np.maximum(lowest - under, top - highest)
        return deeper


def draft_check(
    piece: Part,
    skin: Part,
    inner: Samples,
    *,
    pull: Floats,
    draft_deg: float,
    clearance_mm: float,
    slack_mm: float,
) -> Check:
    """Whether the gap to the skin grows by the draft: after travel t it is t sin(draft) wider.

    A wall that leaves the skin at the angle delta gains sin(delta) for each millimetre of
    travel, and so does every other place of a piece built with that draft, because a point of
    the piece then keeps the gap c + t sin(delta) to all of the skin. ``found`` is the largest
    share of the inner face that stays more than ``slack_mm`` behind.
    """
    name = f"draft: {piece.name}"
    worst, where, at_travel = 0.0, None, 0.0
    for travel in DRAFT_TRAVELS_MM:
        due = clearance_mm + travel * np.sin(np.radians(draft_deg)) - slack_mm
        if draft_deg <= 0 or due <= 0:
            continue
        moved = inner.points_mm + travel * pull
        away = skin.surface.distance(moved, limit_mm=due)
        share = inner.share(np.isfinite(away))
        if share > worst:
            worst, where, at_travel = share, place(moved[int(away.argmin())]), travel
    passed = worst <= DRAFT_SHARE
    sentence = (
        f"The gap under the shell's {piece.name} opens by the draft of {draft_deg:g} degrees."
        if passed
        else f"{worst:.1%} of the inner face of {piece.name} frees itself by less than the draft "
        f"of {draft_deg:g} degrees over the first {at_travel:g} mm of travel; {DRAFT_SHARE:.1%} "
        "is allowed. Turn the pull or let more silicone fill the steep places."
    )
    return Check(name, passed, worst, DRAFT_SHARE, None if passed else where, sentence)
