"""What would the mould copy with the paint that is being laid on? For a look while painting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.show import Show, border_loops
from firstpull.core.mould.show_paint import Canvas, ShowDab, dabs_in, painted
from firstpull.core.sheet import ShowDab as SheetDab

PLACES_DECIMALS = 2


@dataclass(frozen=True)
class Easel:
    """A master made ready to be painted, with the paint that its plan has.

    Args:
        canvas: of the master in the mould frame.
        natural: what would be copied without any paint.
        before: dabs that the run was planned with.
    """

    canvas: Canvas
    natural: Show
    before: tuple[ShowDab, ...]

    @staticmethod
    def of(
        master: Mesh, unpainted: Flags, before: Sequence[SheetDab], to_mould: ArrayLike
    ) -> Easel:
        """The easel of a run.

        Args:
            master: closed, mould frame.
            unpainted: (F,) what is copied without paint.
            before: of the sheet, in the axes of the mesh file.
            to_mould: (4, 4) from there.
        """
        canvas = Canvas.of(master)
        natural = Show(
            faces=unpainted,
            loops=border_loops(master, canvas.pairs, unpainted),
            area_mm2=float(master.face_areas_mm2[unpainted].sum()),
            wall_mm=np.full(len(unpainted), np.nan),
            is_shell=False,
        )
        return Easel(canvas, natural, dabs_in(before, to_mould))

    def with_paint(self, dabs: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """The border with more paint on top.

        Args:
            dabs: each {at, radius_mm, copied}, mould frame; the last lies on top.

        Returns:
            ``border``: closed lines, mm in the mould frame; ``show_area_cm2`` within them, and
            ``planned_area_cm2`` with the paint that the plan has.

        Raises:
            WorkshopError: painted like this there would be no mould; as for a plan.
        """
        added = [
            ShowDab(tuple(map(float, dab["at"])), float(dab["radius_mm"]), bool(dab["copied"]))
            for dab in dabs
        ]
        shown = self._painted(added) if added else self.planned
        points = self.canvas.mesh.vertices_mm
        return {
            "border": [_closed(points[loop]) for loop in shown.loops],
            "show_area_cm2": round(shown.area_mm2 / 100, 2),
            "planned_area_cm2": round(self.planned.area_mm2 / 100, 2),
        }

    @cached_property
    def planned(self) -> Show:
        """With the paint that the plan has."""
        return self._painted(())

    def _painted(self, added: Sequence[ShowDab]) -> Show:
        dabs = (*self.before, *added)
        return painted(self.canvas.mesh, self.natural, dabs, canvas=self.canvas)


def _closed(points_mm: Floats) -> list[list[float]]:
    run = np.round(points_mm, PLACES_DECIMALS).tolist()
    return [*run, run[0]]
