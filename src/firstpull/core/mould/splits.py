"""Where is a printed piece cut so that each part fits the build box with its joint flange?

The search works on points alone: all planes of one facing share one pass over them, and each
part is asked with the flange that its cuts will carry. Only a winner is cut as a solid, to be
asked again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.build_box import fits, least_parts, super_fibonacci, usable_mm

MOST_PARTS = 8
BEAM = 6
UPRIGHT_FACINGS = 12
OFFSETS = 15
QUICK_TURNS = 100
LOOKED_AT = 12  # best cuts of a part that are asked exactly
POINTS = 2500  # that stand for a piece
BIT_MM3 = 100.0  # less than this is no part

KEEP_CLEAR_MM = 20.0
SPLINTER = 0.04  # of the piece: less is a nuisance to print, to join and to keep
SLANTED = 0.45  # sine of the lean from which the shell covers the bolts in a flange
# What makes a cut worse, in mm of a longer one
TOO_NEAR_MM = 300.0  # each bolt or corner that it does not keep clear of
SPLINTER_MM = 2000.0
UNEVEN_MM = 150.0  # all of it on one side
TOO_LARGE_MM = 100.0  # a part e times as large as the box
EVENLY = 20.0  # times that where all parts are to come near to fitting


class BoxSmallerThanFlange(WorkshopError):
    """The build box has no place for a part with its joint flange."""

    code = "box_smaller_than_flange"


class CannotSplit(WorkshopError):
    """A piece is too large to be printed in a sensible number of parts."""

    code = "cannot_split"


@dataclass(frozen=True)
class Cut:
    """A plane, seen from one of its sides: there normal . x >= offset.

    Args:
        normal: unit vector to that side.
        offset_mm: where the plane stands along it.
    """

    normal: tuple[float, float, float]
    offset_mm: float

    @property
    def turned(self) -> Cut:
        """The same plane from its other side."""
        x, y, z = self.normal
        return Cut((0.0 - x, 0.0 - y, 0.0 - z), 0.0 - self.offset_mm)

    def depth(self, x: Any, y: Any, z: Any) -> Any:
        """How far points lie on its side; arrays that broadcast."""
        return self.normal[0] * x + self.normal[1] * y + self.normal[2] * z - self.offset_mm


@dataclass(frozen=True)
class Split:
    """A cut through one part of a piece.

    Args:
        cut: the plane.
        within: the earlier cuts that bound the part it goes through, each from the part's side.
    """

    cut: Cut
    within: tuple[Cut, ...] = ()


def regions(splits: Sequence[Split]) -> tuple[tuple[Cut, ...], ...]:
    """The cuts that bound each part, each from the part's side.

    Args:
        splits: in the order they are made.

    >>> cut = Cut((1.0, 0.0, 0.0), 5.0)
    >>> [[c.offset_mm for c in region] for region in regions([Split(cut)])]
    [[5.0], [-5.0]]
    """
    found: list[tuple[Cut, ...]] = [()]
    for split in splits:
        at = found.index(split.within)
        found[at : at + 1] = [(*split.within, split.cut), (*split.within, split.cut.turned)]
    return tuple(found)


def trimmed(made: Any, region: Sequence[Cut]) -> list[Any]:
    """What of a manifold3d solid lies within a region: its solids, bits left out."""
    for cut in region:
        made = made.trim_by_plane(cut.normal, cut.offset_mm)
    return [part for part in made.decompose() if part.volume() >= BIT_MM3]


def splits_for(
    piece: Mesh,
    box_mm: ArrayLike,
    *,
    pull: ArrayLike,
    flange_mm: float,
    flange_thickness_mm: float,
    margin_mm: float,
    keep_clear_mm: ArrayLike = (),
    reached_mm: ArrayLike | None = None,
    accepts: Callable[[tuple[Split, ...]], bool] | None = None,
    most_parts: int = MOST_PARTS,
    where: str = "Shell piece",
) -> tuple[Split, ...]:
    """The fewest cuts found after which each part fits the build box with its joint flange.

    Args:
        piece: closed.
        box_mm: width, depth and height of the build box.
        pull: the piece's; cuts contain it or are square to it.
        flange_mm: how far a joint flange sticks out of the piece's outside.
        flange_thickness_mm: of the flange on each side of a cut.
        margin_mm: kept free on the four sides of the plate.
        keep_clear_mm: (B, 3) bolts and corners of flanges that a joint should keep clear of.
        reached_mm: (M, 3) places all over the surface out to which joint flanges stick; None
            moves the points of the piece that look along the pull outward by ``flange_mm``,
            which asks for too much room along a flange that is there already.
        accepts: asked last whether some splits will do (is there a place for bolts?); None
            takes them all.
        most_parts: more are refused.
        where: what the piece is called in a refusal.

    Returns:
        Splits in the order they are made; none where the piece fits as it is. Of equal
        numbers of parts: short cuts that the shell crosses squarely, clear of bolts and
        corners, and even parts.

    Raises:
        BoxSmallerThanFlange: no part could hold its joint flange.
        CannotSplit: no way into ``most_parts`` or fewer was found.

    A beam search, as in Luo, Baran, Rusinkiewicz & Matusik, Chopper: partitioning models into
    3D-printable parts, 2012; with costs of our own.
    """
    if fits(piece, box_mm, margin_mm=margin_mm) is not None:
        return ()
    room = usable_mm(box_mm, margin_mm=margin_mm)
    _need_room(room, box_mm, flange_mm, flange_thickness_mm, margin_mm)
    way = np.asarray(pull, dtype=np.float64)
    way = way / np.linalg.norm(way)
    proxy = _Proxy.of(piece, way, flange_mm, reached_mm)
    search = _Search(
        proxy,
        _facings(proxy.points_mm, way),
        np.asarray(box_mm, dtype=np.float64),
        margin_mm,
        flange_thickness_mm,
        np.asarray(keep_clear_mm, dtype=np.float64).reshape(-1, 3),
    )
    whole = solid(piece, where=where)
    least = least_parts(proxy.points_mm, box_mm, margin_mm=margin_mm)
    if least > most_parts:
        raise _too_large(piece, box_mm, least, most_parts, where)
    states = [search.start()]
    for _ in range(most_parts - 1):
        grown = [g for state in states for g in search.grown(state) if g.parts <= most_parts]
        grown.sort(key=lambda state: state.rank)
        for state in grown:
            if (
                state.is_done
                and (accepts is None or accepts(state.splits))
                and search.holds(state, whole)
            ):
                return state.splits
        states = _best([state for state in grown if not state.is_done], BEAM)
    raise _too_large(piece, box_mm, least, most_parts, where)


def _need_room(
    room: Floats, box_mm: ArrayLike, flange_mm: float, thickness_mm: float, margin_mm: float
) -> None:
    needed = flange_mm + 2 * thickness_mm
    if room.min() >= needed:
        return
    raise BoxSmallerThanFlange(
        where=f"Build box of {_sides(box_mm)} mm",
        found=f"leaves {_sides(room)} mm inside its margin of {margin_mm:g} mm",
        limit=(
            f"a part with its joint needs {needed:g} mm every way: a flange of "
            f"{flange_mm:g} mm and two thicknesses of {thickness_mm:g} mm"
        ),
        remedy="Print on a larger machine, or lay the shell by hand.",
    )


def _too_large(piece: Mesh, box_mm: ArrayLike, least: int, most: int, where: str) -> CannotSplit:
    size = f"of {_sides(np.ptp(piece.vertices_mm, axis=0))} mm"
    box = f"the build box of {_sides(box_mm)} mm"
    if least > most:
        found = f"{size} has {least} points that lie too far apart to share {box}"
    else:
        found = f"{size} cannot be cut in {most} parts that fit {box} with their joint flanges"
    return CannotSplit(
        where=where,
        found=found,
        limit=f"{most} parts are the most that are joined to one piece",
        remedy="Part the shell in more pieces, or take a larger build box.",
    )


def _sides(size: ArrayLike) -> str:
    return " × ".join(f"{side:.0f}" for side in np.asarray(size))


# The search


@dataclass(frozen=True)
class _Proxy:
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
    def of(piece: Mesh, pull: Floats, flange_mm: float, reached_mm: ArrayLike | None) -> _Proxy:
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
        return _Proxy(small.vertices_mm, small.faces, small.face_vectors_mm2, around, spacing)


def _spread(points: Floats, spacing: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """One point of each cell of a lattice, the outermost; and for each point its cell's."""
    cells = np.floor((points - points.min(axis=0)) / spacing).astype(np.int64)
    _, number = np.unique(cells @ [1, 1 << 20, 1 << 40], return_inverse=True)
    far = np.linalg.norm(points - points.mean(axis=0), axis=1)
    order = np.lexsort([-far, number])
    first = np.flatnonzero(np.diff(number[order], prepend=-1))
    return order[first], number


