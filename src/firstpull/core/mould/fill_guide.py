"""Which pockets must silicone fill, so that the shell comes off: where, how deep, how much?

What the filled skin has more than the plain one is parted into places. Two pockets are one
place where the fill between them is at least a third as deep as the shallower of the two; a
film or a shallow channel does not make them one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.figures import told_number
from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.fill_surface import (
    STANDS_OFF_MM,
    Indices,
    Patch,
    SkinSurfaces,
    pocket_surfaces,
    skin_surfaces,
)
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import with_soft_valleys
from firstpull.core.mould.zone import Zone

FILM_MM = 0.5  # thinner fill goes on with a coat and joins nothing
SKIRT_MM = 4.0  # a place ends so far from where its fill is thicker than a film
SADDLE = 1 / 3  # of the shallower pocket's depth: two that are joined so deep are one
SPECK_CM3 = 0.1  # a place with less is not told by itself
LEAST_SHARE = 0.02  # of a place's volume, for a shell piece to be named as lying over it
MARGIN = 4  # grid points beyond the fill that its rounded valleys ask for
SIDES = (
    ("the right", "+x"),
    ("the back and right", "+x, +y"),
    ("the back", "+y"),
    ("the back and left", "-x, +y"),
    ("the left", "-x"),
    ("the front and left", "-x, -y"),
    ("the front", "-y"),
    ("the front and right", "+x, -y"),
)
"""In eighths of a turn from +x over +y; the front is the -y side."""


@dataclass(frozen=True)
class FillPlace:
    """One pocket to be filled.

    Args:
        number: from 1, the largest first.
        place_mm: where the filled surface stands farthest off the plain skin.
        facing: unit vector out of the filled surface there.
        depth_mm: how far it stands off there, to the nearest place of the plain skin; read at
            the middles of triangles, it may miss half a grid step where it comes to a point.
        bottom_mm: how thick silicone lies on the bottom of the pocket: the greatest distance
            from the plain skin out to the filled surface; more than ``depth_mm`` in a pocket
            that is deeper than wide.
        volume_cm3: of the fill.
        area_cm2: of the filled surface.
        pieces: numbers, from 1, of the shell pieces that lie over it, the most of it first.
        low_mm, high_mm: the corners of its box.
        cells: its grid points, as flat indices into the skin's grid.
    """

    number: int
    place_mm: tuple[float, float, float]
    facing: tuple[float, float, float]
    depth_mm: float
    bottom_mm: float
    volume_cm3: float
    area_cm2: float
    pieces: tuple[int, ...]
    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]
    cells: Indices = field(repr=False)

    @property
    def side(self) -> str:
        """The side of the mould it looks to, see ``side_of``."""
        return side_of(self.facing)

    @property
    def sentence(self) -> str:
        """Where it is and what it takes, for the maker."""
        over = " and ".join(str(piece) for piece in self.pieces)
        under = f" under shell piece{'s' if len(self.pieces) > 1 else ''} {over}"
        bottom = ""
        if self.bottom_mm > 1.25 * self.depth_mm:
            bottom = f", {self.bottom_mm:.0f} mm thick over its bottom"
        return (
            f"Pocket {self.number}, {told(self.volume_cm3)} cm³, looks to {self.side}, deepest "
            f"{self.place_mm[2]:.0f} mm above the board: there the silicone stands "
            f"{told(self.depth_mm)} mm off the plain skin{bottom}. "
            f"It covers {told(self.area_cm2)} cm²{under}."
        )

    def as_json(self) -> dict[str, Any]:
        """Plain data, without the cells; grams are the caller's, who knows the rubber."""
        return {
            "number": self.number,
            "place_mm": [round(c, 1) for c in self.place_mm],
            "facing": [round(c, 3) for c in self.facing],
            "side": self.side,
            "depth_mm": round(self.depth_mm, 2),
            "bottom_mm": round(self.bottom_mm, 2),
            "volume_cm3": round(self.volume_cm3, 3),
            "area_cm2": round(self.area_cm2, 2),
            "pieces": list(self.pieces),
            "low_mm": [round(c, 1) for c in self.low_mm],
            "high_mm": [round(c, 1) for c in self.high_mm],
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class FillGuide:
    """All fill of a mould.

    Args:
        places: the pockets, largest first.
        rest_cm3: films and specks that are no place of their own; laid with the coats.
    """

    places: tuple[FillPlace, ...]
    rest_cm3: float

    @property
    def total_cm3(self) -> float:
        """Places and rest together."""
        return sum(place.volume_cm3 for place in self.places) + self.rest_cm3

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "places": [place.as_json() for place in self.places],
            "rest_cm3": round(self.rest_cm3, 3),
            "total_cm3": round(self.total_cm3, 3),
        }


