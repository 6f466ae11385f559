"""What would a shell parted at these walls cost, and where would it lock? Quick enough to drag.

Everything dear was done when the shadows were cast: for walls that move, shadow points are
only added up anew on either side. Pulls are those of the sheaf, not turned any further, so the
fill told is a little more than the fill built.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.grid import Field
from firstpull.core.mould.locks import Lock, find_locks
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.shadows import Shadows, cast_shadows
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.steered import parted_at
from firstpull.core.mould.zone import PartingWall, Zone

PREVIEW_STEP_MM = 4.0


@dataclass(frozen=True)
class Preview:
    """A shell as it would be.

    Args:
        parting: zones and pulls; in the order they come off where that matters.
        locks: where it would lock without fill, the largest first.
    """

    parting: Parting
    locks: tuple[Lock, ...]

    @property
    def fill_cm3(self) -> float:
        """Silicone that must close the shadows."""
        return self.parting.fill_cm3

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "pieces": len(self.parting.zones),
            "fill_cm3": round(self.fill_cm3, 2),
            "pulls": [[round(float(c), 4) for c in pull] for pull in self.parting.pulls],
            "in_order": self.parting.is_ordered,
            "locks": [lock.as_json() for lock in self.locks],
        }


def preview_shadows(shape: SkinShape, *, draft_deg: float) -> Shadows:
    """Shadows on the grid of a preview, about 4 mm; cast once for all walls that are tried."""
    steps = max(1, round(PREVIEW_STEP_MM / shape.grid.step_mm))
    return cast_shadows(shape, draft_deg=draft_deg, coarse_steps=steps)


def preview(shadows: Shadows, walls: Sequence[PartingWall], *, draft_deg: float) -> Preview | None:
    """The shell parted at walls, each through the zone where it saves the most.

    Args:
        shadows: as cast for previews.
        walls: none is one piece.
        draft_deg: least lean of a pull to the walls of its zone.

    None where a piece would have no way off, in whatever order.
    """
    found = parted_at(shadows, walls, draft_deg=draft_deg)
    if found is None:
        return None
    locks: list[Lock] = []
    for number, (zone, way) in enumerate(zip(found.zones, found.pulls, strict=True), start=1):
        added = _shares(shadows, way, zone)
        locks += find_locks(added, shadows.phi, shadows.grid, piece=number)
    return Preview(found, tuple(sorted(locks, key=lambda lock: -lock.volume_cm3)))


def _shares(shadows: Shadows, way: Floats, zone: Zone) -> Field:
    """Share of each cell of the grid that fill takes in a zone, for a pull of the sheaf."""
    number = int(np.argmax(shadows.directions @ way))
    mine = shadows.in_zone(zone)
    at = np.rint((shadows.points_mm[mine] - shadows.grid.low_mm) / shadows.grid.step_mm)
    added = np.zeros(shadows.grid.shape, dtype=np.float32)
    cell = np.float32(shadows.grid.step_mm**3 / 1000)
    added[tuple(at.astype(np.intp).T)] = shadows.fills[number, mine] / cell
    return added
