"""A parting line drawn on the body becomes a wall, and shows where a pull would run into it.

A wall is ruled along one direction, upright unless the line clearly leans. Seen along that
direction a drawn line is a path in the plane, which the wall follows through a few knots; the
path must run from one side of the body to the other and never turn back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.lines.figure import Plane
from firstpull.core.mesh.lines.section import section
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.show import told_place
from firstpull.core.mould.steering import FLATTEST_DEG
from firstpull.core.mould.zone import PartingWall

OFF_BODY_MM = 5.0  # a drawn point this far from the body was not drawn on it
END_MM = 15.0  # over the board: a line that comes down to here has arrived
LEFT_OVER_MM = 5.0  # of the body's width beyond an end: the wall goes on there by itself
TURNED_BACK_MM = 3.0  # more is a line that turns, less an unsteady hand
LEAST_SPAN_MM = 10.0
FOLLOWED_MM = 0.5  # how near the wall keeps to the line
KNOTS_MM = 0.4  # of that, for leaving out points; the rest is for their averaging
MOST_OFF_MM = 3.0  # from the wall to a drawn point
LEAST_TILT_DEG = 5.0
SPACING_MM = 0.5


class BadLine(WorkshopError):
    """A drawn line gives no wall; ``place_mm`` is where, mould frame, or None for all of it."""

    code = "bad_line"
    place_mm: tuple[float, float, float] | None = None
    name: str = "The drawn line"

    def called(self, name: str) -> BadLine:
        """The same refusal of a line that has a name."""
        told = BadLine(
            where=name + (_near(self.place_mm) if self.place_mm else ""),
            found=self.found,
            limit=self.limit,
            remedy=self.remedy,
        )
        told.place_mm, told.name = self.place_mm, name
        return told

    def in_file(self, to_mould: ArrayLike, *, name: str | None = None) -> BadLine:
        """The same refusal with its place in the mesh file's coordinates.

        Args:
            to_mould: (4, 4) from there.
            name: what the line is called; None leaves it as it is.
        """
        name = name or self.name
        place = None
        if self.place_mm is not None:
            x, y, z = (np.linalg.inv(np.asarray(to_mould)) @ [*self.place_mm, 1.0])[:3]
            place = (float(x), float(y), float(z))
        where = name + (_near(place) + " of the mesh file's axes" if place else "")
        told = BadLine(where=where, found=self.found, limit=self.limit, remedy=self.remedy)
        told.place_mm, told.name = place, name
        return told


@dataclass(frozen=True)
class LockedStretch:
    """Where along a wall a piece would run into it.

    Args:
        piece: 1 for the piece on the side that the wall faces, 2 for the other.
        from_mm, to_mm: across the wall.
        points_mm: (N, 3) the line there, to be shown red.
        lean_deg: least lean of the wall to the pull there, below the draft; negative where the
            piece would have to pass through the wall.
    """

    piece: int
    from_mm: float
    to_mm: float
    points_mm: Floats
    lean_deg: float

    @property
    def sentence(self) -> str:
        """What locks and where."""
        x, y, z = (round(c, 1) + 0.0 for c in self.points_mm[len(self.points_mm) // 2].tolist())
        lean = f"leans {self.lean_deg:.0f} degrees from the wall"
        if self.lean_deg < 0:
            lean = f"runs {-self.lean_deg:.0f} degrees into the wall"
        return (
            f"Along {self.to_mm - self.from_mm:.0f} mm of the line near ({x:.0f}, {y:.0f}, {z:.0f})"
            f" the pull of the piece on side {self.piece} {lean}."
        )


def wall_along(line_mm: ArrayLike, body: Mesh, *, board_z: float = 0.0) -> PartingWall:
    """The wall that follows a line drawn on the body.

    Args:
        line_mm: (N, 3) points on the body in the order drawn, mould frame.
        body: standing on the board, z up.
        board_z: height of the board.

    Returns:
        A wall that keeps within 0.5 mm of the line where the line is a path that a ruled wall
        can take, level beyond its ends. Seen from above it looks to the right of the line.

    Raises:
        BadLine: fewer than 3 points, all in one spot, off the body, not from side to side,
            closed in itself, or turning back; says where.
    """
    line = np.asarray(line_mm, dtype=np.float64).reshape(-1, 3)
    _need_line(line)
    _need_on_body(line, body)
    _need_open(line)
    dense = _resampled(line)
    normal = _fitted_normal(dense)
    plane = PartingWall(_three(normal), float(normal @ dense.mean(axis=0)))
    u, out = dense @ plane.across, dense @ normal - plane.offset_mm
    _need_one_way(dense, u)
    wall = _bent(plane, *_single(u, out))
    _need_near(line, wall)
    _need_ends(line, wall, body, board_z)
    return wall


def locked_stretches(
    wall: PartingWall, pulls: ArrayLike, *, draft_deg: float, line_mm: ArrayLike | None = None
) -> tuple[LockedStretch, ...]:
    """Where along a wall either pull would run into it.

    A piece stays clear while it leaves where the wall's facing m, toward the piece, keeps
    m . pull >= sin(draft) all along it.

    Args:
        wall: as drawn.
        pulls: (2, 3) of the piece that the wall faces, and of the other.
        draft_deg: least lean of a pull to the wall.
        line_mm: (N, 3) the drawn line, for the points that are shown; None shows the foot of
            the wall between its knots (for a plane 100 mm to either side of its middle).

    Returns:
        The stretches, those of piece 1 first; none where both pieces come off.
    """
    if line_mm is None:
        u = np.array([k[0] for k in wall.bend]) if wall.bend else np.array([-100.0, 100.0])
        knots = u[:, None] * wall.across + (wall.offset_mm + wall.out_mm(u))[:, None] * np.array(
            wall.normal
        )
        points = _resampled(knots)
    else:
        points = _resampled(np.asarray(line_mm, dtype=np.float64).reshape(-1, 3))
    u = points @ wall.across
    facing = wall.facing_at(u)
    found: list[LockedStretch] = []
    for piece, (side, pull) in enumerate(zip((1, -1), np.asarray(pulls), strict=True), start=1):
        way = np.asarray(pull, dtype=np.float64) / np.linalg.norm(pull)
        lean = np.degrees(np.arcsin(np.clip(side * facing @ way, -1, 1)))
        for run in _runs(lean < draft_deg - 1e-6):
            found.append(
                LockedStretch(
                    piece,
                    float(u[run].min()),
                    float(u[run].max()),
                    points[run],
                    float(lean[run].min()),
                )
            )
    return tuple(found)


def _need_line(line: Floats) -> None:
    if len(line) < 3 or not np.isfinite(line).all():
        raise _bad(
            None,
            f"has {len(line)} points" if len(line) < 3 else "has points that are no numbers",
            "a parting line needs 3 or more",
            "Draw it from rim to rim.",
        )
    span = float(np.linalg.norm(np.ptp(line[:, :2], axis=0)))
    if span < LEAST_SPAN_MM:
        raise _bad(
            line[0],
            f"is {span:.1f} mm long seen from above",
            f"a wall needs {LEAST_SPAN_MM:.0f} mm to be turned by",
            "Draw it across the body, from rim to rim.",
        )


def _need_on_body(line: Floats, body: Mesh) -> None:
    away = Tree.of(body).closest(line)[0]
    worst = int(np.argmax(away))
    if away[worst] > OFF_BODY_MM:
        raise _bad(
            line[worst],
            f"is {away[worst]:.0f} mm away from the body's surface",
            f"a line must be drawn on it, to {OFF_BODY_MM:.0f} mm",
            "Draw it anew on this shape; after a change of shape or place, carry it over with "
            "firstpull lock --for.",
        )


def _need_open(line: Floats) -> None:
    """A line whose ends meet runs around: no wall ruled upright can take it."""
    gap = float(np.linalg.norm(line[-1] - line[0]))
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    if gap < max(LEAST_SPAN_MM, 0.05 * length):
        raise _bad(
            line[0],
            "closes on itself there",
            "a wall stands upright and parts the body from side to side, so it cannot run around",
            "Draw from the rim over the body to the rim on the other side.",
        )


def _need_one_way(dense: Floats, u: Floats) -> None:
    back = np.maximum.accumulate(u) - u
    worst = int(np.argmax(back))
    if back[worst] > TURNED_BACK_MM:
        turn = int(np.argmax(u[: worst + 1]))
        raise _bad(
            dense[turn],
            f"turns back there, by {back[worst]:.0f} mm",
            f"a wall can follow a line that runs one way, to {TURNED_BACK_MM:.0f} mm",
            "Draw it straighter there, or make two walls of it.",
        )


def _need_near(line: Floats, wall: PartingWall) -> None:
    away = np.abs(wall.depth(*line.T))
    worst = int(np.argmax(away))
    if away[worst] > MOST_OFF_MM:
        raise _bad(
            line[worst],
            f"runs along the wall's own direction there, {away[worst]:.0f} mm from where it can "
            "stand",
            f"a wall is ruled straight up and follows a line to {MOST_OFF_MM:.0f} mm",
            "Let the line run straight down where the body is steep.",
        )


def _need_ends(line: Floats, wall: PartingWall, body: Mesh, board_z: float) -> None:
    """Each end has come down to the board, or little of the body is left beyond it."""
    low = max(board_z, float(body.vertices_mm[:, 2].min()))
    for end, side in ((line[0], -1.0), (line[-1], 1.0)):
        if end[2] <= low + END_MM:
            continue
        left = _left_beyond(end, side, wall, body)
        if left > LEFT_OVER_MM:
            raise _bad(
                end,
                f"ends {end[2] - low:.0f} mm over the board with {left:.0f} mm of the body left "
                "beside it, so it does not close",
                f"both ends must come within {END_MM:.0f} mm of the board or to the body's side",
                "Draw it on down to the rim.",
            )


def _left_beyond(end: Floats, side: float, wall: PartingWall, body: Mesh) -> float:
    """How far the body reaches beyond an end, where the wall goes on level."""
    u = float(end @ wall.across)
    normal = np.array(wall.normal)
    last = wall.bend[0 if side < 0 else -1][1] if wall.bend else 0.0
    cut = section(body, Plane((wall.offset_mm + last) * normal, normal))
    reach = [float((side * (curve.points_mm @ wall.across - u)).max()) for curve in cut.curves]
    return max(reach, default=0.0)


def _fitted_normal(dense: Floats) -> Floats:
    """The normal of the plane through a line by total least squares, to the line's right.

    Upright, unless a leaning plane leaves less than half of the upright one's rest.
    """
    about = dense - dense.mean(axis=0)
    flat = np.linalg.svd(about[:, :2], full_matrices=False)[2][1]
    upright = np.array([flat[0], flat[1], 0.0])
    leaning = np.linalg.svd(about, full_matrices=False)[2][2]
    rest, least = (float(np.sqrt(np.mean((about @ n) ** 2))) for n in (upright, leaning))
    tilt = float(np.degrees(np.arcsin(min(1.0, abs(float(leaning[2]))))))
    clear = rest > FOLLOWED_MM and least < 0.5 * rest and LEAST_TILT_DEG < tilt < FLATTEST_DEG
    normal = leaning if clear else upright
    ahead = dense[-1] - dense[0]
    right = np.array([ahead[1], -ahead[0], 0.0])
    return normal if normal @ right >= 0 else -normal


def _single(u: Floats, out: Floats) -> tuple[Floats, Floats]:
    """One place for each stretch of half a millimetre across: an unsteady hand made steady."""
    slot = np.floor((u - u.min()) / SPACING_MM).astype(np.int64)
    _, slot = np.unique(slot, return_inverse=True)
    count = np.bincount(slot)
    return np.bincount(slot, weights=u) / count, np.bincount(slot, weights=out) / count


def _bent(plane: PartingWall, u: Floats, out: Floats) -> PartingWall:
    """The plane bent through as few knots as keep it near the path; none where it is straight."""
    if len(u) < 2 or np.abs(out).max() <= KNOTS_MM:
        return plane
    kept = _knots(u, out, within_mm=KNOTS_MM)
    bend = tuple((float(a), float(b)) for a, b in zip(u[kept], out[kept], strict=True))
    return PartingWall(plane.normal, plane.offset_mm, bend)


def _knots(u: Floats, out: Floats, *, within_mm: float) -> Flags:
    """The points that a path is kept by (Douglas and Peucker 1973)."""
    kept = np.zeros(len(u), dtype=bool)
    kept[[0, -1]] = True
    open_runs = [(0, len(u) - 1)]
    while open_runs:
        first, last = open_runs.pop()
        run = np.array([u[last] - u[first], out[last] - out[first]])
        run /= max(float(np.linalg.norm(run)), 1e-12)
        inner = slice(first + 1, last)
        away = np.abs(run[0] * (out[inner] - out[first]) - run[1] * (u[inner] - u[first]))
        if len(away) and away.max() > within_mm:
            middle = first + 1 + int(np.argmax(away))
            kept[middle] = True
            open_runs += [(first, middle), (middle, last)]
    return kept


def _resampled(line: Floats) -> Floats:
    """The line with a point every half millimetre, its own points kept."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    every = np.arange(0.0, along[-1], SPACING_MM)
    at = np.unique(np.concatenate([every, along]))
    return np.stack([np.interp(at, along, line[:, axis]) for axis in range(3)], axis=1)


def _runs(chosen: Flags) -> list[slice]:
    """The stretches where a row of flags is set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(np.int8), [0]])))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _bad(place: Floats | None, found: str, limit: str, remedy: str) -> BadLine:
    at = None if place is None else _three(place)
    bad = BadLine(
        where=BadLine.name + (_near(at) if at else ""),
        found=found,
        limit=limit,
        remedy=remedy,
    )
    bad.place_mm = at
    return bad


def _near(place: tuple[float, float, float]) -> str:
    return f" near {told_place(place)}"


def _three(vector: Floats) -> tuple[float, float, float]:
    x, y, z = (float(c) + 0.0 for c in vector)
    return x, y, z