def side_of(way: ArrayLike) -> str:
    """The side of the mould that a way points to, in words and by the axes.

    >>> side_of((0.9, 0.1, 0.3)), side_of((0.1, 0.0, 1.0))
    ('the right (+x)', 'the top')
    """
    x, y, z = (float(c) for c in np.asarray(way))
    if np.hypot(x, y) < 0.25 * abs(z):
        return "the top" if z > 0 else "the underside"
    words, axes = SIDES[round(float(np.degrees(np.arctan2(y, x))) / 45) % 8]
    return f"{words} ({axes})"


def told(value: float) -> str:
    """A figure with as many digits as are worth telling.

    >>> told(22.41), told(3.14159), told(0.236)
    ('22', '3.1', '0.24')
    """
    return (
        f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else told_number(value, 2)
    )


def fill_guide(
    shape: SkinShape,
    fill: Fill,
    *,
    zones: Sequence[Zone] = (),
    surfaces: SkinSurfaces | None = None,
) -> FillGuide:
    """The pockets that silicone must fill, largest first.

    Args:
        shape: the skin before fill.
        fill: what was added to it.
        zones: of the shell's pieces, in their order; none is a shell in one piece.
        surfaces: as ``skin_surfaces`` gives them, where they are at hand.

    Volumes are counted in cells, those on a surface in part by how far it runs from their
    middle: each is right to about 1 % of its surface times half a grid step. Fill under a
    film's thickness joins no pockets, and farther than 4 mm from anything thicker it is rest,
    as are places under 0.1 cm3.
    """
    grid = shape.grid
    cells, added, depth = _fill_cells(shape, fill)
    label = _labelled(cells, added, depth, grid)
    surfaces = surfaces or skin_surfaces(shape, fill)
    outer = Patch.of(surfaces.filled, surfaces.plain, cells, label, grid)
    inner = Patch.of(surfaces.plain, surfaces.filled, cells, label, grid)
    piece = _piece_of(cells, zones, grid)
    places = []
    for number in range(1, int(label.max(initial=0)) + 1):
        own = label == number
        place = _place(number, cells[own], added[own], piece[own], outer, inner, grid)
        if place is not None:
            places.append(place)
    places = [replace(place, number=n) for n, place in enumerate(places, start=1)]
    rest = float(added.sum()) - sum(place.volume_cm3 for place in places)
    return FillGuide(tuple(places), max(rest, 0.0))


def skin_and_pockets(guide: FillGuide, surfaces: SkinSurfaces, grid: Grid) -> tuple[Mesh, Mesh]:
    """The filled skin's outside above the board, for pictures: plain skin, and its pockets.

    Args:
        guide: of this skin and fill.
        surfaces: as ``skin_surfaces`` gives them.
        grid: the skin's.
    """
    none = [np.zeros(0, dtype=np.int64)]
    cells = np.concatenate([*none, *(place.cells for place in guide.places)])
    label = np.concatenate(
        [*none, *(np.full(len(p.cells), p.number, np.int64) for p in guide.places)]
    )
    order = np.argsort(cells, kind="stable")
    return pocket_surfaces(surfaces, cells[order], label[order], grid)


