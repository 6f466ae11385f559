"""Which line does a card follow over a filled pocket, and from where is it pushed home?

In its plane the card covers only what is seen from where it comes, so that it never hooks on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.lines.figure import Curve, Plane
from firstpull.core.mesh.lines.section import section
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.fill_guide import FillPlace
from firstpull.core.mould.fill_surface import STANDS_OFF_MM

REST_MM = 22.0  # of plain skin at each end
LEAST_REST_MM = 6.0  # less does not steady a card
STEP_MM = 0.25  # between the places of a profile that are looked at
STEEPEST = 5.0  # rise over run, to which a profile is followed
LEANS_DEG = (0.0, 10.0, -10.0, 20.0, -20.0, 32.0, -32.0, 45.0, -45.0)
LONGISH = 1.6  # length over width of a pocket that is gauged across rather than upright
NEAR_MM = 45.0  # of a pocket around its deepest point, that tells which way it runs
ABOVE_BOARD_MM = 0.5
LONGEST_MM = 200.0  # of a card
ENOUGH = 120.0  # worth of a run that ends the search


@dataclass(frozen=True)
class Run:
    """A profile as seen from where its card comes.

    Args:
        axes: (3, 2) the card's x and y in the mould frame.
        x, y: (K,) places STEP_MM apart; y is the highest silicone there, -inf where none is.
        first, last: the stretch that the card may follow.
        fill: indices of where fill begins and ends within it.
        whole: whether no fill next to the deepest point lies beyond it.
    """

    axes: Floats
    x: Floats
    y: Floats
    first: int
    last: int
    fill: tuple[int, int]
    whole: bool

    @property
    def worth(self) -> float:
        """Fill that is covered counts before rests."""
        rests = (self.fill[0] - self.first, self.last - self.fill[1])
        steady = sum(min(rest * STEP_MM, REST_MM) for rest in rests)
        even = min(min(rest * STEP_MM, LEAST_REST_MM) for rest in rests)
        return 100.0 * self.whole + 0.5 * self.span_mm + steady + 4.0 * even

    @property
    def span_mm(self) -> float:
        """Length of the fill."""
        return min((self.fill[1] - self.fill[0]) * STEP_MM, 100.0)


def best_run(place: FillPlace, filled: Mesh, plain: Tree, grid: Grid) -> Run | None:
    """The profile to gauge a pocket by; None where nothing reaches its deepest point.

    Args:
        place: the pocket.
        filled: the filled skin's outside.
        plain: of the plain skin's.
        grid: the skin's.
    """
    at, out = np.array(place.place_mm), np.array(place.facing)
    best: tuple[float, Run] | None = None
    for along in _ways(place, grid):
        lines = section(filled, Plane(at, np.cross(along, out))).curves
        flat = [_ring(curve) - at for curve in lines]
        for lean_deg in LEANS_DEG:
            run = _run(flat, at, _leaned(along, out, lean_deg), plain)
            if run is None:
                continue
            worth = run.worth - 0.3 * abs(lean_deg)
            if best is None or worth > best[0]:
                best = (worth, run)
        if best is not None and best[1].whole and best[0] > ENOUGH:
            break
    return None if best is None else best[1]


def _ways(place: FillPlace, grid: Grid) -> list[Floats]:
    """Directions in the pocket's surface to lay a card along, the preferred first.

    Upright, unless the pocket is long and runs that way; then across it.
    """
    out = np.array(place.facing)
    ijk = np.stack(np.unravel_index(place.cells, grid.shape), axis=1)
    away = np.array(grid.low_mm) + grid.step_mm * ijk - np.array(place.place_mm)
    away = away[np.linalg.norm(away, axis=1) < NEAR_MM]
    away = away - (away @ out)[:, None] * out
    spread, axes = np.linalg.eigh(away.T @ away / max(len(away), 1))
    across = np.cross(out, axes[:, 2])
    across = across / np.linalg.norm(across)
    upright = np.array([0.0, 0.0, 1.0]) - out[2] * out
    if np.linalg.norm(upright) < 0.25:
        return [_rising(across), _rising(np.cross(out, across))]
    upright = upright / np.linalg.norm(upright)
    is_long = spread[2] > LONGISH**2 * max(spread[1], 1e-9)
    across_first = is_long and abs(float(upright @ across)) < 0.7
    level = np.cross(out, upright)
    if across_first:
        return [_rising(across), upright]
    return [upright, _rising(level)]


def _rising(way: Floats) -> Floats:
    return way if way[2] >= 0 else -way


def _leaned(along: Floats, out: Floats, lean_deg: float) -> Floats:
    """(3, 2) x and y of a card that comes leaned in its own plane."""
    c, s = np.cos(np.radians(lean_deg)), np.sin(np.radians(lean_deg))
    return np.stack([c * along - s * out, s * along + c * out], axis=1)


def _ring(curve: Curve) -> Floats:
    if not curve.is_closed:
        return curve.points_mm
    return np.concatenate([curve.points_mm, curve.points_mm[:1]])


def _run(lines: list[Floats], at: Floats, axes: Floats, plain: Tree) -> Run | None:
    """The profile around (0, 0) as a card along these axes meets it; None where it can't."""
    half = LONGEST_MM + REST_MM
    x = np.arange(-half, half + 0.5 * STEP_MM, STEP_MM)
    y = np.full(len(x), -np.inf)
    for line in lines:
        _raise(x, y, np.ascontiguousarray(line @ axes))
    middle = len(x) // 2
    if abs(y[middle]) > 2 * STEP_MM:
        return None  # something stands before the deepest point
    height = at[2] + x * axes[2, 0] + np.where(np.isfinite(y), y, 0.0) * axes[2, 1]
    with np.errstate(invalid="ignore"):
        steps = np.abs(np.diff(y)) <= STEEPEST * STEP_MM
    can = steps & (height[1:] > ABOVE_BOARD_MM) & (height[:-1] > ABOVE_BOARD_MM)
    first, last = middle - _count(can[:middle][::-1]), middle + _count(can[middle:])
    stretch = np.arange(first, last + 1)
    points = at + np.stack([x[stretch], y[stretch]], axis=1) @ axes.T
    off = plain.closest(points, reach_mm=STANDS_OFF_MM)[1] < 0
    low, high = _around(off, middle - first)
    whole = low > 0 and high < len(off) - 1
    # rests end where another pocket begins
    first = max(first + low - round(REST_MM / STEP_MM), first)
    last = min(stretch[0] + high + round(REST_MM / STEP_MM), last)
    return Run(axes, x, y, first, last, (int(stretch[low]), int(stretch[high])), whole)


