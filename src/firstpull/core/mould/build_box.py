"""Does a printed piece fit the build box, under any turn of it?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh

TURNS = 2000  # tried; with a box's own 24 turns about 5 degrees apart
BEST_TURNS = 10  # of them made better in small steps
FIRST_STEP_DEG, LAST_STEP_DEG = 6.0, 0.002
SLACK_MM = 0.01  # no build box is known better


@dataclass(frozen=True)
class BuildBox:
    """The room of a printer.

    Args:
        size_mm: width, depth and height.
        margin_mm: kept free on all four sides of the plate, for a brim and bed clips; common
            practice.
    """

    size_mm: tuple[float, float, float]
    margin_mm: float = 5.0


@dataclass(frozen=True)
class Fit:
    """How a piece lies in the build box.

    Args:
        rotation: (3, 3) from the piece's axes to the box's, z up from the plate.
        size_mm: the room it takes along the box's x, y and z.
    """

    rotation: Floats
    size_mm: tuple[float, float, float]


def fits(piece: Mesh | ArrayLike, box_mm: ArrayLike, *, margin_mm: float) -> Fit | None:
    """How a piece lies in the build box, or None where no turn was found that lets it.

    Args:
        piece: a mesh, or (N, 3) points.
        box_mm: width, depth and height of the build box.
        margin_mm: kept free on all four sides of the plate, for a brim and bed clips.

    Returns:
        As modelled if that fits, else turned about z, else the best of all turns. A turn that
        is returned was checked with every point; a None may rarely miss a turn that fits by
        a few hundredths of a millimetre.

    The search looks at few supporting points; each turn that satisfies those is tried on all,
    and what sticks out joins them.

    Source: even turns after Alexa, Super-Fibonacci spirals, 2022.

    >>> bar = [[0, 0, 0], [120, 0, 0]]
    >>> fits(bar, (100, 100, 50), margin_mm=0).size_mm[2], fits(bar, (60, 60, 60), margin_mm=5)
    (0.0, None)
    """
    points = _points(piece)
    room = usable_mm(box_mm, margin_mm=margin_mm)
    if not len(points):
        return Fit(np.eye(3), (0.0, 0.0, 0.0))
    size = np.ptp(points, axis=0)
    if (size <= room + SLACK_MM).all():
        return Fit(np.eye(3), _three(size))
    few = _supporting(points)
    apart = np.linalg.norm(few[:, None] - few[None], axis=2).max()
    if apart > np.linalg.norm(room) + SLACK_MM:
        return None
    for starts, ways, ordered in (
        (_about_z(), np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]]), False),
        (super_fibonacci(TURNS), _spread_ways(), True),
    ):
        fit, few = _turned_in(points, few, room, starts, ways, ordered)
        if fit is not None:
            return fit
    return None


def usable_mm(box_mm: ArrayLike, *, margin_mm: float) -> Floats:
    """(3,) what is left of a build box inside the margin on the four sides of its plate."""
    return np.asarray(box_mm, dtype=np.float64) - [2 * margin_mm, 2 * margin_mm, 0.0]


def least_parts(piece: Mesh | ArrayLike, box_mm: ArrayLike, *, margin_mm: float) -> int:
    """A number of parts that no way of cutting can beat.

    Points farther apart than the box's diagonal can not share a part; so many were found
    that lie pairwise that far apart. Fewer parts are impossible; as few need not be enough.

    >>> least_parts([[0, 0, 0], [50, 0, 0], [100, 0, 0]], (25, 25, 25), margin_mm=0)
    3
    """
    points = _points(piece)
    far = float(np.linalg.norm(usable_mm(box_mm, margin_mm=margin_mm)))
    if not len(points):
        return 1
    chosen = [int(np.argmax(np.linalg.norm(points - points.mean(axis=0), axis=1)))]
    nearest = np.linalg.norm(points - points[chosen[0]], axis=1)
    # the nearest of those that are far enough packs more of them than the farthest
    while (nearest > far + SLACK_MM).any():
        allowed = np.flatnonzero(nearest > far + SLACK_MM)
        chosen.append(int(allowed[np.argmin(nearest[allowed])]))
        nearest = np.minimum(nearest, np.linalg.norm(points - points[chosen[-1]], axis=1))
    return len(chosen)


def super_fibonacci(count: int) -> Floats:
    """(count, 3, 3) evenly spread rotations.

    Source: Alexa, Super-Fibonacci spirals: fast, low-discrepancy sampling of SO(3), 2022.
    """
    s = np.arange(count) + 0.5
    psi = 1.533751168755204288  # solves psi^4 = psi + 4
    a, b = 2 * np.pi * s / np.sqrt(2.0), 2 * np.pi * s / psi
    r, q = np.sqrt(s / count), np.sqrt(1 - s / count)
    x, y, z, w = r * np.sin(a), r * np.cos(a), q * np.sin(b), q * np.cos(b)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), 2, 0)


def _points(piece: Mesh | ArrayLike) -> Floats:
    if isinstance(piece, Mesh):
        return piece.vertices_mm
    return np.asarray(piece, dtype=np.float64).reshape(-1, 3)


def _turned_in(
    points: Floats, few: Floats, room: Floats, starts: Floats, ways: Floats, ordered: bool
) -> tuple[Fit | None, Floats]:
    """A fit from one set of first turns, and the points that the search had to look at."""
    limit = np.sort(room) if ordered else room
    while True:
        turn, over = _least_excess(few, limit, starts, ways, ordered)
        if over > SLACK_MM:
            return None, few
        outer, size = _outermost(points, turn)
        if ((np.sort(size) if ordered else size) <= limit + SLACK_MM).all():
            return _as_fit(turn, size, room, ordered), few
        few = np.concatenate([few, points[outer]])


def _as_fit(turn: Floats, size: Floats, room: Floats, ordered: bool) -> Fit:
    """The turn with its longest way along the box's longest."""
    if not ordered:
        return Fit(turn, _three(size))
    swap = np.zeros((3, 3))
    swap[np.argsort(room, kind="stable"), np.argsort(size, kind="stable")] = 1.0
    if np.linalg.det(swap) < 0:
        swap[0] *= -1.0
    return Fit(swap @ turn, _three(np.abs(swap) @ size))