def _facings(points: Floats, pull: Floats) -> Floats:
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
class _Region:
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
class _State:
    """Splits so far, and what they make."""

    splits: tuple[Split, ...]
    regions: tuple[_Region, ...]
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
class _Trial:
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
class _Search:
    """What all parts of one piece share."""

    proxy: _Proxy
    facings: Floats
    box_mm: Floats
    margin_mm: float
    thickness_mm: float
    keep_clear_mm: Floats
    known: dict[tuple[Cut, ...], list[_Trial]] = field(default_factory=dict)
    sides: dict[tuple[Cut, ...], tuple[_Region, int]] = field(default_factory=dict)

    @cached_property
    def ways(self) -> Floats:
        """(3 Q, 3) the axes of quick turns, as modelled among them."""
        turns = np.concatenate([np.eye(3)[None], super_fibonacci(QUICK_TURNS)])
        return turns.reshape(-1, 3)

    @cached_property
    def room(self) -> Floats:
        return np.sort(usable_mm(self.box_mm, margin_mm=self.margin_mm))

    def start(self) -> _State:
        own, around = np.arange(len(self.proxy.points_mm)), np.arange(len(self.proxy.around_mm))
        return _State((), (_Region((), own, around, np.zeros((0, 3)), 1, 2, 1.0),), 0.0)

    def grown(self, state: _State) -> Iterator[_State]:
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
            yield _State(
                (*state.splits, split),
                (*state.regions[:at], *(side for side, _ in sides), *state.regions[at + 1 :]),
                state.cost_mm + trial.cost_mm + more,
            )

    def side(self, region: _Region, cut: Cut, needs: int, spill: float) -> tuple[_Region, int]:
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
        made = _Region(cuts, own, region.around[depth >= 0], flange, len(bodies), needs, spill)
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

    def holds(self, state: _State, whole: Any) -> bool:
        """Whether the parts fit as solids."""
        for region in state.regions:
            parts = [mesh_of(part).vertices_mm for part in trimmed(whole, region.cuts)]
            if not parts:
                return False
            for points, near in zip(parts, _shared(parts, region.flange_mm), strict=True):
                if not self.fits(points, near):
                    return False
        return True

    def trials(self, region: _Region) -> list[_Trial]:
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
        found: list[_Trial] = []
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
                    _Trial(
                        Cut((x, y, z), float(offset)),
                        float(costs[k]),
                        (int(ahead[0][k]), int(behind[0][k])),
                        (float(ahead[1][k]), float(behind[1][k])),
                    )
                )
        self.known[region.cuts] = _best(found, LOOKED_AT)
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

    def costs(self, region: _Region, faces: Flags, normal: Floats, offsets: Floats) -> Floats:
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


def _best(found: list[Any], count: int) -> list[Any]:
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
