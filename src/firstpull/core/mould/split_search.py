"""The search for cuts: a piece as few points, its parts, and what each further cut costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.build_box import fits, super_fibonacci, usable_mm
from firstpull.core.mould.cut import Cut, Split, trimmed

UPRIGHT_FACINGS = 12
OFFSETS = 15
QUICK_TURNS = 100
LOOKED_AT = 12  # best cuts of a part that are asked exactly
POINTS = 2500  # that stand for a piece

KEEP_CLEAR_MM = 20.0
SPLINTER = 0.04  # of the piece: less is a nuisance to print, to join and to keep
SLANTED = 0.45  # sine of the lean from which the shell covers the bolts in a flange
# What makes a cut worse, in mm of a longer one
TOO_NEAR_MM = 300.0  # each bolt or corner that it does not keep clear of
SPLINTER_MM = 2000.0
UNEVEN_MM = 150.0  # all of it on one side
TOO_LARGE_MM = 100.0  # a part e times as large as the box
EVENLY = 20.0  # times that where all parts are to come near to fitting


@dataclass(frozen=True)
class Proxy:
    """A piece as few points.

    Args:
        points_mm: (N, 3) vertices of the piece, spread over it.
        faces: (F, 3) between them.
        vectors_mm2: (F, 3) area times normal of the faces.
        around_mm: (M, 3) places out to which a joint flange may stick.
        spacing_mm: between points.
    """

    points_mm: Floats
    faces: NDArray[Any]
    vectors_mm2: Floats
    around_mm: Floats
    spacing_mm: float

    @staticmethod
    def of(piece: Mesh, pull: Floats, flange_mm: float, reached_mm: ArrayLike | None) -> Proxy:
        spacing = float(np.sqrt(piece.area_mm2 / POINTS))
        fine = mesh_of(solid(piece).refine_to_length(spacing))
        chosen, number = _spread(fine.vertices_mm, spacing)
        faces = number[fine.faces]
        a, b, c = faces.T
        small = Mesh(fine.vertices_mm[chosen], faces[(a != b) & (b != c) & (c != a)])
        if reached_mm is None:
            normals = np.zeros((len(fine.vertices_mm), 3))
            for corner in range(3):
                np.add.at(normals, fine.faces[:, corner], fine.face_vectors_mm2)
            normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
            out = chosen[normals[chosen] @ pull > 0]
            around = fine.vertices_mm[out] + flange_mm * normals[out]
        else:
            around = np.asarray(reached_mm, dtype=np.float64).reshape(-1, 3)
            around = around[_spread(around, spacing)[0]]
        return Proxy(small.vertices_mm, small.faces, small.face_vectors_mm2, around, spacing)


def _spread(points: Floats, spacing: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """One point of each cell of a lattice, the outermost; and for each point its cell's."""
    cells = np.floor((points - points.min(axis=0)) / spacing).astype(np.int64)
    _, number = np.unique(cells @ [1, 1 << 20, 1 << 40], return_inverse=True)
    far = np.linalg.norm(points - points.mean(axis=0), axis=1)
    order = np.lexsort([-far, number])
    first = np.flatnonzero(np.diff(number[order], prepend=-1))
    return order[first], number


def facings(points: Floats, pull: Floats) -> Floats:
    """(K, 3) normals of the planes: around the pull, from the piece's longest way on, and it."""
    flat = points - points.mean(axis=0)
    flat = flat - (flat @ pull)[:, None] * pull
    longest = np.linalg.svd(flat, full_matrices=False)[2][0]
    longest -= (longest @ pull) * pull
    longest /= np.linalg.norm(longest)
    side = np.cross(pull, longest)
    angle = np.arange(UPRIGHT_FACINGS) * np.pi / UPRIGHT_FACINGS
    around = np.cos(angle)[:, None] * longest + np.sin(angle)[:, None] * side
    return np.concatenate([around, pull[None]])


@dataclass(frozen=True, eq=False)
class Region:
    """A part in the search.

    Args:
        cuts: that bound it, from its side.
        own: its points, by number.
        around: the places around it, by number.
        flange_mm: (K, 3) corners of the joint flanges that it carries.
        bodies: how many solids it is.
        needs: parts it still needs, about; 1 where it fits.
        spill: how much larger than the box it is, as a logarithm.
    """

    cuts: tuple[Cut, ...]
    own: NDArray[Any]
    around: NDArray[Any]
    flange_mm: Floats
    bodies: int
    needs: int
    spill: float


