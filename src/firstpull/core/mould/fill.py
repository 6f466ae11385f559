"""The silicone that only fills what would lock the shell, kept as the few grid points it moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.grid import Field

FROM_PLAIN = 0.05  # steps; a field lower by less is not told as fill
AHEAD_STEPS = 2.0  # points this far outside the filled skin are kept, so that it can be contoured


@dataclass(frozen=True)
class Fill:
    """Where fill makes the skin thicker than plain.

    Args:
        cells: (N,) flat numbers of points of the skin's grid, rising.
        levels_mm: (N,) field of the filled skin there, negative inside.
    """

    cells: NDArray[np.int64]
    levels_mm: NDArray[np.float32]

    @staticmethod
    def between(plain: Field, filled: Field, *, step_mm: float) -> Fill:
        """The fill that makes one field of the other.

        >>> plain, filled = np.ones((2, 2, 2)), np.ones((2, 2, 2))
        >>> filled[0, 1, 0] = -0.5
        >>> Fill.between(plain, filled, step_mm=1.0).cells
        array([2])
        """
        lower = (filled < plain - FROM_PLAIN * step_mm) & (filled < AHEAD_STEPS * step_mm)
        cells = np.flatnonzero(lower)
        return Fill(cells.astype(np.int64), filled.ravel()[cells].astype(np.float32))

    @property
    def is_empty(self) -> bool:
        """Whether nothing is filled."""
        return not (self.levels_mm < 0).any()

    def field(self, plain: Field) -> Field:
        """The plain skin's field with the fill in."""
        filled = plain.copy()
        filled.ravel()[self.cells] = self.levels_mm
        return filled
