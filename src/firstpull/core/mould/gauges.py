"""Which card, held against the silicone, shows whether a pocket is filled to the right line?

A profile gauge is cut along the filled skin in one plane through a pocket's deepest point, and
goes on over plain skin at both ends, where it rests. In its plane the card is pushed straight
home: it covers only what is seen from where it comes, so that it never hooks on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.lines.figure import Curve, Figure, Plane
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.fill_guide import FillGuide, FillPlace, side_of
from firstpull.core.mould.fill_surface import SkinSurfaces
from firstpull.core.mould.gauge_run import (
    ABOVE_BOARD_MM,
    LEAST_REST_MM,
    LONGEST_MM,
    STEP_MM,
    Run,
    best_run,
)

DEEPER_THAN_MM = 2.0  # a shallower pocket is judged by eye
BACK_MM = 30.0  # of card behind the highest place of the profile
CARD_MM = (LONGEST_MM, 160.0)  # longest and highest: prints on A4 and Letter
SHORTEST_MM = 20.0  # a shorter card would show nothing
CORNER_MM = 5.0  # radius
TIP_MM = 3.0  # no point of the card is narrower, where that can be had
OFF_LINE_MM = 0.03  # that the profile's corners may be smoothed by


HOW_IT_TELLS = (
    "Between the short marks the silicone should just touch the card: light under it is silicone "
    "that is missing, and a card that rocks there shows too much."
)


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
        """How to hold it, and what it can not tell; ``HOW_IT_TELLS`` holds for all."""
        rise = float(self.frame[2, 0])
        lean = np.degrees(np.arcsin(min(abs(float(self.frame[2, 2])), 1.0)))
        held = "upright" if lean < 10 else "level" if lean > 80 else f"leaned {lean:.0f}° over"
        higher = ", the end with the arrow higher" if rise > 0.15 else ""
        way = self.frame[:3, 1]
        above = float(np.degrees(np.arcsin(np.clip(way[2], -1.0, 1.0))))
        steep = ""
        if 12.0 < abs(above) < 76.0:
            steep = f", {abs(above):.0f}° from {'above' if above > 0 else 'below'}"
        high = f"{self.place.place_mm[2]:.0f} mm above the board"
        said = [
            f"Hold the card {held}{higher}, its long mark {high}, "
            f"and push it home from {side_of(way)}{steep}."
        ]
        ends = zip(("left", "right"), self.rests_mm, strict=True)
        short = [end for end, rest in ends if rest < LEAST_REST_MM]
        if short:
            said.append(f"At its {' and '.join(short)} end it has no plain skin to rest on.")
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
    runs = [(place, best_run(place, surfaces.filled, plain, grid)) for place in deep]
    made = [_card(place, run) for place, run in runs if run is not None]
    return tuple(gauge for gauge in made if gauge.size_mm[0] >= SHORTEST_MM)


def _card(place: FillPlace, run: Run) -> Gauge:
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
        whole=bool(run.whole and run.fill[0] >= first and run.fill[1] <= last),
        cropped=bool(cropped),
        narrow=bool(_narrow(outline)),
    )


def _fitted(run: Run) -> tuple[int, int, bool]:
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


def _outline(run: Run, first: int, last: int) -> Floats:
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


def guide_as_json(
    guide: FillGuide, gauges: Iterable[Gauge], *, grams_per_cm3: float
) -> dict[str, Any]:
    """The fill guide as plain data: each place with its mass and its card, or none.

    Args:
        guide: the places.
        gauges: cards of some of them.
        grams_per_cm3: of the rubber.
    """
    cards = {gauge.place.number: gauge.as_json() for gauge in gauges}
    told = guide.as_json()
    for place, row in zip(guide.places, told["places"], strict=True):
        row["mass_g"] = round(place.volume_cm3 * grams_per_cm3, 2)
        row["gauge"] = cards.get(place.number)
    return told | {
        "how_gauges_tell": HOW_IT_TELLS,
        "rest_g": round(guide.rest_cm3 * grams_per_cm3, 2),
    }