@dataclass(frozen=True, eq=False)
class State:
    """Splits so far, and what they make."""

    splits: tuple[Split, ...]
    regions: tuple[Region, ...]
    cost_mm: float

    @property
    def is_done(self) -> bool:
        return all(region.needs == 1 for region in self.regions)

    @property
    def parts(self) -> int:
        return sum(region.bodies for region in self.regions)

    @cached_property
    def rank(self) -> tuple[int, float]:
        parts = sum(max(region.needs, region.bodies) for region in self.regions)
        spill = sum(region.spill for region in self.regions)
        return parts, self.cost_mm + TOO_LARGE_MM * spill

    @cached_property
    def evenly(self) -> float:
        return self.cost_mm + EVENLY * TOO_LARGE_MM * sum(region.spill for region in self.regions)


@dataclass(frozen=True, eq=False)
class Trial:
    """A cut through a region: its rank, and for each side how many parts it needs and spills."""

    cut: Cut
    cost_mm: float
    needs: tuple[int, int]
    spill: tuple[float, float]

    @property
    def rank(self) -> tuple[int, float]:
        return sum(self.needs), self.cost_mm + TOO_LARGE_MM * sum(self.spill)

    @property
    def evenly(self) -> float:
        return self.cost_mm + EVENLY * TOO_LARGE_MM * sum(self.spill)


