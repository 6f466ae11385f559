"""From where a picture is taken, and which pixel a point falls on. Orthographic: a
millimetre is the same length everywhere in one picture."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Floats


@dataclass(frozen=True)
class View:
    """A direction to look from.

    Args:
        name: short name, used in file names.
        azimuth_deg: where the eye stands around z: 0 on the +x side, 90 on the +y side.
        elevation_deg: how far above the board the eye stands; 90 looks straight down.

    >>> View("right", 0, 0).eye.round(6).tolist()
    [1.0, 0.0, 0.0]
    """

    name: str
    azimuth_deg: float
    elevation_deg: float

    @property
    def eye(self) -> Floats:
        """(3,) unit vector from the object to the eye."""
        a, e = math.radians(self.azimuth_deg), math.radians(self.elevation_deg)
        return np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])

    @property
    def right(self) -> Floats:
        """(3,) unit vector that points right in the picture."""
        a = math.radians(self.azimuth_deg)
        return np.array([-math.sin(a), math.cos(a), 0.0])

    @property
    def up(self) -> Floats:
        """(3,) unit vector that points up in the picture."""
        return np.cross(self.eye, self.right)

    def flat(self, points_mm: Floats) -> Floats:
        """(N, 2) millimetres right and up in the picture plane."""
        return np.asarray(points_mm) @ np.stack([self.right, self.up], axis=1)


FRONT = View("front", -90, 24)
RIGHT = View("right", 0, 24)
BACK = View("back", 90, 24)
LEFT = View("left", 180, 24)
FOUR_SIDES = (FRONT, RIGHT, BACK, LEFT)
ABOVE = View("above", -90, 90)
QUARTER = View("quarter", -58, 38)


@dataclass(frozen=True)
class Frame:
    """The window of a picture.

    Args:
        centre_mm: (right, up) of the middle of the picture.
        mm_per_px: width of one pixel.
        size_px: (width, height).
    """

    centre_mm: tuple[float, float]
    mm_per_px: float
    size_px: tuple[int, int]

    def pixels(self, flat_mm: Floats) -> Floats:
        """(N, 2) pixel coordinates, x right and y down, of points in the picture plane."""
        flat = np.atleast_2d(flat_mm)
        w, h = self.size_px
        x = (flat[:, 0] - self.centre_mm[0]) / self.mm_per_px + w / 2
        y = h / 2 - (flat[:, 1] - self.centre_mm[1]) / self.mm_per_px
        return np.stack([x, y], axis=1)

    def column_mm(self, samples: int) -> Floats:
        """(width * samples,) the right coordinate of each column of sub-pixels."""
        w = self.size_px[0] * samples
        offsets = (np.arange(w) + 0.5) / samples - self.size_px[0] / 2
        return self.centre_mm[0] + offsets * self.mm_per_px

    def row_mm(self, samples: int) -> Floats:
        """(height * samples,) the up coordinate of each row of sub-pixels, top first."""
        h = self.size_px[1] * samples
        offsets = self.size_px[1] / 2 - (np.arange(h) + 0.5) / samples
        return self.centre_mm[1] + offsets * self.mm_per_px


def fitted_frame(
    points_mm: Iterable[Floats],
    *,
    view: View,
    size_px: tuple[int, int],
    margin: float = 0.04,
    foot_px: int = 0,
    mm_per_px: float | None = None,
) -> Frame:
    """The window that holds all points.

    Args:
        points_mm: (N, 3) arrays; at least one point in all.
        view: the direction to look from.
        size_px: (width, height).
        margin: free border, as a part of the picture.
        foot_px: rows kept free at the bottom, for the scale bar.
        mm_per_px: a scale to share with other pictures; None fits as large as possible.
    """
    flats = [view.flat(p) for p in points_mm if len(p)]
    low = np.min([f.min(axis=0) for f in flats], axis=0)
    high = np.max([f.max(axis=0) for f in flats], axis=0)
    w, h = size_px
    if mm_per_px is None:
        room = np.array([w * (1 - 2 * margin), (h - foot_px) * (1 - 2 * margin)])
        mm_per_px = max(float(((high - low) / room).max()), 1e-9)
    x, y = ((low + high) / 2).tolist()
    return Frame((x, y - foot_px * mm_per_px / 2), mm_per_px, size_px)


def fitted_size(
    points_mm: Sequence[Floats],
    *,
    views: Iterable[View],
    width_px: int,
    foot_px: int = 0,
    margin: float = 0.04,
) -> tuple[tuple[int, int], float]:
    """The picture size and scale at which every view fits a given width without waste.

    Returns:
        ((width, height), millimetres per pixel); the height is 0.35 to 1.25 times the width.
    """
    spans = [
        np.ptp(np.concatenate([v.flat(p) for p in points_mm if len(p)]), axis=0) for v in views
    ]
    across, tall = np.max(spans, axis=0)
    room = width_px * (1 - 2 * margin)
    mm_per_px = max(float(across) / room, 1e-9)
    height = (tall / mm_per_px) / (1 - 2 * margin) + foot_px
    kept = min(max(height, 0.35 * width_px), 1.25 * width_px)
    size = (width_px, round(kept))
    return size, mm_per_px * max(1.0, (height - foot_px) / (size[1] - foot_px))
