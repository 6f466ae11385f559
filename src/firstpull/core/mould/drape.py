"""A cloth of cones hung from the rim: the clay wall that leans out toward the board."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.grid import Field, Grid

FAR = 1e3


def cone_drape(rim_mm: Floats, grid: Grid, *, slope_deg: float) -> Field:
    """Negative below the cones that stand, point up, under each point of a closed rim.

    Args:
        rim_mm: (N, 3) a closed run of points.
        slope_deg: how far the cone's side leans from upright.

    Returns:
        ``grid.shape``; close to the distance from the cones' common side where it is near.

    The union of the cones is open toward the board: it leaves upward with that draft.
    """
    rim = _densified(rim_mm, 0.5 * grid.step_mm)
    lean = np.tan(np.radians(slope_deg))
    height = np.full(grid.shape[:2], -FAR)
    lowest = grid.low_mm[2] - 2 * grid.step_mm
    _raise(rim, np.array(grid.low_mm), grid.step_mm, lean, lowest, height)
    z = grid.axis(2)[None, None, :]
    side = np.sin(np.radians(slope_deg))
    return ((z - height[:, :, None]) * side).astype(np.float32)


def _densified(run_mm: Floats, step_mm: float) -> Floats:
    """Points along a closed run, no two neighbours farther apart than the step."""
    ends = np.roll(run_mm, -1, axis=0)
    lengths = np.linalg.norm(ends - run_mm, axis=1)
    parts = np.maximum(1, np.ceil(lengths / step_mm)).astype(int)
    start = np.repeat(run_mm, parts, axis=0)
    way = np.repeat(ends - run_mm, parts, axis=0)
    first = np.repeat(np.cumsum(parts) - parts, parts)
    share = (np.arange(parts.sum()) - first) / np.repeat(parts, parts)
    dense: Floats = start + share[:, None] * way
    return dense


@njit(cache=True)
def _raise(rim, low, step, lean, lowest, height):  # type: ignore[no-untyped-def]
    """The highest cone over each column."""
    nx, ny = height.shape
    for r in range(len(rim)):
        x, y, z = rim[r, 0], rim[r, 1], rim[r, 2]
        reach = (z - lowest) * lean + step
        i0 = max(int(np.ceil((x - reach - low[0]) / step)), 0)
        i1 = min(int(np.floor((x + reach - low[0]) / step)), nx - 1)
        j0 = max(int(np.ceil((y - reach - low[1]) / step)), 0)
        j1 = min(int(np.floor((y + reach - low[1]) / step)), ny - 1)
        for i in range(i0, i1 + 1):
            dx = low[0] + i * step - x
            for j in range(j0, j1 + 1):
                dy = low[1] + j * step - y
                top = z - np.sqrt(dx * dx + dy * dy) / lean
                if top > height[i, j]:
                    height[i, j] = top


def plan_field(outline: NDArray[np.bool_], grid: Grid) -> Floats:
    """(nx, ny) distance in plan from a footprint, negative inside it, smooth at grid scale."""
    from scipy.ndimage import distance_transform_edt, gaussian_filter

    out = distance_transform_edt(~outline) - distance_transform_edt(outline)
    signed: Floats = gaussian_filter((out - np.sign(out) * 0.5) * grid.step_mm, 1.0)
    return signed
