"""Where does silicone sit in a pocket that is wider than its mouth?

A plug of rubber in such a pocket must squeeze out through the mouth at every stripping. A
ball that fits into the pocket but finds no way out shows it: places farther than r from the
body hang together to the outside, unless a mouth narrower than r cuts them off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.mesh.grid import Field
from firstpull.core.mould.skin import SkinShape

MOUTHS_MM = (1.5, 1.8, 2.2, 2.7, 3.2, 3.9, 4.7, 5.6, 6.7, 8.0, 9.6, 11.5, 14.0)  # radii tried
WIDENS = 1.4  # bulb over mouth: the strain this rubber takes again and again
SMALLEST_BULB_MM = 2.5  # radius: a smaller plug is drawn out unnoticed


@dataclass(frozen=True)
class Pocket:
    """A place where the rubber must squeeze through a mouth.

    Args:
        place_mm: the middle of its widest part, mould frame.
        bulb_mm: diameter of the largest ball that fits in.
        mouth_mm: diameter of the largest ball that gets out, to the grid's step.
    """

    place_mm: tuple[float, float, float]
    bulb_mm: float
    mouth_mm: float

    @property
    def sentence(self) -> str:
        """What it means, and what to do."""
        x, y, z = self.place_mm
        return (
            f"Silicone would fill a pocket {self.bulb_mm:.0f} mm wide behind a mouth of "
            f"{self.mouth_mm:.0f} mm near ({x:.0f}, {y:.0f}, {z:.0f}): it may tear when the skin "
            "is peeled. Plug the pocket in the model or with clay, or plan a slit there."
        )

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "place_mm": [round(c, 1) for c in self.place_mm],
            "bulb_mm": round(self.bulb_mm, 1),
            "mouth_mm": round(self.mouth_mm, 1),
            "sentence": self.sentence,
        }


def find_pockets(shape: SkinShape) -> tuple[Pocket, ...]:
    """Pockets of the body that are at least 1.4 times as wide as their mouth, worst first.

    Args:
        shape: the skin; its distance field tells how far each place is from the body.

    A pocket whose bulb is narrower than 5 mm, or a mouth wider than 28 mm, is not looked for.
    """
    away = shape.phi + np.float32(shape.thickness_mm)
    found: dict[tuple[int, int, int], Pocket] = {}
    for radius in MOUTHS_MM:
        for place, bulb in _chambers(away, shape, radius):
            mouth = radius + 0.5 * shape.grid.step_mm  # a way this much wider may be overlooked
            if bulb >= max(WIDENS * mouth, SMALLEST_BULB_MM) and place not in found:
                where = np.array(shape.grid.low_mm) + shape.grid.step_mm * np.array(place)
                x, y, z = where.tolist()
                found[place] = Pocket((x, y, z), 2 * bulb, 2 * mouth)
    return tuple(sorted(found.values(), key=lambda p: -p.bulb_mm / p.mouth_mm))


def _chambers(
    away: Field, shape: SkinShape, radius: float
) -> list[tuple[tuple[int, int, int], float]]:
    """Deepest point and its distance, of each room of that radius without a way out."""
    from scipy.ndimage import label, maximum_position

    room = away > radius
    room[:, :, shape.grid.axis(2) < 0] = False
    labels, count = label(room, structure=np.ones((3, 3, 3)))
    outside = {int(labels[0, 0, -1]), 0}
    inner = [n for n in range(1, count + 1) if n not in outside]
    if not inner:
        return []
    places = maximum_position(away, labels, inner)
    return [((int(i), int(j), int(k)), float(away[int(i), int(j), int(k)])) for i, j, k in places]