@dataclass(frozen=True)
class Search:
    """What all parts of one piece share."""

    proxy: Proxy
    facings: Floats
    box_mm: Floats
    margin_mm: float
    thickness_mm: float
    keep_clear_mm: Floats
    known: dict[tuple[Cut, ...], list[Trial]] = field(default_factory=dict)
    sides: dict[tuple[Cut, ...], tuple[Region, int]] = field(default_factory=dict)

    @cached_property
    def ways(self) -> Floats:
        """(3 Q, 3) the axes of quick turns, as modelled among them."""
        turns = np.concatenate([np.eye(3)[None], super_fibonacci(QUICK_TURNS)])
        return turns.reshape(-1, 3)

    @cached_property
    def room(self) -> Floats:
        return np.sort(usable_mm(self.box_mm, margin_mm=self.margin_mm))

    def start(self) -> State:
        own, around = np.arange(len(self.proxy.points_mm)), np.arange(len(self.proxy.around_mm))
        return State((), (Region((), own, around, np.zeros((0, 3)), 1, 2, 1.0),), 0.0)

    def grown(self, state: State) -> Iterator[State]:
        """The state with its largest part cut in the most promising ways."""
        at = max(
            (k for k, region in enumerate(state.regions) if region.needs > 1),
            key=lambda k: len(state.regions[k].own),
        )
        region = state.regions[at]
        for trial in self.trials(region):
            sides = [
                self.side(region, cut, needs, spill)
                for cut, needs, spill in zip(
                    (trial.cut, trial.cut.turned), trial.needs, trial.spill, strict=True
                )
            ]
            split = Split(trial.cut, region.cuts)
            more = SPLINTER_MM * sum(splinters for _, splinters in sides)
            yield State(
                (*state.splits, split),
                (*state.regions[:at], *(side for side, _ in sides), *state.regions[at + 1 :]),
                state.cost_mm + trial.cost_mm + more,
            )

    def side(self, region: Region, cut: Cut, needs: int, spill: float) -> tuple[Region, int]:
        """The part of a region on one side of a cut, and how many splinters it holds."""
        cuts = (*region.cuts, cut)
        if cuts in self.sides:
            return self.sides[cuts]
        points, places = self.proxy.points_mm, self.proxy.around_mm
        own = region.own[cut.depth(*points[region.own].T) >= 0]
        depth = cut.depth(*places[region.around].T)
        band = region.around[np.abs(depth) <= self.proxy.spacing_mm]
        foot = places[band] - cut.depth(*places[band].T)[:, None] * np.array(cut.normal)
        flange = np.concatenate([region.flange_mm, foot])
        flange = flange[cut.depth(*flange.T) >= -1e-6]
        flange = np.concatenate([flange, foot + self.thickness_mm * np.array(cut.normal)])
        bodies = self.bodies(own)
        made = Region(cuts, own, region.around[depth >= 0], flange, len(bodies), needs, spill)
        if len(bodies) > 1 or needs > 1:
            ok = all(
                self.fits(self.proxy.points_mm[body], near)
                for body, near in zip(bodies, self.shared(bodies, flange), strict=True)
            )
            made = replace(made, needs=1 if ok else max(needs, 2), spill=0.0 if ok else spill)
        small = SPLINTER * len(points)
        self.sides[cuts] = made, sum(len(body) < small for body in bodies)
        return self.sides[cuts]

    def bodies(self, own: NDArray[Any]) -> list[NDArray[Any]]:
        """The points of each solid among these."""
        inside = np.zeros(len(self.proxy.points_mm), dtype=np.bool_)
        inside[own] = True
        faces = self.proxy.faces
        a, b = faces.ravel(), faces[:, [1, 2, 0]].ravel()
        both = inside[a] & inside[b]
        group = grouped(a[both], b[both], len(inside))[own]
        _, number, count = np.unique(group, return_inverse=True, return_counts=True)
        return [own[number == k] for k in np.flatnonzero(count >= 4)] or [own]

    def shared(self, bodies: Sequence[NDArray[Any]], flange: Floats) -> list[Floats]:
        """The flange's corners, each given to the nearest body."""
        return _shared([self.proxy.points_mm[body] for body in bodies], flange)

    def fits(self, points: Floats, flange: Floats) -> bool:
        together = np.concatenate([points, flange])
        return fits(together, self.box_mm, margin_mm=self.margin_mm) is not None

    def holds(self, state: State, whole: Any) -> bool:
        """Whether the parts fit as solids."""
        for region in state.regions:
            parts = [mesh_of(part).vertices_mm for part in trimmed(whole, region.cuts)]
            if not parts:
                return False
            for points, near in zip(parts, _shared(parts, region.flange_mm), strict=True):
                if not self.fits(points, near):
                    return False
        return True

    def trials(self, region: Region) -> list[Trial]:
        """The most promising planes through a region, each side asked under few turns."""
        if region.cuts in self.known:
            return self.known[region.cuts]
        mine = np.zeros(len(self.proxy.points_mm), dtype=np.bool_)
        mine[region.own] = True
        faces = mine[self.proxy.faces].all(axis=1)
        points = np.concatenate([self.proxy.points_mm[region.own], region.flange_mm])
        places = self.proxy.around_mm[region.around]
        longest = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
        ways = np.concatenate([longest, self.ways])
        along, beside = ways @ points.T, ways @ places.T
        found: list[Trial] = []
        for normal in self.facings:
            depth = points @ normal
            offsets = np.linspace(depth.min(), depth.max(), OFFSETS + 2)[1:-1]
            costs = self.costs(region, faces, normal, offsets)
            low, high = _by_slot(along, np.searchsorted(offsets, depth, side="right"), OFFSETS + 1)
            shift = (ways @ normal)[:, None]
            foot = self.feet(beside, places @ normal, shift, offsets)
            shift = self.thickness_mm * shift
            behind = self.asked(
                *_with(
                    np.minimum.accumulate(low, axis=1)[:, :-1],
                    np.maximum.accumulate(high, axis=1)[:, :-1],
                    foot,
                    -shift,
                )
            )
            ahead = self.asked(
                *_with(
                    np.minimum.accumulate(low[:, ::-1], axis=1)[:, -2::-1],
                    np.maximum.accumulate(high[:, ::-1], axis=1)[:, -2::-1],
                    foot,
                    shift,
                )
            )
            x, y, z = (float(c) for c in normal)
            for k, offset in enumerate(offsets):
                found.append(
                    Trial(
                        Cut((x, y, z), float(offset)),
                        float(costs[k]),
                        (int(ahead[0][k]), int(behind[0][k])),
                        (float(ahead[1][k]), float(behind[1][k])),
                    )
                )
        self.known[region.cuts] = best_of(found, LOOKED_AT)
        return self.known[region.cuts]

    def feet(
        self, beside: Floats, depth: Floats, lean: Floats, offsets: Floats
    ) -> tuple[Floats, Floats]:
        """(Q, K) lowest and highest along the quick ways of the flange's outline in planes."""
        low = np.full((len(beside), len(offsets)), np.inf)
        high = -low
        for k, offset in enumerate(offsets):
            near = np.abs(depth - offset) <= self.proxy.spacing_mm
            if near.any():
                on = beside[:, near] - lean * (depth[near] - offset)
                low[:, k], high[:, k] = on.min(axis=1), on.max(axis=1)
        return low, high

    def asked(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """(K,) parts needed, about, by the sizes under the quick turns; and how far it spills."""
        size = (high - low).reshape(-1, 3, low.shape[1])
        ratio = np.sort(size, axis=1) / self.room[:, None]
        needs = np.ceil(ratio - 1e-9).prod(axis=1).min(axis=0)
        spill = np.log(np.maximum(ratio, 1.0)).sum(axis=1).min(axis=0)
        return np.maximum(needs, 1), spill

    def costs(self, region: Region, faces: Flags, normal: Floats, offsets: Floats) -> Floats:
        """(K,) what is wrong with each plane, in mm of cut."""
        depth = self.proxy.points_mm @ normal
        corner = depth[self.proxy.faces[faces]]
        low, high = corner.min(axis=1), corner.max(axis=1)
        vectors = self.proxy.vectors_mm2[faces]
        # a face of area A and normal N is cut, on average, over |n x N| A / its span along n
        across = np.linalg.norm(np.cross(vectors, normal), axis=1)
        length = np.divide(across, high - low, out=np.zeros_like(across), where=high > low)
        lean = np.abs(vectors @ normal) > SLANTED * np.linalg.norm(vectors, axis=1)
        cut = (low[:, None] < offsets) & (offsets <= high[:, None])
        total = (length * (1.0 + lean)) @ cut
        clear = self.keep_clear_mm
        for c in region.cuts:
            clear = clear[c.depth(*clear.T) >= 0]
        away = np.abs((clear @ normal)[:, None] - offsets)
        total += TOO_NEAR_MM * (away < KEEP_CLEAR_MM + self.thickness_mm).sum(axis=0)
        share = (depth[region.own][:, None] < offsets).mean(axis=0)
        total += UNEVEN_MM * np.abs(2 * share - 1)
        small = np.minimum(share, 1 - share) * len(region.own) < SPLINTER * len(depth)
        return np.asarray(total + SPLINTER_MM * small)


def _shared(bodies: Sequence[Floats], flange: Floats) -> list[Floats]:
    from scipy.spatial import cKDTree

    if len(bodies) == 1:
        return [flange]
    away = np.stack([cKDTree(body).query(flange)[0] for body in bodies])
    nearest = away.argmin(axis=0)
    return [flange[nearest == k] for k in range(len(bodies))]


def _with(
    low: Floats, high: Floats, foot: tuple[Floats, Floats], shift: Floats
) -> tuple[Floats, Floats]:
    """Lowest and highest of one side of each plane with its flange."""
    return (
        np.minimum(low, foot[0] + np.minimum(shift, 0.0)),
        np.maximum(high, foot[1] + np.maximum(shift, 0.0)),
    )


def best_of(found: list[Any], count: int) -> list[Any]:
    """Those of fewest parts and those that spill least, in turn.

    By parts alone, cutting off bit after bit looks as good as cutting in the middle.
    """
    orders = [sorted(found, key=lambda one: one.rank), sorted(found, key=lambda one: one.evenly)]
    chosen: list[Any] = []
    for pair in zip(*orders, strict=True):
        chosen += [one for one in dict.fromkeys(pair) if one not in chosen]
        if len(chosen) >= count:
            break
    return chosen[:count]


@njit(cache=True)
def _by_slot(along, slot, slots):  # type: ignore[no-untyped-def]
    """Lowest and highest of each row among the columns of each slot."""
    low = np.full((len(along), slots), np.inf)
    high = np.full((len(along), slots), -np.inf)
    for q in range(len(along)):
        for p in range(len(slot)):
            value, k = along[q, p], slot[p]
            low[q, k] = min(low[q, k], value)
            high[q, k] = max(high[q, k], value)
    return low, high
