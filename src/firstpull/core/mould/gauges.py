"""Which card, held against the silicone, shows whether a pocket is filled to the right line?

A profile gauge is cut along the filled skin in one plane through a pocket's deepest point, and
goes on over plain skin at both ends, where it rests. In its plane the card is pushed straight
home: it covers only what is seen from where it comes, so that it never hooks on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.lines.figure import Curve, Figure, Plane
from firstpull.core.mesh.lines.section import section
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.fill_guide import STANDS_OFF_MM, FillPlace, SkinSurfaces, side_of

DEEPER_THAN_MM = 2.0  # a shallower pocket is judged by eye
REST_MM = 22.0  # of plain skin at each end
LEAST_REST_MM = 6.0  # less does not steady a card
BACK_MM = 30.0  # of card behind the highest place of the profile
CARD_MM = (200.0, 160.0)  # longest and highest card: prints on A4 and Letter, beside its margins
SHORTEST_MM = 20.0  # a shorter card would show nothing
CORNER_MM = 5.0  # radius
TIP_MM = 3.0  # no point of the card is narrower, where that can be had
STEP_MM = 0.25  # between the places of a profile that are looked at
STEEPEST = 5.0  # rise over run, to which a profile is followed
OFF_LINE_MM = 0.03  # that the profile's corners may be smoothed by
LEANS_DEG = (0.0, 10.0, -10.0, 20.0, -20.0, 32.0, -32.0, 45.0, -45.0)
LONGISH = 1.6  # length over width of a pocket that is gauged across rather than upright
NEAR_MM = 45.0  # of a pocket around its deepest point, that tells which way it runs
ABOVE_BOARD_MM = 0.5


@dataclass(frozen=True)
class Gauge:
    """A card for one pocket; its own coordinates have the deepest point at (0, 0), y away from
    the silicone, and the end that is held higher at the right.

    Args:
        place: the pocket.
        outline_mm: (N, 2) the card, counter-clockwise, not closed by repeating a point.
        profile_mm: (M, 2) its working edge, from left to right.
        fill_mm: (2, 2) on it, where the fill begins and ends.
        rests_mm: how long the card lies on plain skin, left and right of the fill.
        frame: (4, 4) from card (x, y, 0) to the mould frame.
        whole: whether the card reaches over all of the fill in its plane.
        cropped: whether it was cut short to be printed on one sheet.
        narrow: whether a point of it stays narrower than 3 mm.
    """

    place: FillPlace
    outline_mm: Floats
    profile_mm: Floats
    fill_mm: Floats
    rests_mm: tuple[float, float]
    frame: Floats
    whole: bool
    cropped: bool
    narrow: bool

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length and height of the card."""
        wide, high = np.ptp(self.outline_mm, axis=0).tolist()
        return wide, high

    @property
    def label(self) -> str:
        """What stands on the card, without grams."""
        return f"Pocket {self.place.number} · {self.place.depth_mm:.1f} mm deep"

    @property
    def sentences(self) -> tuple[str, ...]:
        """How to hold it, and what it can not tell."""
        rise = float(self.frame[2, 0])
        lean = np.degrees(np.arcsin(min(abs(float(self.frame[2, 2])), 1.0)))
        held = "upright" if lean < 10 else "level" if lean > 80 else f"leaned {lean:.0f}° over"
        end = ", the end with the arrow higher" if rise > 0.15 else ""
        said = [
            f"Hold the card {held}{end}, its middle mark {self.place.place_mm[2]:.0f} mm above the "
            f"board, and push it home from {side_of(self.frame[:3, 1])}. Between the two short "
            "marks silicone should just touch it; light under it is silicone that is missing."
        ]
        short = [n for n, rest in zip(("left", "right"), self.rests_mm, strict=True)
                 if rest < LEAST_REST_MM]  # fmt: skip
        if short:
            ends = " and ".join(short)
            said.append(f"At its {ends} end it has no plain skin to rest on.")
        if self.cropped:
            said.append("It was cut short to fit on one sheet.")
        if not self.whole:
            said.append("It does not reach over all of the fill: the rest is hidden from it.")
        if self.narrow:
            said.append("It has a point narrower than 3 mm: cut it from stiff sheet.")
        return tuple(said)

    def figures(self) -> tuple[Figure, Figure]:
        """The line to cut and the marks to scribe, in card coordinates at z = 0."""
        plane = Plane.across("z")
        cut = Figure(plane, (_curve(self.outline_mm, closed=True),))
        return cut, Figure(plane, tuple(_curve(line, closed=False) for line in self.marks_mm()))

    def marks_mm(self) -> tuple[Floats, ...]:
        """(2, 2) lines to scribe: the deepest point first, then where fill begins and ends."""
        feet = [(np.zeros(2), 11.0), (self.fill_mm[0], 6.0), (self.fill_mm[1], 6.0)]
        return tuple(np.stack([foot, foot + np.array([0.0, high])]) for foot, high in feet)

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "number": self.place.number,
            "label": self.label,
            "outline_mm": self.outline_mm.round(3).tolist(),
            "profile_mm": self.profile_mm.round(3).tolist(),
            "marks_mm": [line.round(3).tolist() for line in self.marks_mm()],
            "rises": bool(self.frame[2, 0] > 0.15),
            "rests_mm": [round(rest, 1) for rest in self.rests_mm],
            "frame": self.frame.round(6).tolist(),
            "whole": self.whole,
            "cropped": self.cropped,
            "narrow": self.narrow,
            "sentences": list(self.sentences),
        }


