"""Marks drawn over a picture: scale bar, pull arrows, numbered pins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from firstpull.core.arrays import Floats
from firstpull.packet.camera import Frame
from firstpull.packet.palette import ACCENT, INK, PAPER, Colour

SCALE = 3  # marks are drawn three times as large and averaged, for smooth edges


@dataclass(frozen=True)
class Arrow:
    """A straight way in the mould frame, from tail to head."""

    tail_mm: Floats
    head_mm: Floats


@dataclass(frozen=True)
class Pin:
    """A numbered place; a hidden one lies behind the part and is drawn hollow."""

    label: str
    at_px: tuple[float, float]
    hidden: bool = False


Weight = Literal["Regular", "SemiBold"]


@lru_cache(maxsize=16)
def font(size: int, weight: Weight = "SemiBold") -> ImageFont.FreeTypeFont:
    """The packet's lettering, so many pixels high."""
    source = files("firstpull.packet").joinpath("fonts", f"Barlow-{weight}.ttf")
    with source.open("rb") as handle:
        return ImageFont.truetype(handle, size)


def mark_size(size_px: tuple[int, int]) -> float:
    """How much larger than on a picture 640 pixels wide the marks are drawn."""
    return max(size_px[0] / 640, 0.5)


def foot_px(size_px: tuple[int, int]) -> int:
    """Rows at the bottom that the scale bar takes."""
    return round(40 * mark_size(size_px))


def scale_length_mm(width_mm: float) -> float:
    """A round length, 1, 2 or 5 times a power of ten, near a fifth of the width.

    >>> scale_length_mm(260.0), scale_length_mm(1000.0)
    (50.0, 200.0)
    """
    goal = width_mm / 5
    power = 10.0 ** math.floor(math.log10(goal))
    return max(k * power for k in (1.0, 2.0, 5.0) if k * power <= goal)


class Overlay:
    """A clear sheet the size of the picture; marks go on it, then it is laid on top."""

    def __init__(self, frame: Frame) -> None:
        w, h = frame.size_px
        self.frame = frame
        self.unit = mark_size(frame.size_px)
        self._sheet = Image.new("RGBA", (w * SCALE, h * SCALE), (*INK, 0))
        self._draw = ImageDraw.Draw(self._sheet)

    def scale_bar(self) -> None:
        """A bar of round length, ticked in tenths, in the lower left corner."""
        w, h = self.frame.size_px
        u = self.unit
        length = scale_length_mm(w * self.frame.mm_per_px)
        long_px = length / self.frame.mm_per_px
        x, y = 14.0 * u, h - 12.0 * u
        self._line([(x, y), (x + long_px, y)], 1.3, INK)
        for tenth in range(11):
            tick = {0: 11, 5: 8, 10: 11}.get(tenth, 4.5) * u
            at = x + long_px * tenth / 10
            self._line([(at, y + 0.6 * u), (at, y - tick)], 1.0, INK)
        self._text((x + long_px + 8 * u, y - 5 * u), f"{length:g} mm", 17, INK, "lm")

    def arrow(self, tail: Floats, head: Floats) -> None:
        """A thin arrow between two pixel places."""
        tail, head = np.asarray(tail, float), np.asarray(head, float)
        u = self.unit
        length = float(np.hypot(*(head - tail)))
        if length < 14 * u:
            return
        along = (head - tail) / length
        across = np.array([-along[1], along[0]])
        self._line([tuple(tail), tuple(head - along * 8 * u)], 2.0, ACCENT)
        base = head - along * 14 * u
        tip = [head, base + across * 4.8 * u, base - across * 4.8 * u]
        self._draw.polygon([tuple(p * SCALE) for p in tip], fill=(*ACCENT, 255))

    def pins(self, pins: Sequence[Pin]) -> None:
        """A dot at each place, and its number beside it where there is room."""
        w, h = self.frame.size_px
        middle = np.array([w / 2, h / 2])
        taken: list[NDArray[np.float64]] = []
        for pin in pins:
            at = np.array(pin.at_px)
            label = free_place(at, middle, taken, size=(w, h), unit=self.unit)
            taken.append(label)
            self._line([tuple(at), tuple(label)], 1.2, ACCENT)
            self._disc(at, 2.8, ACCENT, ACCENT)
            fill, text = (PAPER, ACCENT) if pin.hidden else (ACCENT, PAPER)
            self._disc(label, 11.5, fill, ACCENT)
            self._text((label[0], label[1] - 0.4 * self.unit), pin.label, 15, text, "mm")

    def over(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """(h, w, 4) the picture with the marks on it."""
        w, h = self.frame.size_px
        sheet = self._sheet.resize((w, h), Image.Resampling.BOX)
        return np.asarray(Image.alpha_composite(Image.fromarray(picture, "RGBA"), sheet))

    def _line(self, points: Sequence[tuple[float, ...]], width: float, colour: Colour) -> None:
        scaled = [(p[0] * SCALE, p[1] * SCALE) for p in points]
        self._draw.line(scaled, fill=(*colour, 255), width=max(1, round(width * self.unit * SCALE)))

    def _disc(self, at: Floats, radius: float, fill: Colour, edge: Colour) -> None:
        x, y, r = at[0] * SCALE, at[1] * SCALE, radius * self.unit * SCALE
        self._draw.ellipse(
            (x - r, y - r, x + r, y + r),
            fill=(*fill, 255),
            outline=(*edge, 255),
            width=round(1.6 * self.unit * SCALE),
        )

    def _text(
        self, at: tuple[float, ...], words: str, size: int, colour: Colour, anchor: str
    ) -> None:
        place = (at[0] * SCALE, at[1] * SCALE)
        self._draw.text(
            place,
            words,
            fill=(*colour, 255),
            font=font(round(size * self.unit * SCALE)),
            anchor=anchor,
        )


def free_place(
    at: Floats, middle: Floats, taken: Sequence[Floats], *, size: tuple[int, int], unit: float
) -> Floats:
    """Where a label fits: outward first, then turned and further out until it is free."""
    out = at - middle
    start = math.atan2(out[1], out[0]) if np.hypot(*out) > 1 else -math.pi / 2
    low, high = np.full(2, 14.0 * unit), np.array(size) - 14.0 * unit
    for reach in range(26, 260, 26):
        for turn in (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6):
            angle = start + turn * math.pi / 6
            place = at + reach * unit * np.array([math.cos(angle), math.sin(angle)])
            inside = bool((place >= low).all() and (place <= high).all())
            if inside and all(np.hypot(*(place - t)) > 26 * unit for t in taken):
                return place
    return np.clip(at - np.array([0.0, 26.0 * unit]), low, high)