def _fill_cells(shape: SkinShape, fill: Fill) -> tuple[Indices, Floats, Floats]:
    """Cells that fill enters: flat indices, cm3 of fill in each, distance off the plain skin."""
    grid = shape.grid
    filled = fill.field(shape.phi)
    lower = (filled < shape.phi) & (filled < 0.5 * grid.step_mm) & (shape.phi > -grid.step_mm)
    lower[:, :, grid.axis(2) < 0] = False
    if not lower.any():
        return np.zeros(0, np.int64), np.zeros(0), np.zeros(0)
    box = _box(lower, MARGIN)
    plain = with_soft_valleys(np.ascontiguousarray(shape.phi[box]), grid)
    inside, filled, lower = plain, np.minimum(filled[box], plain), lower[box]
    more = _share(filled[lower], grid) - _share(inside[lower], grid)
    low = [axis.start for axis in box]
    ijk = np.argwhere(lower)[more > 0] + np.array(low)
    flat = np.ravel_multi_index(tuple(ijk.T), grid.shape).astype(np.int64)
    away = plain[lower][more > 0].astype(np.float64)
    return flat, more[more > 0] * grid.step_mm**3 / 1000, away


def _share(values: Field, grid: Grid) -> Floats:
    """How much of each cell lies where a field is negative."""
    return np.clip(0.5 - values.astype(np.float64) / grid.step_mm, 0, 1)


def _box(flags: Flags, margin: int) -> tuple[slice, ...]:
    """The box of what is set, and so many points more."""
    box = []
    for axis in range(3):
        line = np.flatnonzero(flags.any(axis=tuple({0, 1, 2} - {axis})))
        box.append(slice(max(int(line[0]) - margin, 0), int(line[-1]) + 1 + margin))
    return tuple(box)


def _labelled(cells: Indices, added: Floats, depth: Floats, grid: Grid) -> NDArray[np.int64]:
    """(N,) number of each cell's place by falling volume, 0 for what is none."""
    if not len(cells):
        return np.zeros(0, dtype=np.int64)
    a, b = _neighbours(cells, grid)
    thick = depth > FILM_MM
    both = thick[a] & thick[b]
    level = np.minimum(depth[a], depth[b])[both]
    upper = np.maximum(depth[a], depth[b])[both]
    order = np.lexsort((-upper, -level))
    root = _joined(a[both][order], b[both][order], level[order], depth.astype(np.float64))
    label = _by_volume(np.where(thick, root + 1, 0), added)
    for _ in range(int(np.ceil(SKIRT_MM / grid.step_mm))):
        label = _grown(label, a, b)
    volume = np.bincount(label, weights=added, minlength=1)
    return _by_volume(np.where(volume[label] >= SPECK_CM3, label, 0), added)


def _neighbours(cells: Indices, grid: Grid) -> tuple[Indices, Indices]:
    """Pairs of cells that touch, also across a corner, by their numbers in the list."""
    _, ny, nz = grid.shape
    pairs = []
    for di, dj, dk in [(i, j, k) for i in (0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1)]:
        step = (di * ny + dj) * nz + dk
        if step <= 0:
            continue
        at = np.searchsorted(cells, cells + step)
        found = np.flatnonzero(cells[np.minimum(at, len(cells) - 1)] == cells + step)
        pairs.append(np.stack([found, at[found]]))
    a, b = np.concatenate(pairs, axis=1)
    return a, b


