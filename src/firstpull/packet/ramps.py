"""Which colour stands for which thickness or deviation in a map over a surface.

Colours come in steps, so that a place can be read off against the key. Along a ramp of
thickness they go from dark to light; ramps of deviation go from white to dark both ways, and
one way is hatched. So a black and white print says as much, and eyes that take red for green
lose nothing: the hues are rust and slate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.packet.palette import Colour

THIN: tuple[Colour, ...] = ((96, 26, 10), (158, 56, 20), (214, 110, 56))
THICK: tuple[Colour, ...] = ((244, 214, 160), (243, 234, 205), (240, 242, 240), (252, 252, 250))
PROUD: tuple[Colour, ...] = ((247, 205, 170), (222, 128, 74), (148, 50, 18))
SUNK: tuple[Colour, ...] = ((196, 212, 226), (112, 146, 178), (38, 70, 106))
SAME: Colour = (250, 249, 246)
NEW: Colour = (122, 160, 140)
"""Surface that was not there before: lids, inner walls."""

ROUND = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class Ramp:
    """Steps of a value, each with a colour.

    Args:
        edges: ascending values; the first colour is for all below the first.
        colours: one more than edges.
        hatched: which of the colours carry a hatch.
        title: what the values are, with their unit.
        ends: what the lowest and the highest step mean, in a word or two.
    """

    edges: tuple[float, ...]
    colours: tuple[Colour, ...]
    title: str
    ends: tuple[str, str]
    hatched: tuple[int, ...] = ()

    def steps(self, values: ArrayLike) -> NDArray[np.intp]:
        """The step of each value, from 0.

        >>> thickness_ramp(1.2).steps([0.3, 1.19, 1.2, 99.0]).tolist()
        [0, 2, 3, 6]
        """
        return np.searchsorted(np.asarray(self.edges), np.asarray(values), side="right")

    def painted(self, values: ArrayLike) -> NDArray[np.uint8]:
        """(N, 4) red, green, blue and full opacity of each value."""
        table = np.array([(*colour, 255) for colour in self.colours], np.uint8)
        return table[self.steps(values)]


def thickness_ramp(least_mm: float) -> Ramp:
    """Three dark steps below the least wall, four light ones above it.

    >>> thickness_ramp(1.2).edges
    (0.6, 0.9, 1.2, 1.8, 2.4, 3.6)
    """
    shares = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
    edges = tuple(round(share * least_mm, 4) for share in shares)
    return Ramp(edges, THIN + THICK, "wall, mm", ("too thin", "thick"))


def deviation_ramp(same_mm: float, most_mm: float) -> Ramp:
    """White where it is the same, three steps outward, three inward.

    Args:
        same_mm: distance up to which two surfaces are the same.
        most_mm: the largest distance to be shown.

    >>> deviation_ramp(0.05, 1.3).edges
    (-0.5, -0.1, -0.05, 0.05, 0.1, 0.5)
    """
    third = max(most_mm / (2.0 * same_mm), 4.0) ** (1.0 / 2.0)
    low, high = _round_below(same_mm * third), _round_below(same_mm * third * third)
    low = max(low, 2.0 * same_mm)
    high = max(high, 2.0 * low)
    edges = (-high, -low, -same_mm, same_mm, low, high)
    colours = (*SUNK[::-1], SAME, *PROUD)
    return Ramp(edges, colours, "off by, mm", ("lower", "higher"), hatched=(0, 1, 2))


def off_ramp(same_mm: float, most_mm: float) -> Ramp:
    """White where it is the same, three steps for how far it is off, whichever way.

    >>> off_ramp(0.05, 1.3).edges
    (0.05, 0.1, 0.5)
    """
    both = deviation_ramp(same_mm, most_mm)
    return Ramp(both.edges[3:], (SAME, *PROUD), "off by, mm", ("same", "more"))


def _round_below(value: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is not above a value.

    >>> _round_below(0.37), _round_below(50.0), _round_below(1.0)
    (0.2, 50.0, 1.0)
    """
    power = 10.0 ** math.floor(math.log10(value * (1 + 1e-9)))
    return max(round(k * power, 9) for k in ROUND if k * power <= value * (1 + 1e-9))
