"""A drawing at full size: named lines in one frame, a caption, and a bar to check the scale by."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.lines.figure import Figure, Plane

BAR_MM = 100.0
TICKS_MM = (0.0, 50.0, 100.0)
TEXT_MM = 3.5
MARGIN_MM = 10.0
BAR_NOTE = "100 mm: measure this bar before you use the drawing"


class NothingToDraw(WorkshopError):
    """A drawing without a line."""

    code = "nothing_to_draw"


@dataclass(frozen=True)
class Layer:
    """Lines under one name."""

    name: str
    figure: Figure


@dataclass(frozen=True)
class Drawing:
    """What goes on one sheet, in millimetres and at full size.

    Args:
        caption: one line that says what it is; see ``caption``.
        layers: drawn one over the other, each in the frame of its own plane.
    """

    caption: str
    layers: tuple[Layer, ...]

    def __init__(self, caption: str, layers: Iterable[Layer]) -> None:
        object.__setattr__(self, "caption", one_line(caption))
        object.__setattr__(self, "layers", tuple(layers))

    @property
    def low_mm(self) -> tuple[float, float]:
        """The lowest place of any line.

        Raises:
            NothingToDraw: there is no line.
        """
        low = self._bounds()[0]
        return float(low[0]), float(low[1])

    @property
    def high_mm(self) -> tuple[float, float]:
        """The highest place of any line; refuses as ``low_mm`` does."""
        high = self._bounds()[1]
        return float(high[0]), float(high[1])

    def _bounds(self) -> NDArray[np.float64]:
        drawn = [layer.figure.bounds_mm for layer in self.layers if layer.figure.curves]
        if not drawn:
            raise NothingToDraw(
                where=f'Drawing "{self.caption}"',
                found="has no line",
                limit="the plane may pass beside the part",
                remedy="Move the plane into the part, or look from another side.",
            )
        both = np.stack(drawn)
        return np.stack([both[:, 0].min(axis=0), both[:, 1].max(axis=0)])

    @property
    def bar_at_mm(self) -> tuple[float, float]:
        """Where the scale bar begins: under the lines, at their left."""
        x, y = self.low_mm
        return x, y - MARGIN_MM

    @property
    def notes(self) -> tuple[tuple[float, float, str], ...]:
        """The lines of text under the bar: where each starts (x, y) and what it says."""
        x, y = self.bar_at_mm
        return ((x, y - 2.0 * TEXT_MM, BAR_NOTE), (x, y - 4.0 * TEXT_MM, self.caption))

    @property
    def sheet_mm(self) -> tuple[float, float, float, float]:
        """The sheet: left, bottom, width, height; wide enough for the bar and the text."""
        x, _ = self.low_mm
        far, top = self.high_mm
        widest = max(len(text) for _, _, text in self.notes) * 0.6 * TEXT_MM
        left, bottom = x - MARGIN_MM, self.notes[-1][1] - MARGIN_MM
        wide = max(far - x, BAR_MM, widest) + 2 * MARGIN_MM
        return left, bottom, wide, top + MARGIN_MM - bottom


def caption(what: str, *, part: str, planes: Sequence[Plane]) -> str:
    """The line under a drawing: what it shows, of which part, in which plane or planes.

    Several planes are told by the first and the last; they should be parallel.

    >>> caption("Section", part="heron half-mask", planes=[Plane.across("x", 12)])
    'Section of heron half-mask, plane x = 12 mm, seen along -x, 1:1 in mm'
    >>> row = [Plane.across("z", n) for n in (20, 40, 60)]
    >>> caption("Sections", part="heron half-mask", planes=row)
    'Sections of heron half-mask, 3 planes z = 20 to 60 mm, seen along -z, 1:1 in mm'
    """
    return f"{what} of {part}, {_where(planes)}, 1:1 in mm"


def _where(planes: Sequence[Plane]) -> str:
    way = planes[0].normal
    axis = int(np.argmax(np.abs(way)))
    name = "xyz"[axis]
    many = f"{len(planes)} planes" if len(planes) > 1 else "plane"
    if abs(way[axis]) == 1.0:
        ends = [f"{float(planes[n].point_mm[axis]) + 0.0:.4g}" for n in (0, -1)]
        sight = "-" if way[axis] > 0 else ""
        return f"{many} {name} = {' to '.join(dict.fromkeys(ends))} mm, seen along {sight}{name}"
    points = [", ".join(f"{v + 0.0:.1f}" for v in planes[n].point_mm) for n in (0, -1)]
    square = ", ".join(f"{v + 0.0:.3f}" for v in way)
    return f"{many} through {' to '.join(dict.fromkeys(points))} mm, square to {square}"


def one_line(text: str) -> str:
    """Text as a drawing can carry it: one line, without control characters.

    >>> one_line(" two\\nlines\\x07 ")
    'two lines'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def plain(value: float, digits: int) -> str:
    """A number without needless digits, the same on every machine; never -0.

    >>> plain(2.50001, 4), plain(-0.00001, 4), plain(1e6, 4)
    ('2.5', '0', '1000000')
    """
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
