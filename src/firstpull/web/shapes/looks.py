"""What the eyes get of a run: meshes, maps, findings, and a preview of walls being moved."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from firstpull.core.sheet import MOST_SHOW_DABS
from firstpull.web.shapes.base import Asked, Direction, Place, Shape, Vector

MeshRole = Literal["arrived", "master", "body", "skin", "shell", "loose"]
MapName = Literal["thickness", "show", "visibility", "skin_mm", "fill_mm"]


class MapTitle(Shape):
    """A figure at each vertex of a mesh that can be asked for."""

    name: str
    title: str
    unit: str


class LookMesh(Shape):
    """A mesh that can be shown."""

    name: str = Field(description="As in /api/runs/{run_id}/meshes/{name}.box.")
    role: MeshRole
    title: str
    triangles: int
    bytes: int
    pull: Vector | None = Field(description="Which way it leaves, in mould axes.")
    frame: Literal["file", "mould"]
    maps: list[MapTitle]


class Look(Shape):
    """What there is to see of a run; grows as the work goes on."""

    stage: Literal["read", "planned"]
    file_axes: bool = Field(description="Whether places are in the mesh file's axes.")
    to_mould: list[float] | None = Field(
        description="From the file's axes to the mould's: 4 x 4, by rows."
    )
    unit: str = Field(description="Of the mesh file, as it was taken.")
    unit_why: str
    notes: list[str] = Field(description="How the file was read.")
    size_mm: Vector
    triangles: int
    is_checked: bool = Field(description="Whether the mesh has been looked over yet.")
    findings: list[dict[str, Any]] = Field(description="What was found in the mesh, with places.")
    meshes: list[LookMesh]


class WallAsked(Asked):
    """A wall of the shell: a plane, bent or not, or a line drawn on the part."""

    through: Place | None = None
    facing: Direction | None = None
    bend: list[Any] | None = Field(default=None, max_length=2000)
    line: list[Place] | None = Field(default=None, max_length=2000)

    @model_validator(mode="after")
    def _a_plane_or_a_line(self) -> WallAsked:
        if self.line is None and (self.through is None or self.facing is None):
            raise ValueError("a wall is given by through and facing, or by line")
        return self


class PreviewAsked(Asked):
    """Walls to try, in mould axes; nothing is kept of them."""

    walls: list[WallAsked] = Field(max_length=8)
    pulls: list[Direction] | None = Field(default=None, max_length=8)


class Dab(Asked):
    """A round patch of paint on the surface."""

    at: Place
    radius_mm: float = Field(gt=0, le=1000)
    copied: bool = Field(description="Whether the mould copies what lies under it.")


class PaintAsked(Asked):
    """All paint to try, in mould axes, instead of what the plan has; nothing is kept of it."""

    dabs: list[Dab] = Field(max_length=MOST_SHOW_DABS)


class Border(Shape):
    """What the mould would copy with such paint."""

    border: list[list[Vector]] = Field(description="Closed lines around it, in mould axes.")
    show_area_cm2: float
    planned_area_cm2: float = Field(description="Of the plan, with the paint it has.")


class Lock(Shape):
    """Where a piece would be held, were it not for fill."""

    piece: int
    place_mm: Vector
    depth_mm: float
    volume_cm3: float
    sentence: str


class Stretch(Shape):
    """A part of a drawn line along which a piece would lock."""

    points_mm: list[Vector]
    piece: int
    pull: Vector
    lean_deg: float = Field(description="Of the pull to the wall there; less than the draft.")
    sentence: str


class Preview(Shape):
    """What such walls would make."""

    pieces: int
    fill_cm3: float = Field(description="Silicone that must fill.")
    pulls: list[Vector]
    in_order: bool = Field(description="Whether pieces must come off in this order.")
    locks: list[Lock] = Field(description="The largest first.")
    stretches: list[Stretch] = Field(description="Parts of a drawn line that lock.")
    walls: list[dict[str, Any]] = Field(description="As used, in mould axes.")
