"""What a plan is asked for and what it hands back: the words between a face and the planner."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firstpull.core.material.own import OwnFigure
from firstpull.core.mesh.mesh import Mesh

DEMO_TRIANGLES = 400_000
"""How fine the demo's mesh is built when nobody says otherwise."""


@dataclass(frozen=True)
class Overrides:
    """Answers given beside the job sheet; they win over it. ``None`` means not said.

    Args:
        unit: the mesh file's unit, one of "mm", "cm", "in", "m".
        scale: the factor between the mesh as read and the part as printed.
        up: direction away from the board, in the mesh file's axes; any length but zero.
        wall_mm: wall that an open surface is thickened to, inward.
        shell_pieces: how many rigid pieces the shell has.
        paper: "a4" or "letter".
    """

    unit: str | None = None
    scale: float | None = None
    up: tuple[float, float, float] | None = None
    wall_mm: float | None = None
    shell_pieces: int | None = None
    paper: str | None = None


@dataclass(frozen=True)
class PlanRequest:
    """One job to plan, and where the plan goes.

    Args:
        out_dir: folder that the plan is written to.
        mesh_path: the maker's mesh; ``None`` for the demo job.
        sheet_path: the job sheet (YAML); ``None`` takes every default.
        demo_triangles: about how many triangles the demo's mesh has.
        overrides: answers that win over the sheet.
        figures: this shop's own, which win over the material rows.
        mesh_name: what its maker calls that file; ``None`` where it lies under its own name.
    """

    out_dir: Path
    mesh_path: Path | None = None
    sheet_path: Path | None = None
    demo_triangles: int = DEMO_TRIANGLES
    overrides: Overrides = field(default_factory=Overrides)
    figures: tuple[OwnFigure, ...] = ()
    mesh_name: str | None = None

    @property
    def is_demo(self) -> bool:
        """True where no mesh is given and the demo job is planned instead."""
        return self.mesh_path is None


@dataclass(frozen=True)
class PlanResult:
    """A finished plan, not yet on disc.

    Args:
        plan: the content of plan.json, plain data.
        meshes: relative path (with "/") to the mesh written there as binary STL.
        pictures: relative path to the bytes of a PNG.
        packet_pdf: the bytes of packet.pdf; empty where none was made.
        drawings: relative path to the bytes of an SVG or DXF.
    """

    plan: dict[str, Any]
    meshes: Mapping[str, Mesh] = field(default_factory=dict)
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    packet_pdf: bytes = b""
    drawings: Mapping[str, bytes] = field(default_factory=dict)
