"""Checks a mesh file: what it holds, what is wrong, what mending would do about it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.bench import Mended
from firstpull.core.mesh.defects import find_defects
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.measure import Measures, inside_width_warning, measure
from firstpull.core.mesh.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import UnitChoice, choose_unit
from firstpull.core.sheet import JobSheet
from firstpull.files.read_mesh import MeshFile, read_mesh
from firstpull.services.size_limit import need_room


@dataclass(frozen=True)
class MeshCheck:
    """What a check found.

    Args:
        name: the file's name.
        file: what was read, in the file's unit.
        unit: the unit taken, and why.
        scale: the factor asked for on top of the unit.
        arrived: measures before mending, in mm.
        findings: what is wrong before mending.
        mended: what mending makes of it, or None where it refuses.
        refusal: why mending refuses, or None.
        after: measures after mending, or None.
        warnings: sentences about unit, size and inside.
        blocks: what stands in the way of print or mould and mending does not remove, one
            sentence each; empty where the plan can go on.
    """

    name: str
    file: MeshFile
    unit: UnitChoice
    scale: float
    arrived: Measures
    findings: tuple[Finding, ...]
    mended: Mended | None
    refusal: WorkshopError | None
    after: Measures | None
    warnings: tuple[str, ...]
    blocks: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The check as plain data."""
        return {
            "file": {
                "name": self.name,
                "format": self.file.format,
                "declared_unit": self.file.declared_unit,
                "triangles": len(self.file.mesh.faces),
                "notes": list(self.file.notes),
            },
            "unit": {
                "unit": self.unit.unit,
                "factor_to_mm": self.unit.factor_to_mm,
                "why": self.unit.why,
            },
            "scale": self.scale,
            "measures": self.arrived.as_json(),
            "findings": [finding.as_json() for finding in self.findings],
            "mending": self._mending(),
            "warnings": list(self.warnings),
            "blocks": list(self.blocks),
        }

    def _mending(self) -> dict[str, Any]:
        if self.mended is None:
            return {"refused": self.refusal.as_json() if self.refusal else None}
        return {
            "refused": None,
            "changed": dict(self.mended.changed),
            "notes": list(self.mended.notes),
            "findings_left": [finding.as_json() for finding in self.mended.findings_left],
            "measures": self.after.as_json() if self.after else None,
        }


def check_mesh(
    path: str | Path,
    *,
    unit: str | None = None,
    scale: float | None = None,
    wall_mm: float | None = None,
) -> MeshCheck:
    """Reads a mesh, says what is wrong with it and what mending would change.

    Args:
        path: the mesh file; it is not changed.
        unit: "mm", "cm", "in" or "m"; None reads it from the file or its size.
        scale: the part is made this many times as large; None leaves it as it is.
        wall_mm: wall that an open surface would be given; None takes 3 mm.

    Raises:
        WorkshopError: the file cannot be read or holds no surface; see read_mesh. What
            mending refuses is part of the answer, not raised.
    """
    file = read_mesh(path)
    choice = choose_unit(file.mesh, asked=unit, declared=file.declared_unit)
    factor = 1.0 if scale is None else scale
    mesh = _scaled(file.mesh, choice.factor_to_mm * factor)
    findings = find_defects(mesh)
    mended, refusal = _tried(mesh, choice, 3.0 if wall_mm is None else wall_mm)
    inside = inside_width_warning(mended.mesh if mended else mesh)
    left = mended.findings_left if mended else ()
    blocks = [finding.sentence for finding in left if finding.blocks]
    return MeshCheck(
        name=Path(path).name,
        file=file,
        unit=choice,
        scale=factor,
        arrived=measure(mesh),
        findings=findings,
        mended=mended,
        refusal=refusal,
        after=measure(mended.mesh) if mended else None,
        warnings=(*choice.warnings, *([inside] if inside else [])),
        blocks=(*blocks, *([str(refusal)] if refusal else [])),
    )


def _scaled(mesh: Mesh, factor: float) -> Mesh:
    return mesh if factor == 1.0 else mesh.moved(np.diag([factor, factor, factor, 1.0]))


def _tried(
    mesh: Mesh, unit: UnitChoice, wall_mm: float
) -> tuple[Mended | None, WorkshopError | None]:
    """What a plan would make of it, or why it would refuse."""
    try:
        need_room(mesh, unit, JobSheet())
        return mend(mesh, wall_mm=wall_mm), None
    except WorkshopError as refusal:
        return None, refusal
