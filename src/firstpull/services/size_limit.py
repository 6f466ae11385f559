"""Is the part small enough to plan on an ordinary computer?"""

from __future__ import annotations

import numpy as np

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import UnitChoice
from firstpull.core.mould.shell import room_for_shell
from firstpull.core.sheet import JobSheet

MOST_POINTS = 40_000_000  # of the skin's grid: about 2.5 GB in all


class TooLarge(WorkshopError):
    """The part at this size and grid would take more memory than a workshop computer has."""

    code = "too_large"


def need_room(printed: Mesh, unit: UnitChoice, sheet: JobSheet) -> None:
    """Refuses what would not fit before anything is built.

    Args:
        printed: the mesh at the size it is printed, mm.
        unit: how its file was taken.
        sheet: the job's answers.

    Raises:
        TooLarge: says how large it is, and what to do.
    """
    around = sheet.skin.flange_width_mm + room_for_shell(
        thickness_mm=sheet.shell.thickness_used_mm, clearance_mm=sheet.shell.clearance_used_mm
    )
    margins = np.array([2 * around, 2 * around, around + 20.0])
    sides = np.ptp(printed.vertices_mm, axis=0) + margins
    points = float(np.prod(sides / sheet.grid_mm))
    if points <= MOST_POINTS:
        return
    longest = float(np.ptp(printed.vertices_mm, axis=0).max())
    raise TooLarge(
        where="The part",
        found=f"is {longest:,.0f} mm at its longest, taken as {unit.unit}; on a "
        f"{sheet.grid_mm:g} mm grid that is {points / 1e6:,.0f} million points",
        limit=f"a plan takes up to {MOST_POINTS / 1e6:.0f} million",
        remedy="Say the unit with --unit, shrink it with --scale, cut it into parts, or raise "
        "grid_mm in the sheet (2 mm at most).",
    )
