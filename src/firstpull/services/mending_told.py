"""What did mending do to the surface: what moved, what is new, what went, and how far?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags
from firstpull.core.figures import told_number
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.compare import SAME_MM, Comparison, Difference, compare
from firstpull.core.mesh.revision.deviation import Deviation, deviation
from firstpull.core.mesh.topology import is_closed
from firstpull.core.mesh.tree import Tree

REBUILT_STEPS = 2.0
"""Of a rebuilt surface, what lies farther than this many steps from what arrived is new."""

PATCHES_TOLD = 6


@dataclass(frozen=True)
class MendingTold:
    """How a mended surface lies to what mending kept of the one that arrived.

    Args:
        apart_mm: what lies farther than this from the other surface counts as new or gone.
        strays_mm: no point of what arrived and is still there lies farther from the mended
            surface; proved, not sampled.
        strays_at_mm: about where.
        added: patches of new surface, such as lids and inner walls, the largest first.
        gone: patches of kept surface that are no longer there, such as what lay inside where
            bodies were united.
        volume_before_mm3: None where what arrived was open or inside out.
        volume_after_mm3: of the mended solid.
        comparison: both ways, in full.
    """

    apart_mm: float
    strays_mm: float
    strays_at_mm: tuple[float, float, float]
    added: tuple[Difference, ...]
    gone: tuple[Difference, ...]
    volume_before_mm3: float | None
    volume_after_mm3: float
    comparison: Comparison

    def new_faces(self, faces: int) -> Flags:
        """(F,) which faces of the mended mesh are new surface."""
        return _faces_of(self.added, faces)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a maker wants to know, the most important first."""
        return tuple(filter(None, [self._stray(), self._added(), self._gone(), self._volume()]))

    def _stray(self) -> str:
        if self.strays_mm < 1e-6:
            return "What stayed of the surface did not move."
        return (
            f"What stayed of the surface moved by {length(self.strays_mm)} at most"
            f" (proved), near {_place(self.strays_at_mm)}."
        )

    def _added(self) -> str:
        if not self.added:
            return ""
        area = sum(patch.area_mm2 for patch in self.added)
        return (
            f"New surface (farther than {self.apart_mm:g} mm from what arrived, such as lids and"
            f" inner walls): {told_number(area / 100, 3)} cm2 in {_patches(self.added)}, the"
            " largest near"
            f" {_place(self.added[0].place_mm)}."
        )

    def _gone(self) -> str:
        if not self.gone:
            return ""
        area = sum(patch.area_mm2 for patch in self.gone)
        return (
            f"Surface that is gone (such as what lay inside where bodies were united):"
            f" {told_number(area / 100, 3)} cm2 in {_patches(self.gone)}, up to"
            f" {told_number(max(abs(patch.most_mm) for patch in self.gone), 2)} mm from the"
            " mended surface, the"
            f" largest near {_place(self.gone[0].place_mm)}."
        )

    def _volume(self) -> str:
        after = self.volume_after_mm3 / 1000.0
        if self.volume_before_mm3 is None:
            return f"Volume: {after:,.2f} cm3; what arrived was open or inside out and had none."
        change = after - self.volume_before_mm3 / 1000.0
        return f"Volume: {after:,.2f} cm3, a change of {change:+,.3f} cm3."

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return {
            "apart_mm": self.apart_mm,
            "strays_mm": round(self.strays_mm, 6),
            "strays_at_mm": [round(c, 3) for c in self.strays_at_mm],
            "new_surface": _patches_json(self.added),
            "gone_surface": _patches_json(self.gone),
            "volume_before_cm3": _cm3(self.volume_before_mm3),
            "volume_after_cm3": _cm3(self.volume_after_mm3),
            "sentences": list(self.sentences),
        }


def mending_told(arrived: Mesh, mended: Mended) -> MendingTold | None:
    """What mending did to the surface; None where it changed nothing.

    Args:
        arrived: the mesh before mending.
        mended: what came of it.
    """
    if mended.mesh is arrived or mended.kept is None:
        return None
    step = float(mended.changed.get("rebuilt_at_step_mm", 0.0))
    apart = max(SAME_MM, REBUILT_STEPS * step)
    found = compare(mended.kept, mended.mesh, same_mm=apart)
    gone = tuple(patch for patch in found.differences if patch.side == "old")
    strays = _strays(arrived, Tree.of(mended.mesh), apart)
    return MendingTold(
        apart_mm=apart,
        strays_mm=strays.most_mm if strays else 0.0,
        strays_at_mm=strays.place_mm if strays else (0.0, 0.0, 0.0),
        added=tuple(patch for patch in found.differences if patch.side == "new"),
        gone=gone,
        volume_before_mm3=_volume(arrived),
        volume_after_mm3=mended.mesh.volume_mm3,
        comparison=found,
    )


def _volume(mesh: Mesh) -> float | None:
    return mesh.volume_mm3 if is_closed(mesh) and mesh.volume_mm3 > 0 else None


def _strays(arrived: Mesh, mended: Tree, apart_mm: float) -> Deviation | None:
    """How far what is still there of the mesh that arrived lies from the mended surface.

    Stitching comes before what ``Mended.kept`` holds, so the mesh itself is measured.
    """
    corners, _, _ = mended.closest(arrived.vertices_mm)
    middles, _, _ = mended.closest(arrived.face_centres_mm)
    still = (corners <= apart_mm)[arrived.faces].all(axis=1) & (middles <= apart_mm)
    return deviation(arrived.with_faces(still), mended) if still.any() else None


def _faces_of(patches: tuple[Difference, ...], faces: int) -> Flags:
    chosen = np.zeros(faces, dtype=np.bool_)
    for patch in patches:
        chosen[patch.faces] = True
    return chosen


def _patches_json(patches: tuple[Difference, ...]) -> dict[str, Any]:
    return {
        "count": len(patches),
        "area_cm2": round(sum(patch.area_mm2 for patch in patches) / 100.0, 4),
        "largest": [
            {
                "area_cm2": round(patch.area_mm2 / 100.0, 4),
                "farthest_mm": round(patch.most_mm, 4),
                "at_mm": [round(c, 3) for c in patch.place_mm],
            }
            for patch in patches[:PATCHES_TOLD]
        ],
    }


def _patches(patches: tuple[Difference, ...]) -> str:
    return "1 patch" if len(patches) == 1 else f"{len(patches)} patches"


def _place(place_mm: tuple[float, float, float]) -> str:
    """A place as the checker's findings write it.

    >>> _place((1.04, -0.0, 3.0))
    '(1.0, 0.0, 3.0) mm'
    """
    return "(" + ", ".join(f"{round(c, 1) + 0.0:.1f}" for c in place_mm) + ") mm"


def length(mm: float) -> str:
    """A length to two figures, a thousandth of a millimetre the least.

    >>> length(0.0202), length(0.0000012), length(12.0)
    ('0.02 mm', 'less than 0.001 mm', '12 mm')
    """
    return f"{told_number(mm, 2)} mm" if mm >= 0.001 else "less than 0.001 mm"


def _cm3(mm3: float | None) -> float | None:
    return None if mm3 is None else round(mm3 / 1000.0, 4)
