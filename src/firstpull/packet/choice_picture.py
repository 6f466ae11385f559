"""One choice seen from above, as SVG: the body as on a map, its shell pieces, pulls and locks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from firstpull.packet.palette import ACCENT, INK, SHELL_TONES, hex_of

Spot = tuple[float, float]

LIGHTER = 0.1  # how much each level of the body lightens what lies under it
MARGIN = 0.07  # of the width, around all that is drawn
FLAT = 0.15  # a pull that leans less from upright is shown as coming straight at the eye
TONES = (*(hex_of(tone) for tone in SHELL_TONES), "#b9b2a6")
ACCENT_HEX, INK_HEX = hex_of(ACCENT), hex_of(INK)


@dataclass(frozen=True)
class Window:
    """The rectangle of the board that is shown, in mm; the same for every choice."""

    low: Spot
    high: Spot

    @staticmethod
    def around(outlines: Iterable[Sequence[Sequence[float]]]) -> Window | None:
        """All outlines, a margin and room for arrows around them; None where there are none."""
        corners = [corner for outline in outlines for corner in outline]
        if not corners:
            return None
        xs, ys = [c[0] for c in corners], [c[1] for c in corners]
        side = MARGIN * (max(xs) - min(xs))
        return Window((min(xs) - side, min(ys) - side), (max(xs) + side, max(ys) + side))

    @property
    def width(self) -> float:
        return self.high[0] - self.low[0]

    @property
    def height(self) -> float:
        return self.high[1] - self.low[1]

    @property
    def unit(self) -> float:
        """A hundredth of the width: marks are drawn in it."""
        return self.width / 100

    def at(self, x: float, y: float) -> Spot:
        """A place of the board on the picture, whose y runs down."""
        return x - self.low[0], self.high[1] - y


def picture(
    option: Mapping[str, Any],
    relief: Sequence[Mapping[str, Any]],
    letters: Sequence[str],
    window: Window,
) -> str:
    """The SVG of one choice.

    Args:
        option: its `outlines`, `pulls` and `locks`.
        relief: level cuts of the body, the foot first.
        letters: of its locks.
        window: what is shown.
    """
    pieces = option.get("outlines") or []
    parts = [_filled(piece, TONES[n % len(TONES)], window) for n, piece in enumerate(pieces)]
    parts += [_level(level, n, window) for n, level in enumerate(relief)]
    parts += [_edge(pieces, "#ffffff", 2.4, window), _edge(pieces, INK_HEX, 0.9, window)]
    taken: list[Spot] = []
    pulls = zip(pieces, option.get("pulls") or [], strict=False)
    for number, (piece, pull) in enumerate(pulls, start=1):
        spots = _pull_spots(piece, pull, window)
        parts.append(_pull(number if len(pieces) > 1 else None, spots, window.unit))
        taken += spots
    for lock, letter in zip(option.get("locks") or [], letters, strict=False):
        parts.append(_pin(lock["place_mm"], letter, taken, window))
    w, h = window.width, window.height
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w:.1f} {h:.1f}">'
    return head + "".join(parts) + "</svg>"


def _path(outlines: Iterable[Sequence[Sequence[float]]], window: Window) -> str:
    rings = []
    for outline in outlines:
        spots = (window.at(x, y) for x, y in outline)
        rings.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots) + "Z")
    return "".join(rings)


def _filled(piece: Sequence[Any], tone: str, window: Window) -> str:
    return f'<path d="{_path(piece, window)}" fill="{tone}" fill-rule="evenodd"/>'


def _edge(pieces: Iterable[Sequence[Any]], colour: str, width: float, window: Window) -> str:
    """The borders of all pieces."""
    return "".join(
        f'<path d="{_path(piece, window)}" fill="none" stroke="{colour}" '
        f'stroke-width="{width * window.unit:.2f}" stroke-linejoin="round"/>'
        for piece in pieces
    )


def _level(level: Mapping[str, Any], number: int, window: Window) -> str:
    """A level of the body: lighter than what it stands on, as if lit from above."""
    width = (0.8 if number == 0 else 0.4) * window.unit
    opacity = 0.9 if number == 0 else 0.55
    return (
        f'<path d="{_path(level["outlines"], window)}" fill="#ffffff" fill-opacity="{LIGHTER}" '
        f'fill-rule="evenodd" stroke="{INK_HEX}" stroke-opacity="{opacity}" '
        f'stroke-width="{width:.2f}" stroke-linejoin="round"/>'
    )


def _middle(piece: Sequence[Sequence[Sequence[float]]]) -> Spot:
    """Centre of gravity of a piece's largest outline."""
    if not piece:
        return 0.0, 0.0
    outline = piece[0]
    area = sx = sy = 0.0
    for (x0, y0), (x1, y1) in zip(outline, [*outline[1:], outline[0]], strict=True):
        cross = x0 * y1 - x1 * y0
        area += cross / 2
        sx += (x0 + x1) * cross / 6
        sy += (y0 + y1) * cross / 6
    return (sx / area, sy / area) if area else (outline[0][0], outline[0][1])


