"""What would the mould copy with the paint that is being laid on? For a look while painting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.show import Show, border_loops
from firstpull.core.mould.show_paint import Canvas, ShowDab, painted

PLACES_DECIMALS = 2


@dataclass(frozen=True)
class Easel:
    """A master made ready to be painted.

    Args:
        canvas: of the master in the mould frame.
        natural: what would be copied without any paint.
        planned_area_cm2: what the plan copies, with the paint it has.
    """

    canvas: Canvas
    natural: Show
    planned_area_cm2: float

    @staticmethod
    def of(master: Mesh, unpainted: Flags, planned: Flags) -> Easel:
        """The easel of a run.

        Args:
            master: closed, mould frame.
            unpainted: (F,) what is copied without paint.
            planned: (F,) what the plan copies.
        """
        canvas, areas = Canvas.of(master), master.face_areas_mm2
        natural = Show(
            faces=unpainted,
            loops=border_loops(master, canvas.pairs, unpainted),
            area_mm2=float(areas[unpainted].sum()),
            wall_mm=np.full(len(unpainted), np.nan),
            is_shell=False,
        )
        return Easel(canvas, natural, float(areas[planned].sum()) / 100)

    def with_paint(self, dabs: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """The border with all this paint and no other.

        Args:
            dabs: each {at, radius_mm, copied}, mould frame; the last lies on top.

        Returns:
            ``border``: closed lines, mm in the mould frame; ``show_area_cm2`` within them, and
            ``planned_area_cm2`` of the plan.

        Raises:
            WorkshopError: painted like this there would be no mould; as for a plan.
        """
        laid = [
            ShowDab(tuple(map(float, dab["at"])), float(dab["radius_mm"]), bool(dab["copied"]))
            for dab in dabs
        ]
        mesh = self.canvas.mesh
        shown = painted(mesh, self.natural, laid, canvas=self.canvas)
        return {
            "border": [_closed(mesh.vertices_mm[loop]) for loop in shown.loops],
            "show_area_cm2": round(shown.area_mm2 / 100, 2),
            "planned_area_cm2": round(self.planned_area_cm2, 2),
        }


def _closed(points_mm: Floats) -> list[list[float]]:
    run = np.round(points_mm, PLACES_DECIMALS).tolist()
    return [*run, run[0]]
