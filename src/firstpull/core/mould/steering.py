"""What the maker fixed about the parting, taken from the mesh file to the mould.

Points, directions and walls are kept in the file's own coordinates, so that they stay right when
a job is planned anew. One matrix, from the file to the mould frame, holds unit, scale, turn and
shift; here everything is taken through it, and in_file.py takes it back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.zone import PartingWall

FLATTEST_DEG = 60.0  # from upright; a wall flatter than this parts no shell that stands on a board
LEAST_STEP_MM = 0.01  # between the knots of a bend: nearer ones are one


class BadSteering(WorkshopError):
    """What the maker fixed cannot be: a wall lies flat, a pull leads into the board."""

    code = "bad_steering"


class AskedWall(Protocol):
    """A wall as the sheet holds it."""

    @property
    def through(self) -> Sequence[float] | None: ...
    @property
    def facing(self) -> Sequence[float] | None: ...
    @property
    def bend(self) -> Sequence[Sequence[float]] | None: ...
    @property
    def line(self) -> Sequence[Sequence[float]] | None: ...


class AskedDab(Protocol):
    """A dab as the sheet holds it."""

    @property
    def at(self) -> Sequence[float]: ...
    @property
    def radius_mm(self) -> float: ...


class AskedShell(Protocol):
    """What a sheet says about the parting."""

    @property
    def walls(self) -> Sequence[AskedWall] | None: ...
    @property
    def pulls(self) -> Sequence[Sequence[float]] | None: ...
    @property
    def keep_whole(self) -> Sequence[AskedDab] | None: ...
    @property
    def symmetric(self) -> bool: ...
    @property
    def piece_worth_pct(self) -> float: ...


class AskedSheet(Protocol):
    """A job sheet, as far as the parting goes."""

    @property
    def shell(self) -> AskedShell: ...


@dataclass(frozen=True)
class Dab:
    """A dab of the brush: no wall may come nearer to its middle than its radius.

    Args:
        place_mm: on the surface, mould frame.
        radius_mm: at the size as printed.
    """

    place_mm: tuple[float, float, float]
    radius_mm: float


@dataclass(frozen=True)
class Steering:
    """What the maker fixed, in the mould frame.

    Args:
        walls: fixed planes and bent walls; each looks at the piece that it parts off first.
        lines: (N, 3) parting lines drawn on the body; see ``walls_on``.
        line_places: for each line, where its wall stands in the sheet's order of all walls.
        pulls: (P, 3) unit vectors for each piece in order; None where the search may choose.
        keep_whole: where no wall may stand.
        symmetric: whether only symmetric partings count.
        piece_worth: share of the silicone that a further piece must save.
    """

    walls: tuple[PartingWall, ...] = ()
    lines: tuple[Floats, ...] = ()
    line_places: tuple[int, ...] = ()
    pulls: Floats | None = None
    keep_whole: tuple[Dab, ...] = ()
    symmetric: bool = False
    piece_worth: float = 0.15

    def walls_on(self, body: Mesh) -> tuple[PartingWall, ...]:
        """All fixed walls in the sheet's order, drawn lines made into walls.

        Args:
            body: that the lines were drawn on, standing on the board.

        Raises:
            BadLine: a line gives no wall; its place is in the mould frame, see ``in_file``.
        """
        from firstpull.core.mould.drawn_line import BadLine, wall_along

        walls = list(self.walls)
        for place, line in zip(self.line_places, self.lines, strict=True):
            try:
                walls.insert(place, wall_along(line, body))
            except BadLine as bad:
                raise bad.called(f"The line of shell.walls, number {place + 1},") from None
        return tuple(walls)


def steering_of(sheet: AskedSheet, to_mould: ArrayLike) -> Steering:
    """What a sheet fixes, in the mould frame.

    Args:
        sheet: its points and directions are in the mesh file's coordinates.
        to_mould: (4, 4) from there: a turn, a shift and one scale for all axes. Points move,
            directions turn; radii are millimetres as printed already.

    Raises:
        BadSteering: a wall lies flat, a bend turns back, or a pull leads into the board.
    """
    matrix = np.asarray(to_mould, dtype=np.float64)
    shell = sheet.shell
    walls, lines, places = [], [], []
    for n, asked in enumerate(shell.walls or ()):
        if asked.line is not None:
            lines.append(_points(matrix, asked.line))
            places.append(n)
        else:
            walls.append(_wall(matrix, asked, f"shell.walls, number {n + 1}"))
    return Steering(
        walls=tuple(walls),
        lines=tuple(lines),
        line_places=tuple(places),
        pulls=_pulls(matrix, shell.pulls) if shell.pulls else None,
        keep_whole=tuple(
            Dab(_three(_points(matrix, [dab.at])[0]), float(dab.radius_mm))
            for dab in shell.keep_whole or ()
        ),
        symmetric=bool(shell.symmetric),
        piece_worth=shell.piece_worth_pct / 100.0,
    )


def _wall(matrix: Floats, asked: AskedWall, where: str) -> PartingWall:
    assert asked.through is not None and asked.facing is not None
    normal = _directions(matrix, [asked.facing])[0]
    from_upright = float(np.degrees(np.arcsin(min(1.0, abs(normal[2])))))
    if from_upright > FLATTEST_DEG:
        raise BadSteering(
            where=f"{where},",
            found=f"leans {from_upright:.0f} degrees from upright on the board",
            limit=f"a parting wall may lean up to {FLATTEST_DEG:.0f} degrees",
            remedy="Turn its facing more toward a side.",
        )
    offset = float(normal @ _points(matrix, [asked.through])[0])
    plane = PartingWall(_three(normal), offset)
    if asked.bend is None:
        return plane
    knots = _points(matrix, asked.bend)
    u, out = knots @ plane.across, knots @ normal - offset
    if u[-1] < u[0]:
        u, out = u[::-1], out[::-1]
    kept = np.concatenate([[True], np.abs(np.diff(u)) > LEAST_STEP_MM])
    u, out = u[kept], out[kept]
    if (np.diff(u) <= 0).any():
        raise BadSteering(
            where=f"{where}, bend",
            found=f"turns back at point {int(np.argmax(np.diff(u) <= 0)) + 2}",
            limit="seen along the wall its points run one way",
            remedy="Put them in order, or take that point out.",
        )
    bend = tuple((float(a), float(b)) for a, b in zip(u, out, strict=True))
    return PartingWall(plane.normal, offset, bend)


def _pulls(matrix: Floats, asked: Sequence[Sequence[float]]) -> Floats:
    pulls = _directions(matrix, asked)
    for n, pull in enumerate(pulls, start=1):
        if pull[2] <= 0:
            down = float(np.degrees(np.arcsin(min(1.0, -pull[2]))))
            raise BadSteering(
                where=f"shell.pulls, number {n},",
                found=f"leads {down:.0f} degrees down into the board"
                if down >= 0.5
                else "runs level, along the board",
                limit="a piece can only leave away from the board, which lies opposite master.up",
                remedy="Raise the pull, or check master.up.",
            )
    return pulls


def _points(matrix: Floats, points: ArrayLike) -> Floats:
    moved: Floats = np.asarray(points, dtype=np.float64) @ matrix[:3, :3].T + matrix[:3, 3]
    return moved


def _directions(matrix: Floats, ways: ArrayLike) -> Floats:
    """(N, 3) unit vectors; the largest part is made 1 first, so that none is lost as too small."""
    given = np.asarray(ways, dtype=np.float64).reshape(-1, 3)
    turned = (given / np.abs(given).max(axis=1, keepdims=True)) @ matrix[:3, :3].T
    unit: Floats = turned / np.linalg.norm(turned, axis=1, keepdims=True)
    return unit


def _three(vector: Floats) -> tuple[float, float, float]:
    x, y, z = (float(c) + 0.0 for c in vector)
    return x, y, z