def profile_gauges(
    places: Iterable[FillPlace],
    surfaces: SkinSurfaces,
    grid: Grid,
    *,
    deeper_than_mm: float = DEEPER_THAN_MM,
) -> tuple[Gauge, ...]:
    """A card for each pocket that is deeper than the limit.

    Args:
        places: of a fill guide.
        surfaces: of the same skin and fill.
        grid: the skin's.
        deeper_than_mm: what is left to the eye.

    A pocket that no card reaches straight from outside has none, nor has one so near to an edge
    or the board that a card on it would be shorter than 20 mm.
    """
    deep = [place for place in places if place.depth_mm > deeper_than_mm]
    if not deep:
        return ()
    plain = Tree.of(surfaces.plain)
    made = [_gauge(place, surfaces.filled, plain, grid) for place in deep]
    return tuple(gauge for gauge in made if gauge is not None)


@dataclass(frozen=True)
class _Run:
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


def _gauge(place: FillPlace, filled: Mesh, plain: Tree, grid: Grid) -> Gauge | None:
    at, out = np.array(place.place_mm), np.array(place.facing)
    best: tuple[float, _Run] | None = None
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
        if best is not None and best[1].whole and best[0] > 120.0:
            break
    card = None if best is None else _card(place, best[1])
    return card if card is not None and card.size_mm[0] >= SHORTEST_MM else None


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


def _run(lines: list[Floats], at: Floats, axes: Floats, plain: Tree) -> _Run | None:
    """The profile around (0, 0) as a card along these axes meets it; None where it can't."""
    half = CARD_MM[0] + REST_MM
    x = np.arange(-half, half + 0.5 * STEP_MM, STEP_MM)
    y = np.full(len(x), -np.inf)
    for line in lines:
        _raise(x, y, line @ axes)
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
    off = plain.closest(points, reach_mm=200.0)[0] > STANDS_OFF_MM
    low, high = _around(off, middle - first)
    whole = low > 0 and high < len(off) - 1
    # rests end where another pocket begins
    first = max(first + low - round(REST_MM / STEP_MM), first)
    last = min(stretch[0] + high + round(REST_MM / STEP_MM), last)
    return _Run(axes, x, y, first, last, (int(stretch[low]), int(stretch[high])), whole)


def _raise(x: Floats, y: Floats, line: Floats) -> None:
    """Raises y to a line of corners, wherever the line is higher."""
    for a, b in pairwise(line):
        (ax, ay), (bx, by) = (a, b) if a[0] <= b[0] else (b, a)
        low, high = np.searchsorted(x, [ax, bx + 1e-12])
        if low < high:
            part = (x[low:high] - ax) / max(bx - ax, 1e-12)
            np.maximum(y[low:high], ay + np.clip(part, 0, 1) * (by - ay), out=y[low:high])


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


def _card(place: FillPlace, run: _Run) -> Gauge:
    """The card along a run, cut short where it would not fit on a sheet."""
    first, last, cropped = _fitted(run)
    lost = _narrow(_outline(run, first, last))
    least = round(LEAST_REST_MM / STEP_MM)
    for low, high in lost:  # end before a point that is too narrow, if the rest is long enough
        if low > run.x[run.fill[1]] + LEAST_REST_MM:
            last = min(last, max(int(np.searchsorted(run.x, low)) - 4, run.fill[1] + least))
        elif high < run.x[run.fill[0]] - LEAST_REST_MM:
            first = max(first, min(int(np.searchsorted(run.x, high)) + 4, run.fill[0] - least))
    outline = _outline(run, first, last)
    fill = np.clip(run.fill, first, last)
    frame = np.eye(4)
    frame[:3, :2] = run.axes
    frame[:3, 2] = np.cross(run.axes[:, 0], run.axes[:, 1])
    frame[:3, 3] = place.place_mm
    return Gauge(
        place=place,
        outline_mm=_off_board(outline, frame),
        profile_mm=_thinned(run.x[first : last + 1], run.y[first : last + 1]),
        fill_mm=np.stack([run.x[fill], run.y[fill]], axis=1),
        rests_mm=(float(fill[0] - first) * STEP_MM, float(last - fill[1]) * STEP_MM),
        frame=frame,
        whole=run.whole and run.fill[0] >= first and run.fill[1] <= last,
        cropped=cropped,
        narrow=bool(_narrow(outline)),
    )