@njit(cache=True)
def _joined(a: Any, b: Any, level: Any, depth: Any) -> Any:
    """Root of each cell; pairs are joined from the deepest on, unless too shallow between."""
    root = np.arange(len(depth))
    peak = depth.copy()
    for n in range(len(a)):
        i, j = a[n], b[n]
        while root[i] != i:
            root[i] = root[root[i]]
            i = root[i]
        while root[j] != j:
            root[j] = root[root[j]]
            j = root[j]
        if i == j or level[n] < SADDLE * min(peak[i], peak[j]):
            continue
        if peak[i] < peak[j]:
            i, j = j, i
        root[j] = i
    for n in range(len(root)):
        i = n
        while root[i] != i:
            i = root[i]
        root[n] = i
    return root


def _by_volume(label: Indices, added: Floats) -> Indices:
    """The same labels, numbered from 1 by falling volume; 0 stays."""
    kinds, at = np.unique(label, return_inverse=True)
    volume = np.bincount(at, weights=added, minlength=len(kinds))
    volume[kinds == 0] = np.inf
    rank = np.empty(len(kinds), dtype=np.int64)
    rank[np.argsort(-volume, kind="stable")] = np.arange(len(kinds))
    return rank[at] if 0 in kinds else rank[at] + 1


def _grown(label: Indices, a: Indices, b: Indices) -> Indices:
    """Each cell without a place joins the largest of those that touch it."""
    none = np.iinfo(np.int64).max
    best = np.where(label > 0, label, none)
    grown = best.copy()
    np.minimum.at(grown, a, best[b])
    np.minimum.at(grown, b, best[a])
    return np.where(label > 0, label, np.where(grown < none, grown, 0))


def _piece_of(cells: Indices, zones: Sequence[Zone], grid: Grid) -> Indices:
    """(N,) the shell piece over each cell, from 1."""
    if len(zones) < 2:
        return np.ones(len(cells), dtype=np.int64)
    x, y, z = _points(cells, grid).T
    depth = np.stack([np.broadcast_to(zone.into(x, y, z), x.shape) for zone in zones])
    return np.argmax(depth, axis=0).astype(np.int64) + 1


def _points(cells: Indices, grid: Grid) -> Floats:
    ijk = np.stack(np.unravel_index(cells, grid.shape), axis=1)
    return np.array(grid.low_mm) + grid.step_mm * ijk


def _place(
    number: int,
    cells: Indices,
    added: Floats,
    piece: Indices,
    outer: Patch,
    inner: Patch,
    grid: Grid,
) -> FillPlace | None:
    """One place's figures; None where its fill never stands off the plain skin."""
    mine = (outer.label == number) & (outer.away_mm > STANDS_OFF_MM)
    if not mine.any():
        return None
    deepest = int(np.argmax(np.where(mine, outer.away_mm, -1.0)))
    under = inner.away_mm[inner.label == number]
    volume = float(added.sum())
    over = np.bincount(piece, weights=added)
    order = [int(p) for p in np.argsort(-over, kind="stable") if over[p] > LEAST_SHARE * volume]
    points = _points(cells, grid)
    return FillPlace(
        number=number,
        place_mm=_three(outer.middles[deepest]),
        facing=_three(_facing(outer, mine, deepest, 2.0 * grid.step_mm)),
        depth_mm=float(outer.away_mm[deepest]),
        bottom_mm=float(under.max(initial=float(outer.away_mm[deepest]))),
        volume_cm3=volume,
        area_cm2=float(outer.areas_mm2[mine].sum()) / 100,
        pieces=tuple(order),
        low_mm=_three(points.min(axis=0)),
        high_mm=_three(points.max(axis=0)),
        cells=cells,
    )


def _facing(patch: Patch, mine: Flags, at: int, within_mm: float) -> Floats:
    """The way out of a surface at one of its triangles, over those around it."""
    near = np.linalg.norm(patch.middles - patch.middles[at], axis=1) < within_mm
    near &= mine
    way = (patch.ways * patch.areas_mm2[:, None])[near].sum(axis=0)
    return np.asarray(way / max(float(np.linalg.norm(way)), 1e-12))


def _three(values: Floats) -> tuple[float, float, float]:
    x, y, z = values.tolist()
    return x, y, z
