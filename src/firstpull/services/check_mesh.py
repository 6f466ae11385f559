"""Checks a mesh file: what it holds, what is wrong, what mending would do about it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.check.defects import LEAST_WALL_MM, find_defects
from firstpull.core.mesh.check.openings import OpeningGroup, grouped_openings
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.measure import Measures, inside_width_warning, measure
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import UnitChoice
from firstpull.core.progress import Progress, quiet
from firstpull.core.sheet import JobSheet
from firstpull.files.read_mesh import MeshFile
from firstpull.services.mending_told import MendingTold, mending_told
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.results_out import need_format, need_free, write_whole
from firstpull.services.size_limit import need_room

PICTURES = ("png",)


@dataclass(frozen=True)
class MeshCheck:
    """What a check found.

    Args:
        source: the mesh as it came in.
        arrived: its measures, in mm.
        findings: what is wrong before mending; they are numbered from 1 in this order.
        mended: what mending makes of it, or None where it refuses.
        refusal: why mending refuses, or None.
        after: measures after mending, or None.
        told: what mending does to the surface; None where it changes nothing or refuses.
        openings: the open borders that mending met, in groups, with their numbers.
        warnings: sentences about unit, size and inside.
        blocks: what stands in the way of print or mould and mending does not remove, one
            sentence each; empty where the plan can go on.
    """

    source: Arrived
    arrived: Measures
    findings: tuple[Finding, ...]
    mended: Mended | None
    refusal: WorkshopError | None
    after: Measures | None
    told: MendingTold | None
    openings: tuple[OpeningGroup, ...]
    warnings: tuple[str, ...]
    blocks: tuple[str, ...]

    @property
    def name(self) -> str:
        """The file's name."""
        return self.source.name

    @property
    def file(self) -> MeshFile:
        """What was read, in the file's unit."""
        return self.source.file

    @property
    def unit(self) -> UnitChoice:
        """The unit taken, and why."""
        return self.source.unit

    def as_json(self) -> dict[str, Any]:
        """The check as plain data."""
        return {
            **self.source.as_json(),
            "measures": self.arrived.as_json(),
            "findings": numbered(self.findings),
            "openings": openings_json(self.openings),
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
            "findings_left": numbered(self.mended.findings_left),
            "measures": self.after.as_json() if self.after else None,
            "surface": self.told.as_json() if self.told else None,
        }


def check_mesh(
    path: str | Path,
    *,
    unit: str | None = None,
    scale: float | None = None,
    wall_mm: float | None = None,
    least_wall_mm: float = LEAST_WALL_MM,
    picture: Path | None = None,
    force: bool = False,
    progress: Progress = quiet,
) -> MeshCheck:
    """Reads a mesh, says what is wrong with it and what mending would change.

    Args:
        path: the mesh file; it is not changed.
        unit: "mm", "cm", "in" or "m"; None reads it from the file or its size.
        scale: the part is made this many times as large; None leaves it as it is.
        wall_mm: wall that an open surface would be given; None takes 3 mm.
        least_wall_mm: walls of a sound solid thinner than this are told.
        picture: a PNG file to write the marked mesh to; None draws none.
        force: whether an older picture may be replaced.
        progress: told what is being done.

    Raises:
        WorkshopError: the file cannot be read or holds no surface; see read_mesh. What
            mending refuses is part of the answer, not raised.
    """
    need_format(picture, PICTURES)
    need_free([picture], inputs=[Path(path)], force=force)
    progress("reading the file", 0.0)
    source = arrive(path, unit=unit, scale=scale)
    progress("looking for defects", 0.15)
    findings = find_defects(source.mesh, least_wall_mm=least_wall_mm)
    progress("trying to mend it", 0.4)
    mended, refusal = _tried(source.mesh, source.unit, 3.0 if wall_mm is None else wall_mm)
    progress("measuring what mending changes", 0.7)
    told = mending_told(source.mesh, mended) if mended else None
    openings = grouped_openings(mended.openings) if mended else ()
    inside = inside_width_warning(mended.mesh if mended else source.mesh)
    left = mended.findings_left if mended else ()
    blocks = [finding.sentence for finding in left if finding.blocks]
    check = MeshCheck(
        source=source,
        arrived=measure(source.mesh),
        findings=findings,
        mended=mended,
        refusal=refusal,
        after=measure(mended.mesh) if mended else None,
        told=told,
        openings=openings,
        warnings=(*source.unit.warnings, *([inside] if inside else [])),
        blocks=(*blocks, *([str(refusal)] if refusal else [])),
    )
    if picture is not None:
        progress("drawing the picture", 0.8)
        _draw(check, picture)
    return check


def _draw(check: MeshCheck, picture: Path) -> None:
    from firstpull.services.mesh_sheets import findings_picture

    drawn = findings_picture(
        check.source, check.arrived, check.findings, check.mended, check.openings
    )
    write_whole(picture, drawn)


def _tried(
    mesh: Mesh, unit: UnitChoice, wall_mm: float
) -> tuple[Mended | None, WorkshopError | None]:
    """What a plan would make of it, or why it would refuse."""
    try:
        need_room(mesh, unit, JobSheet())
        return mend(mesh, wall_mm=wall_mm), None
    except WorkshopError as refusal:
        return None, refusal


def numbered(findings: tuple[Finding, ...]) -> list[dict[str, Any]]:
    """Findings as plain data, each with its number."""
    return [{"number": n, **found.as_json()} for n, found in enumerate(findings, start=1)]


def openings_json(
    groups: tuple[OpeningGroup, ...],
    *,
    closed: Collection[int] = (),
    kept: Collection[int] = (),
) -> list[dict[str, Any]]:
    """Groups of openings as plain data.

    Args:
        groups: as found.
        closed: numbers that a person had closed; they are asked about no more.
        kept: numbers that a person had left open.
    """
    return [
        {
            "numbers": list(group.numbers),
            "kind": group.kind,
            "asked": group.asked and not set(group.numbers) <= {*closed, *kept},
            "closed_as_asked": [n for n in group.numbers if n in closed],
            "kept_as_asked": [n for n in group.numbers if n in kept],
            "sentence": group.sentence,
        }
        for group in groups
    ]
