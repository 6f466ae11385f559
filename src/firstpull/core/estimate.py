"""Estimates: a number with its spread, carried as 256 draws.

Sums add draws, never percentiles. A material row draws from a seed made of its own id, so
the same row used in two stages moves together in both.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats

DRAWS = 256
Z95 = 1.6448536269514722  # standard normal at 95 %


@dataclass(frozen=True)
class Estimate:
    """A quantity as 256 draws.

    Args:
        draws: (256,) values in the unit that the owner's name states.

    >>> tin = Estimate.spread("density, demo", 1.0, 1.1, 1.2)
    >>> (tin * 100).p50 == 100 * tin.p50
    True
    """

    draws: Floats

    def __post_init__(self) -> None:
        draws = np.array(self.draws, dtype=np.float64)
        draws.flags.writeable = False
        object.__setattr__(self, "draws", draws)

    @staticmethod
    def exact(value: float) -> Estimate:
        """A number without spread."""
        return Estimate(np.full(DRAWS, float(value)))

    @staticmethod
    def spread(row_id: str, low: float, typical: float, high: float) -> Estimate:
        """Draws of a row whose low and high are its 5th and 95th percentile.

        A split lognormal around the typical value; where low is not above 0, a split normal.

        Raises:
            ValueError: unless low <= typical <= high.
        """
        if not low <= typical <= high:
            raise ValueError(f"{row_id}: need low <= typical <= high, got {low}, {typical}, {high}")
        z = standard_draws(row_id)
        side = np.where(z < 0, 0, 1)
        if low > 0:
            steps = np.array([math.log(typical / low), math.log(high / typical)]) / Z95
            return Estimate(typical * np.exp(z * steps[side]))
        steps = np.array([typical - low, high - typical]) / Z95
        return Estimate(typical + z * steps[side])

    @property
    def p10(self) -> float:
        """One in ten comes out below."""
        return float(np.percentile(self.draws, 10))

    @property
    def p50(self) -> float:
        """The middle, used where one number is shown."""
        return float(np.percentile(self.draws, 50))

    @property
    def p90(self) -> float:
        """One in ten comes out above."""
        return float(np.percentile(self.draws, 90))

    def __add__(self, other: Estimate | float) -> Estimate:
        return Estimate(self.draws + _draws(other))

    __radd__ = __add__

    def __sub__(self, other: Estimate | float) -> Estimate:
        return Estimate(self.draws - _draws(other))

    def __mul__(self, other: Estimate | float) -> Estimate:
        return Estimate(self.draws * _draws(other))

    __rmul__ = __mul__

    def __truediv__(self, other: Estimate | float) -> Estimate:
        return Estimate(self.draws / _draws(other))

    def as_json(self, digits: int = 1) -> dict[str, Any]:
        """p10, p50 and p90, rounded."""
        return {k: round(getattr(self, k), digits) for k in ("p10", "p50", "p90")}


def total(estimates: Iterable[Estimate]) -> Estimate:
    """The sum, draw by draw."""
    result = Estimate.exact(0.0)
    for estimate in estimates:
        result = result + estimate
    return result


def standard_draws(row_id: str) -> Floats:
    """(256,) standard normal draws that belong to one row, the same in every run.

    Stratified: one draw in each 1/256 of probability, in an order made from the id, so that
    percentiles are right to three figures without luck.
    """
    from scipy.special import ndtri

    seed = int.from_bytes(hashlib.sha256(row_id.encode()).digest()[:8], "little")
    order = np.random.Generator(np.random.PCG64(seed)).permutation(DRAWS)
    quantiles: Floats = ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
    return quantiles[order]


def _draws(value: Estimate | float) -> Floats | float:
    return value.draws if isinstance(value, Estimate) else float(value)