def _fitted(run: _Run) -> tuple[int, int, bool]:
    """The part of a run whose card prints on one sheet: ends go, the longer one first."""
    first, last, middle = run.first, run.last, len(run.x) // 2
    room = CARD_MM[0] - 2 * TIP_MM
    while True:
        y = run.y[first : last + 1]
        long = (last - first) * STEP_MM > room
        if not long and float(np.ptp(y)) + BACK_MM <= CARD_MM[1]:
            break
        left = middle - first > last - middle if long else bool(y[0] < y[-1])
        first, last = (first + 1, last) if left else (first, last - 1)
    return first, last, (first, last) != (run.first, run.last)


def _outline(run: _Run, first: int, last: int) -> Floats:
    """The card: profile, blunted ends, a straight back with round corners."""
    profile = _thinned(run.x[first : last + 1], run.y[first : last + 1])
    wide = round(TIP_MM / STEP_MM)
    left, right = profile[0], profile[-1]
    before, after = run.y[max(first - wide, 0) : first], run.y[last + 1 : last + 1 + wide]
    # where the skin falls away the end would be a sharp point: it goes on level instead
    if len(before) and (before < left[1]).all():
        profile = np.vstack([left - np.array([TIP_MM, 0.0]), profile])
    if len(after) and (after < right[1]).all():
        profile = np.vstack([profile, right + np.array([TIP_MM, 0.0])])
    top = float(profile[:, 1].max()) + BACK_MM
    (x0, _), (x1, _) = profile[0], profile[-1]
    turn = np.linspace(0.0, np.pi / 2, 9)
    arc = np.stack([np.cos(turn), np.sin(turn)], axis=1) * CORNER_MM
    right_top = arc + np.array([x1 - CORNER_MM, top - CORNER_MM])
    left_top = arc[::-1] * [-1.0, 1.0] + np.array([x0 + CORNER_MM, top - CORNER_MM])
    return np.vstack([profile, right_top, left_top])


def _thinned(x: Floats, y: Floats) -> Floats:
    """The line with no more corners than it needs to stay within OFF_LINE_MM."""
    line = np.stack([x, y], axis=1)
    keep = np.zeros(len(line), dtype=np.bool_)
    keep[[0, -1]] = True
    todo = [(0, len(line) - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        way = line[b] - line[a]
        rel = line[a + 1 : b] - line[a]
        off = np.abs(rel[:, 0] * way[1] - rel[:, 1] * way[0]) / max(float(np.hypot(*way)), 1e-12)
        worst = int(np.argmax(off))
        if off[worst] > OFF_LINE_MM:
            keep[a + 1 + worst] = True
            todo += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return np.asarray(line[keep])


def _narrow(outline: Floats) -> list[tuple[float, float]]:
    """Where along x a card has points narrower than TIP_MM."""
    from manifold3d import CrossSection, JoinType

    card = CrossSection([outline])
    inner = 0.49 * TIP_MM
    opened = card.offset(-inner, JoinType.Round).offset(inner + 0.02, JoinType.Round)
    lost = [part for part in (card - opened).decompose() if part.area() > 0.35 * TIP_MM]
    return [(float(part.bounds()[0]), float(part.bounds()[2])) for part in lost]


def _off_board(outline: Floats, frame: Floats) -> Floats:
    """The card without what would reach into the board."""
    rise = frame[2, :2]
    height = frame[2, 3] + outline @ rise
    if float(height.min()) >= ABOVE_BOARD_MM or float(np.hypot(*rise)) < 1e-6:
        return outline
    from manifold3d import CrossSection

    up = rise / np.hypot(*rise)
    foot = up * (ABOVE_BOARD_MM - frame[2, 3]) / np.hypot(*rise)
    along = np.array([up[1], -up[0]]) * 1000.0
    half = np.stack(
        [foot - along, foot - along + 1000 * up, foot + along + 1000 * up, foot + along]
    )
    if _area(half) < 0:
        half = half[::-1]
    parts = (CrossSection([outline]) ^ CrossSection([half])).to_polygons()
    return np.asarray(max(parts, key=_area)) if parts else outline


def _area(ring: Floats) -> float:
    x, y = np.asarray(ring).T
    return float(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def _curve(flat: Floats, *, closed: bool) -> Curve:
    return Curve(np.column_stack([flat, np.zeros(len(flat))]), flat, closed)
