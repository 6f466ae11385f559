"""How far must the skin stretch to come off the body?

The skin leaves upward through its opening on the board. A loop of rubber low down must pass
every wider place above it, so the loop's length against the longest loop it must pass tells
the stretch. A loop bridges hollows: its length is that of the convex hull of the section.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import solid

SECTIONS = 60
REPEATED = 0.4  # of the loop's length, again and again; common practice for Shore 30A
ONCE = 0.8  # a single time


@dataclass(frozen=True)
class Stretch:
    """The stretch of the worst loop.

    Args:
        ratio: longest loop to pass against the loop's own length; 1 where nothing widens.
        limit: ratio that the rubber takes pull after pull.
        loop_z_mm: height of the loop that stretches most.
        passes_z_mm: height of the place it must pass.
    """

    ratio: float
    limit: float
    loop_z_mm: float
    passes_z_mm: float

    @property
    def sentence(self) -> str:
        """What it means for stripping."""
        if self.ratio < 1.005:
            return "The skin slides off without stretching."
        where = f"from z = {self.loop_z_mm:.0f} mm over z = {self.passes_z_mm:.0f} mm"
        strain = f"The skin stretches {100 * (self.ratio - 1):.0f} % {where}"
        if self.ratio <= self.limit:
            return f"{strain}; this rubber takes {100 * (self.limit - 1):.0f} % again and again."
        if self.ratio <= 1 + ONCE:
            return f"{strain}: it may do so once, but not pull after pull. Plan a slit."
        return f"{strain}: it will tear. Plan a slit or a loose rigid piece."

    def as_json(self) -> dict[str, Any]:
        """Plain data, the ratio rounded to three figures."""
        return {
            "ratio": round(self.ratio, 3),
            "limit": round(self.limit, 3),
            "loop_z_mm": round(self.loop_z_mm, 1),
            "passes_z_mm": round(self.passes_z_mm, 1),
            "sentence": self.sentence,
        }


def stripping_stretch(body: Mesh, *, limit: float = 1 + REPEATED) -> Stretch:
    """The worst stretch of a skin that comes off a body upward.

    Args:
        body: closed, on the board.
        limit: ratio the rubber takes again and again.

    Source: lambda = longest section passed / own length; a ball of radius R open at a circle
    of radius r gives R / r.
    """
    made = solid(body, where="The body")
    low, high = body.bounds_mm[:, 2]
    heights = low + (high - low) * np.linspace(0.001, 0.995, SECTIONS)
    loops = np.array([_hull_length(made, z) for z in heights])
    passed = np.maximum.accumulate(loops[::-1])[::-1]
    ratio = np.divide(passed, loops, out=np.ones_like(loops), where=loops > 0)
    worst = int(np.argmax(ratio))
    over = worst + int(np.argmax(loops[worst:]))
    return Stretch(float(ratio[worst]), limit, float(heights[worst]), float(heights[over]))


def _hull_length(made: Any, z_mm: float) -> float:
    """Length of a band around the section at one height; 0 where there is none."""
    outlines = made.slice(float(z_mm)).hull().to_polygons()
    return float(sum(_length(np.asarray(run)) for run in outlines))


def _length(run_mm: Floats) -> float:
    return float(np.linalg.norm(np.roll(run_mm, -1, axis=0) - run_mm, axis=1).sum())
