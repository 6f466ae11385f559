"""What does a maker see who looks down on the mould: its body, and how the shell is split?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mesh.lines.figure import Plane
from firstpull.core.mesh.lines.section import section
from firstpull.core.mesh.mesh import Mesh

Outline = tuple[tuple[float, float], ...]
"""Corners (x, y) in mm of a closed line, the last joined to the first."""

CORNER_MM = 0.5  # outlines are told with corners that leave the true line by no more
MOST_LEVELS = 12
JUST_ABOVE_MM = 0.01  # the board: on it a body has its lowest faces, which a cut does not show
LEAST_SIDES = 3
NOWHERE = -1e4  # mm, below every board
LEAST_LOOP_MM2 = 25.0  # a smaller loop would be a speck in a picture of the hand's size


@dataclass(frozen=True)
class Level:
    """The body cut level at a height.

    Args:
        z_mm: above the board.
        outlines: of the cut; a hole is an outline of its own.
    """

    z_mm: float
    outlines: tuple[Outline, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        outlines = [[list(corner) for corner in outline] for outline in self.outlines]
        return {"z_mm": round(self.z_mm, 1), "outlines": outlines}


def relief(body: Mesh) -> tuple[Level, ...]:
    """The body as a map draws a hill: level cuts at round heights, the foot first.

    Args:
        body: closed, standing on the board at z = 0.

    Five to twelve levels, at multiples of 1, 2 or 5 times a power of ten.

    >>> from firstpull.core.mesh.solid import mesh_of
    >>> import manifold3d
    >>> box = manifold3d.Manifold.cube((30, 20, 40))
    >>> [level.z_mm for level in relief(mesh_of(box))]
    [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0]
    """
    top = float(body.bounds_mm[1, 2])
    step = _round_step(top / MOST_LEVELS)
    levels = []
    for z in step * np.arange(int(np.ceil(top / step))):
        cut = section(body, Plane.across("z", max(float(z), JUST_ABOVE_MM)))
        loops = [curve.points_mm[:, :2] for curve in cut.curves if curve.is_closed]
        levels.append(Level(float(z), outlines_of(loops)))
    return tuple(level for level in levels if level.outlines)


def _round_step(least: float) -> float:
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(k * power for k in (1, 2, 5, 10) if k * power >= least))


class SeenFromAbove:
    """Gathers the pieces of a shell, then tells each one's outline seen from above."""

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        self._edges: list[Field] = []
        self._tops: list[Field] = []

    def add(self, piece: Field) -> None:
        """A piece as a field on the grid, negative inside."""
        self._edges.append(piece.min(axis=2))
        self._tops.append(_tops(piece, self._grid))

    def outlines(self) -> tuple[tuple[Outline, ...], ...]:
        """For each piece the outlines of what no other piece hides.

        A leaning wall is seen where it meets the outside of the shell.
        """
        found = []
        step = np.float32(self._grid.step_mm)
        for number, edge in enumerate(self._edges):
            seen = edge
            own = self._tops[number]
            for other, top in enumerate(self._tops):
                if other != number:
                    over = np.where(own > NOWHERE, np.clip(top - own, -step, step), -step)
                    seen = np.maximum(seen, over)
            found.append(outlines_of(_zero_lines(seen, self._grid)))
        return tuple(found)


def _tops(piece: Field, grid: Grid) -> Field:
    """(X, Y) height of the highest place of a piece in each column; NOWHERE where there is none."""
    inside = piece < 0
    count = piece.shape[2]
    k = count - 1 - np.argmax(inside[:, :, ::-1], axis=2)
    above = np.minimum(k + 1, count - 1)
    here = np.take_along_axis(piece, k[:, :, None], axis=2)[:, :, 0]
    next_up = np.take_along_axis(piece, above[:, :, None], axis=2)[:, :, 0]
    part = np.clip(here / np.minimum(here - next_up, -1e-6), 0, 1)
    heights = grid.low_mm[2] + grid.step_mm * (k + part)
    return np.where(inside.any(axis=2), heights, NOWHERE).astype(np.float32)


def _zero_lines(field: Field, grid: Grid) -> list[NDArray[Any]]:
    from skimage.measure import find_contours

    padded = np.pad(field, 1, constant_values=np.float32(grid.step_mm))
    low = np.array(grid.low_mm[:2]) - grid.step_mm
    return [low + grid.step_mm * line for line in find_contours(padded, 0.0)]


def outlines_of(loops: Iterable[NDArray[Any]]) -> tuple[Outline, ...]:
    """Loops with few corners, in tenths of a millimetre, the largest first; specks left out."""
    from skimage.measure import approximate_polygon

    kept = []
    for loop in loops:
        closed = np.vstack([loop, loop[:1]])
        (x0, y0), (x1, y1) = closed[:-1].T, closed[1:].T
        area = 0.5 * abs(float(np.sum(x0 * y1 - x1 * y0)))
        if area < LEAST_LOOP_MM2:
            continue
        line = approximate_polygon(closed, CORNER_MM)[:-1]
        if len(line) >= LEAST_SIDES:
            kept.append((area, tuple((_tenth(x), _tenth(y)) for x, y in line)))
    return tuple(outline for _, outline in sorted(kept, key=lambda pair: -pair[0]))


def _tenth(value: float) -> float:
    return round(float(value), 1) + 0.0
