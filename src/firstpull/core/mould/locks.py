"""Where would a rigid piece lock on the plain skin, so that silicone must fill the place?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.grid import Field, Grid, sample

MOST_LOCKS = 5  # told of one choice, the largest
LEAST_LOCK_CM3 = 0.5  # less goes on with a coat
FILM_STEPS = 0.5  # fill that fills less of a cell joins no places


@dataclass(frozen=True)
class Lock:
    """A place where a piece would lock without fill.

    Args:
        piece: number of the shell piece, from 1, in the order they come off.
        place_mm: on the plain skin under the deepest fill, mould frame.
        depth_mm: how far the fill there reaches over the plain skin.
        volume_cm3: of the fill.
    """

    piece: int
    place_mm: tuple[float, float, float]
    depth_mm: float
    volume_cm3: float

    @property
    def sentence(self) -> str:
        """What locks, where, and what must fill it.

        >>> Lock(1, (0.0, -42.3, 21.0), 13.8, 12.2).sentence
        'Piece 1 locks at (0, -42, 21): 12 cm³ of silicone, 14 mm deep, must fill it.'
        """
        x, y, z = (round(c) + 0 for c in self.place_mm)
        much = f"{self.volume_cm3:.{0 if self.volume_cm3 >= 9.95 else 1}f}"
        return (
            f"Piece {self.piece} locks at ({x}, {y}, {z}): {much} cm³ of silicone, "
            f"{self.depth_mm:.0f} mm deep, must fill it."
        )

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "piece": self.piece,
            "place_mm": [round(c, 1) + 0.0 for c in self.place_mm],
            "depth_mm": round(self.depth_mm, 1),
            "volume_cm3": round(self.volume_cm3, 2),
            "sentence": self.sentence,
        }


def find_locks(added: Field, phi: Field, grid: Grid, *, piece: int) -> list[Lock]:
    """Places that hang together and are filled, largest first, at most five.

    Args:
        added: share of each cell that fill takes in the piece's zone.
        phi: distance to the plain skin, negative inside.
        grid: where both stand.
        piece: number of the shell piece.

    Cells less than half full join no places, but count to the one they touch. What is smaller
    than 0.5 cm3 is not told.
    """
    from scipy.ndimage import label, maximum_filter

    box = _box_of(added)
    if box is None:
        return []
    added, away = added[box], phi[box]
    low = np.array([axis.start for axis in box])
    labels, count = label(added > FILM_STEPS, structure=np.ones((3, 3, 3)))
    skirt = np.where(labels > 0, labels, maximum_filter(labels, 3))
    shares = np.bincount(skirt.ravel(), weights=added.ravel(), minlength=count + 1)
    volumes = shares * (grid.step_mm**3 / 1000)
    found = []
    for number in np.argsort(-volumes[1:], kind="stable")[:MOST_LOCKS] + 1:
        if volumes[number] < LEAST_LOCK_CM3:
            break
        depths = np.where(labels == number, away, -np.inf)
        deepest = np.unravel_index(int(np.argmax(depths)), depths.shape)
        place = _on_skin(phi, grid, np.array(deepest) + low)
        x, y, z = place.tolist()
        found.append(Lock(piece, (x, y, z), float(depths[deepest]), float(volumes[number])))
    return found


def _on_skin(phi: Field, grid: Grid, start: Floats) -> Floats:
    """(3,) the place on the plain skin nearest to a grid point outside it, above the board."""
    step = grid.step_mm
    reach = int(np.ceil(max(float(phi[tuple(start)]), 0.0) / step)) + 2
    box = tuple(slice(max(int(at) - reach, 0), int(at) + reach + 1) for at in start)
    near = np.argwhere(np.abs(phi[box]) <= step) + [axis.start for axis in box]
    near = near[grid.axis(2)[near[:, 2]] > 0]
    point = np.array(grid.low_mm) + step * start
    if len(near):
        points = np.array(grid.low_mm) + step * near
        point = points[np.argmin(np.linalg.norm(points - point, axis=1))]
    h = 0.5 * step
    ways = h * np.vstack([np.eye(3), -np.eye(3)])
    here = sample(phi, grid, np.vstack([point + ways, point[None]]))
    slope = (here[:3] - here[3:6]) / (2 * h)
    point = point - here[6] * slope / max(float(slope @ slope), 0.25)
    point[2] = max(float(point[2]), 0.0)
    return np.asarray(point)


def _box_of(added: Field) -> tuple[slice, slice, slice] | None:
    """The box around all fill, a cell wider; None where there is none."""
    spans = []
    for axis in range(3):
        others = tuple({0, 1, 2} - {axis})
        line = np.flatnonzero((added > 0).any(axis=others))
        if not len(line):
            return None
        spans.append(slice(max(int(line[0]) - 1, 0), int(line[-1]) + 2))
    return spans[0], spans[1], spans[2]
