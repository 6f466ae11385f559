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
deeper than ``tol_mm``. In steps, depth is how far a corner of the overlap lies inside the other
solid; in columns, a point counts when it is overtopped by more than ``tol_mm`` on its own line
and on the eight lines around it at ``tol_mm``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mould.proof_parts import Check, Part, Samples, at, place

FIRST_STEP_MM = 0.1
STEP_RATIO = 2.5
COLUMN_SPACING_MM = 0.4
MOST_COLUMNS = 1_000_000
DRAFT_TRAVELS_MM = (1.5, 3.0, 6.0, 12.0)
DRAFT_SHARE = 0.005


@dataclass(frozen=True)
class Overlap:
    """How one solid stands in another: depth, volume and the deepest place."""

    depth_mm: float
    volume_mm3: float
    where_mm: Floats


NO_OVERLAP = Overlap(0.0, 0.0, np.zeros(3))


@dataclass(frozen=True)
class Collision:
    """The first meeting of a moving piece with an obstacle."""

    travel_mm: float
    obstacle: str
    overlap: Overlap


def overlap_of(moving: Part, other: Part, *, shift_mm: Floats) -> Overlap:
    """How deep ``moving``, shifted, and ``other`` stand in one another.

    Every corner of their intersection lies on one of the two surfaces; its distance to the
    other surface is how deep it stands there.
    """
    box, fixed = moving.mesh.bounds_mm + shift_mm, other.mesh.bounds_mm
    if np.any(box[0] >= fixed[1]) or np.any(box[1] <= fixed[0]):
        return NO_OVERLAP
    common: Any = moving.manifold.translate(tuple(shift_mm)) ^ other.manifold
    if common.is_empty():
        return NO_OVERLAP
    corners = np.array(common.to_mesh64().vert_properties[:, :3], dtype=np.float64)
    depth = np.maximum(moving.surface.distance(corners - shift_mm), other.surface.distance(corners))
    deepest = int(depth.argmax())
    return Overlap(float(depth[deepest]), float(common.volume()), corners[deepest])


def release_check(piece: Part, obstacles: Sequence[Part], *, pull: Floats, tol_mm: float) -> Check:
    """Whether a piece leaves along its pull, past all obstacles and off the board.

    ``found`` is the deepest overlap met, ``limit`` is ``tol_mm``.
    """
    met = _into_board(piece, pull, tol_mm) or _by_steps(piece, obstacles, pull, tol_mm)
    met = met or _by_columns(piece, obstacles, pull, tol_mm)
    name = f"release: {piece.name}"
    if met is None:
        return Check(
            name, True, 0.0, tol_mm, None,
            f"The shell's {piece.name} comes off along its pull without touching anything.",
        )  # fmt: skip
    volume = f", {met.overlap.volume_mm3:.1f} mm3 in all" if met.overlap.volume_mm3 > 0 else ""
    return Check(
        name, False, met.overlap.depth_mm, tol_mm, place(met.overlap.where_mm),
        f"The shell's {piece.name} runs into the {met.obstacle} after {met.travel_mm:.2f} mm of "
        f"travel, at {at(met.overlap.where_mm)}, {met.overlap.depth_mm:.2f} mm deep{volume}; "
        f"{tol_mm:g} mm is allowed. Turn the pull, move the parting, add a piece or let more "
        "silicone fill the undercut.",
    )  # fmt: skip


def _into_board(piece: Part, pull: Floats, tol_mm: float) -> Collision | None:
    """A pull that points down ends in the board; where the piece starts is another check."""
    if pull[2] >= -1e-6:
        return None
    lowest = piece.mesh.vertices_mm[piece.mesh.vertices_mm[:, 2].argmin()]
    travel = max(lowest[2] + tol_mm, 0.0) / -pull[2]
    return Collision(travel, "board", Overlap(tol_mm, 0.0, lowest + travel * pull))


def _steps(clear_mm: float) -> Iterator[float]:
    travel = FIRST_STEP_MM
    yield 0.0
    while travel < clear_mm:
        yield travel
        travel *= STEP_RATIO


def _by_steps(
    piece: Part, obstacles: Sequence[Part], pull: Floats, tol_mm: float
) -> Collision | None:
    lowest = float((piece.mesh.vertices_mm @ pull).min())
    highest = max(float((o.mesh.vertices_mm @ pull).max()) for o in obstacles)
    for travel in _steps(highest - lowest):
        for obstacle in obstacles:
            found = overlap_of(piece, obstacle, shift_mm=travel * pull)
            if found.depth_mm > tol_mm:
                return Collision(travel, obstacle.name, found)
    return None


def _by_columns(
    piece: Part, obstacles: Sequence[Part], pull: Floats, tol_mm: float
) -> Collision | None:
    found = [_column_meeting(piece, o, pull, tol_mm) for o in obstacles]
    return min((f for f in found if f), key=lambda f: f.travel_mm, default=None)


