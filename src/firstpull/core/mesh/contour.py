"""The surface where a field on a grid is zero, as a closed mesh."""

from __future__ import annotations

import numpy as np

from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mesh.mesh import Mesh


def contour(field: Field, grid: Grid) -> Mesh:
    """The boundary of the region where ``field`` is negative.

    Args:
        field: ``grid.shape``; values that are exactly zero count as just outside.
        grid: where the values stand.

    Returns:
        A closed mesh, outward; empty where nothing is negative. Where the region reaches the
        edge of the grid it is closed there, half a step inside the last point at the most.

    >>> grid = Grid.around([-3, -3, -3], [3, 3, 3], step_mm=0.25)
    >>> x, y, z = grid.axes()
    >>> ball = contour((np.sqrt(x * x + y * y + z * z) - 2.0).astype(np.float32), grid)
    >>> round(ball.volume_mm3 / (4 / 3 * np.pi * 8), 1)
    1.0
    """
    from skimage.measure import marching_cubes

    if not (field < 0).any():
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3)))
    slack = np.float32(grid.step_mm * 1e-4)
    padded = np.pad(field, 1, constant_values=np.float32(grid.step_mm))
    # a value at or next to zero makes slivers and doubled corners
    np.copyto(padded, slack, where=np.abs(padded) < slack)
    vertices, faces, _, _ = marching_cubes(padded, 0.0, gradient_direction="descent")
    low = np.array(grid.low_mm) - grid.step_mm
    return Mesh(vertices.astype(np.float64) * grid.step_mm + low, faces)
