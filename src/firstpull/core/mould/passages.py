"""Which passages between parts of the body does the skin fill from side to side?

Where two faces of the body look at each other across less than twice the skin, the layers
on both meet. Midway between them the distance to the body stands on a ridge: it falls to both
sides, and along the ridge it hardly rises. In a corner or a fillet it rises all along the
ridge, as the faces open; nothing is shut there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.grid import Field
from firstpull.core.mould.pockets import Pocket
from firstpull.core.mould.show import told_place
from firstpull.core.mould.skin import KEY_FOOT_MM, KEY_HEIGHT_MM, SkinShape

LEVEL = 0.42  # rise of the distance a mm: faces that open by up to 2 arcsin 0.42 = 50 degrees
REACH = 2  # grid steps to each side over which the rise is taken
LEAST_CM3 = 0.3  # a smaller plug is drawn out unnoticed
LEAST_SKIN_MM = 3.0  # a thinner skin tears by itself
FREE_MM = 2.0  # between the two layers, so that a brush or a shell has a way between them


@dataclass(frozen=True)
class Passage:
    """A passage that the skin fills from side to side.

    Args:
        place_mm: midway across it, about its middle.
        width_mm: from side to side, to about a grid step.
        volume_cm3: the silicone in it.
        skin_mm: thickness of the skin that shuts it.
        frame: whose axes the place is in.
    """

    place_mm: tuple[float, float, float]
    width_mm: float
    volume_cm3: float
    skin_mm: float
    frame: str = "mould frame"

    @property
    def thickest_mm(self) -> float | None:
        """The thickest skin, in whole mm, that leaves it open; None where that is too thin."""
        thickest = float(np.floor(0.5 * (self.width_mm - FREE_MM)))
        return thickest if thickest >= LEAST_SKIN_MM else None

    @property
    def sentence(self) -> str:
        """What it means, and what to do."""
        thinner = (
            f"A skin of at most {self.thickest_mm:g} mm would leave it open; or plug"
            if self.thickest_mm is not None
            else "No skin that holds is thin enough to leave it open: plug"
        )
        return (
            f"A skin of {self.skin_mm:g} mm shuts a passage {self.width_mm:.0f} mm wide near "
            f"{told_place(self.place_mm)} in the {self.frame}: {self.volume_cm3:.1f} cm3 of "
            f"silicone fill it solid and must be drawn out of it whole. {thinner} it with "
            "clay, or in the model."
        )

    def in_file(self, to_mould: ArrayLike) -> Passage:
        """The same with its place in the mesh file's coordinates.

        Args:
            to_mould: (4, 4) from there.
        """
        x, y, z = (np.linalg.inv(np.asarray(to_mould)) @ [*self.place_mm, 1.0])[:3].tolist()
        return replace(self, place_mm=(x, y, z), frame="mesh file's axes")

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "place_mm": [round(c, 1) for c in self.place_mm],
            "width_mm": round(self.width_mm, 1),
            "volume_cm3": round(self.volume_cm3, 1),
            "thickest_skin_mm": self.thickest_mm,
            "sentence": self.sentence,
        }


def find_passages(
    shape: SkinShape, *, above_mm: float, but_for: Sequence[Pocket] = ()
) -> tuple[Passage, ...]:
    """Passages of the body that its skin fills solid, the largest first.

    Args:
        shape: the skin before fill.
        above_mm: height over the board from which is looked: the flange fills what is lower.
        but_for: pockets told of already.

    Returns:
        those of 0.3 cm3 and more between faces that open by less than about 50 degrees,
        narrower than twice the skin by a grid step; a groove less deep than half its width is
        none.
    """
    away = shape.phi + np.float32(shape.thickness_mm)
    ridge = _ridge(away, shape, above_mm)
    found = [
        _passage(away, points, shape)
        for points in _groups(ridge)
        if not _is_told(_places(points, shape), but_for)
    ]
    large = [passage for passage in found if passage.volume_cm3 >= LEAST_CM3]
    return tuple(sorted(large, key=lambda passage: -passage.volume_cm3))


def _ridge(away: Field, shape: SkinShape, above_mm: float) -> Flags:
    """Places in the skin midway between faces of the body that look at each other."""
    step = shape.grid.step_mm
    asked = (away > 0) & (away < shape.thickness_mm - 0.5 * step)
    asked[:, :, shape.grid.axis(2) < above_mm + REACH * step] = False
    for axis in range(3):
        edge: list[Any] = [slice(None)] * 3
        for end in (slice(None, REACH), slice(-REACH, None)):
            edge[axis] = end
            asked[tuple(edge)] = False
    _leave_keys_out(asked, shape, above_mm)
    flat = away.ravel()
    at = np.flatnonzero(asked)
    rise2 = np.zeros(len(at))
    bend = np.zeros(len(at))
    for stride in (away.shape[1] * away.shape[2], away.shape[2], 1):
        after, before = flat[at + REACH * stride], flat[at - REACH * stride]
        rise2 += ((after - before) / (2 * REACH * step)) ** 2
        bend += after + before - 2 * flat[at]
    ridge = np.zeros(away.shape, dtype=np.bool_)
    # a ridge falls to its sides, a valley between two layers rises
    ridge.ravel()[at[(rise2 < LEVEL**2) & (bend < 0)]] = True
    return ridge


def _leave_keys_out(asked: Flags, shape: SkinShape, above_mm: float) -> None:
    """Inside a key the field tells the distance to the key, not to the body."""
    top = shape.grid.axis(2) < above_mm + KEY_HEIGHT_MM + REACH * shape.grid.step_mm
    x, y, _ = shape.grid.axes()
    for foot in shape.keys_mm:
        near = np.hypot(x - foot[0], y - foot[1])[:, :, 0] < KEY_FOOT_MM + 3.0
        asked[np.ix_(near.any(axis=1), near.any(axis=0), top)] = False


def _groups(ridge: Flags) -> list[NDArray[np.intp]]:
    """(N, 3) grid points of each run of a ridge that hangs together."""
    from scipy.ndimage import find_objects, label

    labels, _ = label(ridge, structure=np.ones((3, 3, 3)))
    return [
        np.argwhere(labels[box] == number) + [axis.start for axis in box]
        for number, box in enumerate(find_objects(labels), start=1)
    ]


def _passage(away: Field, points: NDArray[np.intp], shape: SkinShape) -> Passage:
    half = away[tuple(points.T)].astype(np.float64)
    places = _places(points, shape)
    middle = places[np.argmin(np.linalg.norm(places - places.mean(axis=0), axis=1))]
    x, y, z = (float(c) for c in middle)
    # points of a ridge lie up to half a step off it, on average a quarter
    width = 2 * float(np.median(half)) + 0.5 * shape.grid.step_mm
    return Passage((x, y, z), width, _volume_cm3(away, points, half, shape), shape.thickness_mm)


def _volume_cm3(away: Field, points: NDArray[np.intp], half: Floats, shape: SkinShape) -> float:
    """What lies on the way from the ridge to the body: all that is before the mouth does not."""
    from scipy.spatial import cKDTree

    step = shape.grid.step_mm
    reach = int(np.ceil(half.max() / step)) + 1
    low = np.maximum(points.min(axis=0) - reach, 0)
    high = np.minimum(points.max(axis=0) + reach + 1, away.shape)
    box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    free = np.argwhere(away[box] > 0) + low
    apart, nearest = cKDTree(points).query(free, distance_upper_bound=float(reach))
    known = np.isfinite(apart)
    way = apart[known] * step + away[tuple(free[known].T)]
    held = way <= half[nearest[known]] + 0.75 * step  # a ridge point may lie half a step off
    return float(held.sum()) * step**3 / 1000


def _places(points: NDArray[np.intp], shape: SkinShape) -> Floats:
    return np.asarray(np.array(shape.grid.low_mm) + shape.grid.step_mm * points)


def _is_told(places: Floats, pockets: Sequence[Pocket]) -> bool:
    return any(
        np.linalg.norm(places - pocket.place_mm, axis=1).min() < 0.5 * pocket.bulb_mm
        for pocket in pockets
    )