def _column_meeting(piece: Part, obstacle: Part, pull: Floats, tol_mm: float) -> Collision | None:
    rays = _Columns(piece, obstacle, pull)
    lines = rays.places(tol_mm)
    lines = lines[rays.top(lines) - rays.underside(lines) > tol_mm]
    if not len(lines):
        return None
    lines = lines[rays.depth_along(lines, tol_mm) > tol_mm]
    lines = lines[rays.are_sound(lines, 0.1 * tol_mm)]
    if not len(lines):
        return None
    under = rays.points(lines, rays.underside(lines))
    travel = obstacle.scene.distance(under, pull)
    first = int(travel.argmin())
    met_mm = float(travel[first])
    if not np.isfinite(met_mm):  # the underside starts inside, just below the obstacle's top
        met_mm = 0.0
    # At this travel the underside has just entered; a little farther shows the overlap.
    seen = overlap_of(piece, obstacle, shift_mm=(met_mm + 2 * tol_mm) * pull)
    where = seen.where_mm if seen.depth_mm > tol_mm else under[first] + met_mm * pull
    depth = max(seen.depth_mm, tol_mm)
    return Collision(met_mm, obstacle.name, Overlap(depth, seen.volume_mm3, where))


class _Columns:
    """Lines along the pull: where they stand, and what they meet of piece and obstacle."""

    def __init__(self, piece: Part, obstacle: Part, pull: Floats) -> None:
        self.piece, self.obstacle, self.pull = piece, obstacle, pull
        turn = Rotation.align_vectors([pull], [[0.0, 0.0, 1.0]])[0]
        self.across: Floats = turn.apply([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        self.start = float((piece.mesh.vertices_mm @ pull).min()) - 1.0
        self.end = float((obstacle.mesh.vertices_mm @ pull).max()) + 1.0

    def places(self, tol_mm: float) -> Floats:
        """(N, 2) a grid, and the vertices of both solids drawn inward a little.

        A vertex on the outline would have lines around it that miss; drawn in by 1.5 tolerances
        it keeps them all.
        """
        inside = self.piece.inset(1.5 * tol_mm) @ self.across.T
        others = self.obstacle.inset(1.5 * tol_mm) @ self.across.T
        flat = self.piece.mesh.vertices_mm @ self.across.T
        low, high = flat.min(axis=0), flat.max(axis=0)
        spacing = max(COLUMN_SPACING_MM, float(np.sqrt(np.prod(high - low) / MOST_COLUMNS)))
        ticks = [np.arange(low[i] + 0.37 * spacing, high[i], spacing) for i in range(2)]
        grid = np.stack(np.meshgrid(*ticks, indexing="ij"), axis=-1).reshape(-1, 2)
        within = np.all((others > low) & (others < high), axis=1)
        return np.concatenate([grid, inside, others[within]])

    def points(self, lines: Floats, height: Floats | float) -> Floats:
        """(N, 3) the points of the lines at a height along the pull."""
        points: Floats = lines @ self.across + np.reshape(height, (-1, 1)) * self.pull
        return points

    def underside(self, lines: Floats) -> Floats:
        """(N,) height of the first point of the piece on each line; +inf where it has none."""
        return self.start + self.piece.scene.distance(self.points(lines, self.start), self.pull)

    def top(self, lines: Floats) -> Floats:
        """(N,) height of the last point of the obstacle on each line; -inf where it has none."""
        return self.end - self.obstacle.scene.distance(self.points(lines, self.end), -self.pull)

    def are_sound(self, lines: Floats, eps_mm: float) -> Flags:
        """(N,) whether both ends found on a line do lie on their surfaces.

        A ray that runs within the plane of a wall is answered from rounding alone, and then
        often with a height where nothing is.
        """
        under = self.points(lines, self.underside(lines))
        top = self.points(lines, self.top(lines))
        piece_mm = self.piece.surface.distance(under, limit_mm=eps_mm)
        obstacle_mm = self.obstacle.surface.distance(top, limit_mm=eps_mm)
        sound: Flags = np.isfinite(piece_mm) & np.isfinite(obstacle_mm)
        return sound

    def depth_along(self, lines: Floats, tol_mm: float) -> Floats:
        """(N,) by how much one solid's point overtops the other all around it.

        The piece's underside is held against the lowest obstacle top on the eight lines around
        it, the obstacle's top against the highest underside; the larger counts. On a slope of
        angle a that is (depth / cos a) - tol tan a, which exceeds tol only where the depth
        exceeds tol (sin a + cos a), between 1 and 1.42 tolerances.
        """
        under, top = self.underside(lines), self.top(lines)
        lowest, highest = top, under
        for angle in np.arange(8) * (np.pi / 4):
            aside = lines + tol_mm * np.array([np.cos(angle), np.sin(angle)])
            lowest = np.minimum(lowest, self.top(aside))
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
