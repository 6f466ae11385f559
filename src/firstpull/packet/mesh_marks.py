"""Marks on a picture of a mesh: pins, tags, dots, the borders of openings, the axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from PIL import ImageDraw

from firstpull.core.arrays import Flags, Floats
from firstpull.packet.camera import View
from firstpull.packet.overlay import SCALE, Overlay, font, free_place
from firstpull.packet.palette import ACCENT, INK, PAPER, Colour

ASKED: Colour = (24, 84, 116)
"""What is asked about, beside the accent of what is wrong; darker, and with corners."""

HALO = 1.5  # of paper around lines, so that they stand out on dark places too


@dataclass(frozen=True)
class Badge:
    """A label with its place; a hidden one lies behind the part and is drawn hollow."""

    label: str
    at_px: tuple[float, float]
    shape: Literal["disc", "tag"] = "disc"
    hidden: bool = False


class MeshMarks(Overlay):
    """The overlay of a picture of a mesh."""

    def dots(self, pixels: Floats) -> None:
        """A small dot at each place."""
        for at in pixels:
            self._disc(at, 3.4, PAPER, PAPER)
            self._disc(at, 2.2, ACCENT, ACCENT)

    def ring(self, pixels: Floats, free: Flags) -> None:
        """A closed line, drawn where both its ends are seen."""
        around = np.concatenate([pixels, pixels[:1]])
        seen = np.concatenate([free, free[:1]])
        for width, colour in ((3.0 + 2 * HALO, PAPER), (3.0, ASKED)):
            for (a, b), (s, t) in zip(pairwise(around), pairwise(seen), strict=True):
                if s and t:
                    self._line([tuple(a), tuple(b)], width, colour)

    def badges(self, badges: Sequence[Badge]) -> None:
        """Each label beside its place where there is room."""
        w, h = self.frame.size_px
        middle = np.array([w / 2, h / 2])
        taken: list[Floats] = []
        for badge in badges:
            at = np.array(badge.at_px)
            label = free_place(at, middle, taken, size=(w, h), unit=self.unit)
            taken.append(label)
            colour = ASKED if badge.shape == "tag" else ACCENT
            self._line([tuple(at), tuple(label)], 1.4 + 2 * HALO, PAPER)
            self._line([tuple(at), tuple(label)], 1.4, colour)
            self._disc(at, 3.2, colour, PAPER)
            draw_badge(self._draw, label * SCALE, badge, self.unit * SCALE)

    def axes(self, view: View, turn: Floats) -> None:
        """The file's axes in the lower right corner, without those that would lie on others.

        Args:
            view: of the picture.
            turn: (3, 3) from the file's axes to those of the picture.
        """
        w, h = self.frame.size_px
        u = self.unit
        foot = np.array([w - 44.0 * u, h - 48.0 * u])
        flat = view.flat(np.asarray(turn).T)
        drawn: list[Floats] = []
        for axis in np.argsort(-np.hypot(flat[:, 0], flat[:, 1])):
            way = np.array([flat[axis, 0], -flat[axis, 1]])
            length = float(np.hypot(*way))
            if length < 0.25:
                continue
            place = foot + (26.0 * length + 9.0) * u * way / length
            if any(np.hypot(*(place - other)) < 16.0 * u for other in drawn):
                continue
            drawn.append(place)
            self._line([tuple(foot), tuple(foot + 26.0 * u * way)], 1.4, INK)
            self._text((place[0], place[1]), "xyz"[axis], 13, INK, "mm")


def draw_badge(draw: ImageDraw.ImageDraw, at: Floats, badge: Badge, unit: float) -> None:
    """A disc or a tag with its label, middle at a place in the sheet's own pixels."""
    colour = ASKED if badge.shape == "tag" else ACCENT
    fill, text = (PAPER, colour) if badge.hidden else (colour, PAPER)
    x, y, r = float(at[0]), float(at[1]), 11.5 * unit
    edge = max(1, round(1.6 * unit))
    wide = r + max(0, len(badge.label) - 2) * 4.0 * unit
    box = (x - wide, y - r, x + wide, y + r)
    if badge.shape == "tag":
        draw.rounded_rectangle(box, 3.0 * unit, (*fill, 255), (*colour, 255), edge)
    else:
        draw.ellipse(box, (*fill, 255), (*colour, 255), edge)
    face = font(round(15 * unit))
    draw.text((x, y - 0.4 * unit), badge.label, fill=(*text, 255), font=face, anchor="mm")