def _least_excess(
    points: Floats, limit: Floats, starts: Floats, ways: Floats, ordered: bool
) -> tuple[Floats, float]:
    """The turn by which points stick out least, and by how much; the first that fits will do."""
    over = _excess(points, limit, starts, ordered)
    best = np.argsort(over, kind="stable")[:BEST_TURNS]
    turns, over = starts[best], over[best]
    step = FIRST_STEP_DEG
    while over.min() > 0.0 and step > LAST_STEP_DEG:
        tried = _small_turns(ways, step)[None] @ turns[:, None]
        costs = _excess(points, limit, tried.reshape(-1, 3, 3), ordered).reshape(len(turns), -1)
        at = costs.argmin(axis=1)
        found = costs[np.arange(len(turns)), at]
        better = found < over - 1e-9
        turns = np.where(better[:, None, None], tried[np.arange(len(turns)), at], turns)
        over = np.where(better, found, over)
        if not better.any():
            step /= 2
    k = int(np.argmin(over))
    return turns[k], float(over[k])


def _excess(points: Floats, limit: Floats, turns: Floats, ordered: bool) -> Floats:
    """(N,) by how much points stick out of the limit under each turn."""
    size = _sizes(points, turns)
    if ordered:
        size.sort(axis=1)
    return np.asarray((size - limit).max(axis=1))


def _sizes(points: Floats, turns: Floats) -> Floats:
    """(N, 3) the room that points take under each turn."""
    return np.asarray(_spans(points, np.ascontiguousarray(turns)))


@njit(cache=True, fastmath=True)
def _spans(points, turns):  # type: ignore[no-untyped-def]
    out = np.empty((len(turns), 3))
    for n in range(len(turns)):
        for a in range(3):
            x, y, z = turns[n, a, 0], turns[n, a, 1], turns[n, a, 2]
            low, high = np.inf, -np.inf
            for p in range(len(points)):
                along = x * points[p, 0] + y * points[p, 1] + z * points[p, 2]
                low, high = min(low, along), max(high, along)
            out[n, a] = high - low
    return out


def _supporting(points: Floats) -> Floats:
    """The outermost points along some ways."""
    outer, _ = _outermost(points, _spread_ways()[:13])
    return np.ascontiguousarray(points[np.unique(outer)])


@njit(cache=True)
def _outermost(points, ways):  # type: ignore[no-untyped-def]
    """The first and last points along each way, one after the other, and how far apart."""
    outer = np.empty(2 * len(ways), dtype=np.int64)
    size = np.empty(len(ways))
    for a in range(len(ways)):
        low, high = np.inf, -np.inf
        for p in range(len(points)):
            at = points[p]
            along = ways[a, 0] * at[0] + ways[a, 1] * at[1] + ways[a, 2] * at[2]
            if along < low:
                low, outer[2 * a] = along, p
            if along > high:
                high, outer[2 * a + 1] = along, p
        size[a] = high - low
    return outer, size


@lru_cache(maxsize=1)
def _spread_ways() -> Floats:
    """(26, 3) unit vectors to a cube's corners, edges and faces, opposite ones 13 apart."""
    ways = np.array([[i, j, k] for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1)])
    half = ways[:13] / np.linalg.norm(ways[:13], axis=1, keepdims=True)
    return np.concatenate([half, -half])


@lru_cache(maxsize=1)
def _about_z() -> Floats:
    return _small_turns(np.array([[0.0, 0.0, 1.0]]), np.arange(0.0, 180.0, 1.0)[:, None])[:, 0]


def _small_turns(ways: Floats, deg: Any) -> Floats:
    """Rotations about each way by so many degrees."""
    x, y, z = ways.T
    zero = np.zeros_like(x)
    k = np.moveaxis(np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]]), 2, 0)
    angle = np.radians(np.asarray(deg, dtype=np.float64))[..., None, None]
    return np.asarray(np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k))


def _three(size: Floats) -> tuple[float, float, float]:
    x, y, z = (float(c) for c in size)
    return x, y, z