def _pull_spots(piece: Sequence[Any], pull: Sequence[float], window: Window) -> list[Spot]:
    """Where an arrow starts and, if it is one, where it ends: the longer the flatter the pull."""
    x, y = window.at(*_middle(piece))
    across = math.hypot(pull[0], pull[1])
    if across < FLAT:
        return [(x, y)]
    length = (9 + 17 * across) * window.unit / across
    return [(x, y), (x + pull[0] * length, y - pull[1] * length)]


def _pull(number: int | None, spots: Sequence[Spot], u: float) -> str:
    """The arrow of a piece from its number; what rises straight at the eye is a ringed dot."""
    shown = _arrow(spots[0], spots[1], u) if len(spots) > 1 else ""
    x, y = spots[0]
    ring = f'stroke="{INK_HEX}" stroke-width="{0.9 * u:.2f}"'
    if number is not None:
        shown += f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{5 * u:.2f}" fill="#ffffff" {ring}/>'
        return shown + _letter(str(number), (x, y), 7.4 * u, INK_HEX)
    shown += f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{3.2 * u:.2f}" fill="#ffffff" {ring}/>'
    if len(spots) == 1:
        shown += f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{1.2 * u:.2f}" fill="{INK_HEX}"/>'
    return shown


def _arrow(tail: Spot, head: Spot, u: float) -> str:
    x, y = tail
    length = math.hypot(head[0] - x, head[1] - y)
    dx, dy = (head[0] - x) / length, (head[1] - y) / length
    neck = (head[0] - dx * 5 * u, head[1] - dy * 5 * u)
    left = (neck[0] - dy * 2.7 * u, neck[1] + dx * 2.7 * u)
    right = (neck[0] + dy * 2.7 * u, neck[1] - dx * 2.7 * u)
    tip = " ".join(f"{px:.1f},{py:.1f}" for px, py in (head, left, right))
    line = f'x1="{x:.1f}" y1="{y:.1f}" x2="{neck[0]:.1f}" y2="{neck[1]:.1f}"'
    return (
        f'<line {line} stroke="#ffffff" stroke-width="{3.6 * u:.2f}"/>'
        f'<line {line} stroke="{INK_HEX}" stroke-width="{1.8 * u:.2f}"/>'
        f'<polygon points="{tip}" fill="{INK_HEX}" stroke="#ffffff" stroke-width="{0.5 * u:.2f}"/>'
    )


def _pin(place: Sequence[float], letter: str, taken: list[Spot], window: Window) -> str:
    """A lettered disc at a lock, aside on a line where another mark is in the way."""
    u = window.unit
    x, y = window.at(place[0], place[1])
    spot = _free((x, y), taken, window)
    taken.append(spot)
    shown = ""
    if spot != (x, y):
        ends = f'x1="{x:.1f}" y1="{y:.1f}" x2="{spot[0]:.1f}" y2="{spot[1]:.1f}"'
        shown = f'<line {ends} stroke="{ACCENT_HEX}" stroke-width="{1.2 * u:.2f}"/>'
        shown += f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{1.6 * u:.2f}" fill="{ACCENT_HEX}"/>'
    disc = f'cx="{spot[0]:.1f}" cy="{spot[1]:.1f}" r="{5 * u:.2f}"'
    shown += f'<circle {disc} fill="{ACCENT_HEX}" stroke="#ffffff" stroke-width="{0.9 * u:.2f}"/>'
    return shown + _letter(letter, spot, 7.2 * u, "#ffffff")


def _free(at: Spot, taken: Sequence[Spot], window: Window) -> Spot:
    """The place itself or the nearest around it that keeps off other marks and the edge."""
    u = window.unit
    for reach in (0.0, 11.0, 16.0, 22.0):
        for turn in range(1 if reach == 0 else 12):
            angle = turn * math.pi / 6 - math.pi / 2
            x, y = at[0] + reach * u * math.cos(angle), at[1] + reach * u * math.sin(angle)
            inside = 5 * u < x < window.width - 5 * u and 5 * u < y < window.height - 5 * u
            if inside and all(math.hypot(x - tx, y - ty) > 11 * u for tx, ty in taken):
                return x, y
    return at


def _letter(text: str, at: Spot, size: float, colour: str) -> str:
    x, y = at
    return (
        f'<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" font-family="Barlow" font-weight="600" '
        f'font-size="{size:.2f}" text-anchor="middle" fill="{colour}">{text}</text>'
    )
