"""Points, directions and walls of the mould frame as a sheet writes them: in the file's axes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

EXACT_MM = 1e-4  # what is written into a sheet is rounded to this


def points_for_sheet(points_mm: ArrayLike, to_mould: ArrayLike) -> list[list[float]]:
    """(N, 3) points of the mould frame in the file's coordinates, rounded."""
    matrix = np.asarray(to_mould, dtype=np.float64)
    back = np.linalg.inv(matrix)
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3) @ back[:3, :3].T + back[:3, 3]
    # as many digits as make out EXACT_MM in the file's unit
    digits = max(0, int(np.ceil(np.log10(scale_of(matrix) / EXACT_MM))))
    return [[round(float(c), digits) + 0.0 for c in point] for point in points]


def directions_for_sheet(ways: ArrayLike, to_mould: ArrayLike) -> list[list[float]]:
    """(N, 3) directions of the mould frame in the file's axes: unit vectors, rounded."""
    matrix = np.asarray(to_mould, dtype=np.float64)
    turned = np.asarray(ways, dtype=np.float64).reshape(-1, 3) @ (matrix[:3, :3] / scale_of(matrix))
    return [[round(float(c), 8) + 0.0 for c in way] for way in turned]


def wall_in_file(told: Mapping[str, Any], to_mould: ArrayLike) -> dict[str, Any]:
    """A wall as a plan tells it, through, facing and its bend, in the file's coordinates.

    Read back with the same matrix it stands where it stood, to 0.0001 mm as printed.

    >>> wall_in_file({"through": [10.0, 0, 0], "facing": [1.0, 0, 0]}, np.diag([10, 10, 10, 1]))
    {'through': [1.0, 0.0, 0.0], 'facing': [1.0, 0.0, 0.0]}
    """
    facing = np.asarray(told["facing"], dtype=np.float64)
    written: dict[str, Any] = {
        "through": points_for_sheet([told["through"]], to_mould)[0],
        "facing": directions_for_sheet([facing / np.linalg.norm(facing)], to_mould)[0],
    }
    if told.get("bend"):
        written["bend"] = points_for_sheet(told["bend"], to_mould)
    return written


def scale_of(to_mould: ArrayLike) -> float:
    """Millimetres as printed to one unit of the file."""
    matrix = np.asarray(to_mould, dtype=np.float64)
    return float(abs(np.linalg.det(matrix[:3, :3])) ** (1 / 3))
