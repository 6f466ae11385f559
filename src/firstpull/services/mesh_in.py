"""How is a mesh file taken: in which unit, how large, under what name?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import UnitChoice, choose_unit
from firstpull.files.read_mesh import MeshFile, read_mesh


@dataclass(frozen=True)
class Arrived:
    """A mesh as it came in.

    Args:
        path: its file, which is only read.
        file: what was read, in the file's unit.
        unit: the unit taken, and why.
        scale: the factor asked for on top of the unit.
        mesh: in millimetres, scaled.
    """

    path: Path
    file: MeshFile
    unit: UnitChoice
    scale: float
    mesh: Mesh

    @property
    def name(self) -> str:
        """The file's name, without its folder."""
        return self.path.name

    def as_json(self) -> dict[str, Any]:
        """What was read and how it was taken, as plain data."""
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
        }


def arrive(path: str | Path, *, unit: str | None = None, scale: float | None = None) -> Arrived:
    """Reads a mesh file and takes it to millimetres.

    Args:
        path: the mesh file; it is not changed.
        unit: "mm", "cm", "in" or "m"; None reads it from the file or its size.
        scale: the part is made this many times as large; None leaves it as it is.

    Raises:
        WorkshopError: the file cannot be read or holds no surface; see read_mesh.
    """
    file = read_mesh(path)
    choice = choose_unit(file.mesh, asked=unit, declared=file.declared_unit)
    factor = 1.0 if scale is None else scale
    return Arrived(Path(path), file, choice, factor, _scaled(file.mesh, choice, factor))


def _scaled(mesh: Mesh, unit: UnitChoice, scale: float) -> Mesh:
    factor = unit.factor_to_mm * scale
    return mesh if factor == 1.0 else mesh.moved(np.diag([factor, factor, factor, 1.0]))