@njit(cache=True)
def _raise(x: Any, y: Any, line: Any) -> None:
    """Raises y to a line of corners, wherever the line is higher."""
    for n in range(len(line) - 1):
        ax, ay, bx, by = line[n, 0], line[n, 1], line[n + 1, 0], line[n + 1, 1]
        if ax > bx:
            ax, ay, bx, by = bx, by, ax, ay
        low, high = np.searchsorted(x, ax), np.searchsorted(x, bx + 1e-12)
        for k in range(low, high):
            part = min(max((x[k] - ax) / max(bx - ax, 1e-12), 0.0), 1.0)
            y[k] = max(y[k], ay + part * (by - ay))


def _count(flags: Flags) -> int:
    """How many are set before the first that is not."""
    return int(np.argmin(flags)) if not flags.all() else len(flags)


def _around(off: Flags, middle: int) -> tuple[int, int]:
    """The stretch of fill around a place; gaps of up to 4 mm in it are part of it."""
    gap = round(4.0 / STEP_MM)
    ends = []
    for side in (off[: middle + 1][::-1], off[middle:]):
        set_at = np.flatnonzero(side)
        if not len(set_at):
            ends.append(0)
            continue
        jumps = np.flatnonzero(np.diff(set_at) > gap)
        ends.append(int(set_at[jumps[0]] if len(jumps) else set_at[-1]))
    return middle - ends[0], middle + ends[1]
