"""Mends a mesh file: writes the sound solid, and says what was wrong and what was done."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.check.loops import SMALL_HOLE_MM
from firstpull.core.mesh.check.openings import OpeningGroup, grouped_openings
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.measure import Measures, measure
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.mending.mend import STAGES, mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.progress import Progress, quiet
from firstpull.services.check_mesh import PICTURES, numbered, openings_json
from firstpull.services.mending_told import MendingTold, mending_told
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.mesh_out import MAPS, MESHES, dress_like, save_map, save_mesh
from firstpull.services.mesh_sheets import mended_paint, mended_picture
from firstpull.services.results_out import need_format, need_free, write_whole

WALL_MM = 3.0


@dataclass(frozen=True)
class MendWishes:
    """How a maker wants a mesh mended; each default is what mending does unasked.

    Args:
        wall_mm: wall that an open surface is given.
        close: numbers of openings to close besides, or "all" that are asked about.
        keep: numbers of openings to leave open although they are small.
        lids: "smooth" follows the curvature around, "flat" does not.
        only: stages to go through; None takes all.
        without: stages to leave out.
        rebuild_step_mm: resolution of a rebuilding; None takes what the walls need.
        small_hole_mm: length around a hole up to which it is closed without asking.
    """

    wall_mm: float = WALL_MM
    close: Collection[int] | Literal["all"] = ()
    keep: Collection[int] = ()
    lids: Literal["flat", "smooth"] = "smooth"
    only: Collection[str] | None = None
    without: Collection[str] = ()
    rebuild_step_mm: float | None = None
    small_hole_mm: float = SMALL_HOLE_MM

    @property
    def stages(self) -> list[str]:
        """The stages to go through."""
        known = [*STAGES, *(set(self.without) - set(STAGES))] if self.only is None else self.only
        unknown = [name for name in self.without if name not in STAGES]
        return unknown or [name for name in known if name not in self.without]


@dataclass(frozen=True)
class MendResults:
    """The files to write.

    Args:
        out: the mended mesh.
        map: its deviation in colour, or None.
        picture: a PNG of that, or None.
        force: whether older files may be replaced.
    """

    out: Path
    map: Path | None = None
    picture: Path | None = None
    force: bool = False

    @property
    def paths(self) -> list[Path | None]:
        """All of them."""
        return [self.out, self.map, self.picture]


@dataclass(frozen=True)
class MendReport:
    """What mending a file came to.

    Args:
        arrived: the mesh as it came in.
        before: its measures.
        findings: what was wrong with it.
        mended: the solid and what was changed.
        after: measures of the file that was written.
        told: what happened to the surface; None where nothing was changed.
        openings: the open borders, in groups.
        closed: numbers of openings that were closed because it was asked for.
        kept: numbers of openings that were left open because it was asked for.
        written: the files that were written.
        notes: sentences about writing.
    """

    arrived: Arrived
    before: Measures
    findings: tuple[Finding, ...]
    mended: Mended
    after: Measures
    told: MendingTold | None
    openings: tuple[OpeningGroup, ...]
    closed: tuple[int, ...]
    kept: tuple[int, ...]
    written: tuple[Path, ...]
    notes: tuple[str, ...]

    @property
    def blocks(self) -> tuple[str, ...]:
        """What still stands in the way of print or mould."""
        return tuple(found.sentence for found in self.mended.findings_left if found.blocks)

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            **self.arrived.as_json(),
            "measures": self.before.as_json(),
            "findings": numbered(self.findings),
            "openings": openings_json(self.openings, closed=self.closed, kept=self.kept),
            "changed": dict(self.mended.changed),
            "notes": [*self.mended.notes, *self.notes],
            "surface": self.told.as_json() if self.told else None,
            "measures_after": self.after.as_json(),
            "findings_left": numbered(self.mended.findings_left),
            "blocks": list(self.blocks),
            "written": [str(path) for path in self.written],
        }


def mend_mesh(
    path: str | Path,
    *,
    results: MendResults,
    wishes: MendWishes | None = None,
    unit: str | None = None,
    scale: float | None = None,
    progress: Progress = quiet,
) -> MendReport:
    """Mends a mesh file into a new one, in millimetres.

    Names and colours of the file are carried over: each face of the mended mesh takes after
    the face whose middle lies nearest, lids and inner walls too.

    Raises:
        WorkshopError: the file cannot be read or mended, or a result cannot be written.
    """
    wishes = wishes or MendWishes()
    need_format(results.out, MESHES)
    need_format(results.map, MAPS)
    need_format(results.picture, PICTURES)
    need_free(results.paths, inputs=[Path(path)], force=results.force)
    progress("reading the file", 0.0)
    arrived = arrive(path, unit=unit, scale=scale)
    progress("looking for defects", 0.1)
    findings = find_defects(arrived.mesh, small_hole_mm=wishes.small_hole_mm)
    progress("mending", 0.3)
    mended, closed = _mended(arrived.mesh, wishes)
    progress("measuring what changed", 0.6)
    told = mending_told(arrived.mesh, mended)
    drawn = None
    if results.picture is not None:
        progress("drawing the picture", 0.7)
        drawn = mended_picture(arrived, mended, told, measure(mended.mesh))
    # nothing is written before all is known
    progress("writing", 0.9)
    saved = save_mesh(results.out, mended.mesh, dress=dress_like(mended.mesh, arrived))
    if results.map is not None:
        save_map(results.map, mended.mesh, mended_paint(mended, told))
    if results.picture is not None and drawn is not None:
        write_whole(results.picture, drawn)
    return MendReport(
        arrived=arrived,
        before=measure(arrived.mesh),
        findings=findings,
        mended=mended,
        after=measure(saved.mesh),
        told=told,
        openings=grouped_openings(mended.openings),
        closed=closed,
        kept=tuple(wishes.keep),
        written=tuple(p for p in results.paths if p is not None),
        notes=saved.left_out,
    )


def _mended(mesh: Mesh, wishes: MendWishes) -> tuple[Mended, tuple[int, ...]]:
    """The mended mesh, and the numbers of openings that were closed because asked for."""
    if wishes.close != "all":
        return _with(mesh, wishes, wishes.close), tuple(int(n) for n in wishes.close)
    # which openings there are is only known once the rest is mended
    first = _with(mesh, wishes, ())
    numbers = tuple(opening.number for opening in first.openings if opening.asked)
    return (_with(mesh, wishes, numbers), numbers) if numbers else (first, ())


def _with(mesh: Mesh, wishes: MendWishes, close: Collection[int]) -> Mended:
    return mend(
        mesh,
        wall_mm=wishes.wall_mm,
        small_hole_mm=wishes.small_hole_mm,
        stages=wishes.stages,
        close=close,
        keep=wishes.keep,
        lids=wishes.lids,
        rebuild_step_mm=wishes.rebuild_step_mm,
    )
