"""Changes a mesh file into another: thicker, hollow, simpler, or only in another format."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from firstpull.core.figures import told_number
from firstpull.core.mesh.measure import Measures, measure
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.deviation import deviation
from firstpull.core.mesh.revision.simplify import simplified, with_edges_up_to
from firstpull.core.mesh.revision.within import within
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.wall.fatten import fattened
from firstpull.core.mesh.wall.hollow import hollowed
from firstpull.core.progress import Progress, quiet
from firstpull.files.write_mesh import UNITS_MM
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.mesh_out import MESHES, dress_like, save_mesh
from firstpull.services.results_out import need_format, need_free
from firstpull.services.sound_mesh import sound

ON_MM = 1e-4  # what the new corners of a finer surface may lie off, tried first

Change = Callable[[Mesh], tuple[Mesh, tuple[str, ...], dict[str, Any]]]

MOSTLY = 0.5  # of the volume: more than that left solid is no hollowing


@dataclass(frozen=True)
class ChangeReport:
    """What a change came to.

    Args:
        arrived: the mesh as it came in.
        before: its measures.
        after: measures of the file that was written.
        notes: what was done, in sentences.
        figures: the same for machines.
        written: the file.
    """

    arrived: Arrived
    before: Measures
    after: Measures
    notes: tuple[str, ...]
    figures: dict[str, Any]
    written: Path

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            **self.arrived.as_json(),
            "measures": self.before.as_json(),
            "measures_after": self.after.as_json(),
            "notes": list(self.notes),
            "figures": self.figures,
            "written": [str(self.written)],
        }


@dataclass(frozen=True)
class Job:
    """Which file is changed, and where the result goes.

    Args:
        path: the mesh file; it is not changed.
        out: the file to write; its suffix names the format.
        unit: unit of the file; None reads it from the file or its size.
        scale: the part is made this many times as large; None leaves it as it is.
        force: whether an older result may be replaced.
        progress: told what is being done.
    """

    path: Path
    out: Path
    unit: str | None = None
    scale: float | None = None
    force: bool = False
    progress: Progress = quiet


def thicken_mesh(job: Job, *, least_mm: float) -> ChangeReport:
    """Gives thin places of a shell a least wall from behind; the show side does not move.

    Raises:
        WorkshopError: the file is no sound shell, or there is no room.
    """

    def change(mesh: Mesh) -> tuple[Mesh, tuple[str, ...], dict[str, Any]]:
        made = fattened(mesh, least_mm=least_mm)
        figures = {
            "least_mm": least_mm,
            "thinnest_mm": round(made.least_mm, 4),
            "added_cm3": round(made.added_mm3 / 1000.0, 4),
            "thin_before_cm2": round(made.thin_mm2 / 100.0, 4),
            "thin_left_cm2": round(made.left_mm2 / 100.0, 4),
        }
        return made.mesh, made.notes, figures

    return _changed(job, change, what="thickening from behind")


def hollow_mesh(
    job: Job,
    *,
    wall_mm: float,
    open_back: Sequence[float] | None = None,
    back_mm: float | None = None,
) -> ChangeReport:
    """Hollows a solid sculpt to a wall with an open back; its outside does not move.

    Raises:
        WorkshopError: the file is no sound solid, leaves no room, or has no flat back.
    """

    def change(mesh: Mesh) -> tuple[Mesh, tuple[str, ...], dict[str, Any]]:
        made = hollowed(mesh, wall_mm=wall_mm, open_back=open_back, back_mm=back_mm)
        figures = {
            "wall_mm": wall_mm,
            "thinnest_mm": round(made.least_wall_mm, 4) if isfinite(made.least_wall_mm) else None,
            "removed_cm3": round(made.removed_mm3 / 1000.0, 4),
            "left_solid_cm3": round(made.solid_mm3 / 1000.0, 4),
            "cut_at_the_back_mm": round(made.cut_mm, 4),
            "grid_step_mm": round(made.step_mm, 4),
        }
        least: tuple[str, ...] = ()
        if isfinite(made.least_wall_mm):
            least = (f"The thinnest wall found is {told_number(made.least_wall_mm, 2)} mm.",)
        if made.solid_mm3 > MOSTLY * mesh.volume_mm3:
            least += (
                "Most of it stayed solid, as the hollow reaches no way out: cut deeper at the back"
                " with --cut, or give a thinner --wall.",
            )
        return made.mesh, (*made.notes, *least), figures

    return _changed(job, change, what="hollowing")


def simplify_mesh(job: Job, *, within_mm: float) -> ChangeReport:
    """Takes as many triangles away as a tolerance allows.

    Raises:
        WorkshopError: the tolerance is not above 0, or faces disagree on their outside.
    """

    def change(mesh: Mesh) -> tuple[Mesh, tuple[str, ...], dict[str, Any]]:
        made = simplified(mesh, tol_mm=within_mm)
        figures = {"within_mm": within_mm, "off_mm": round(made.deviation_mm, 6)}
        if made.mesh is mesh:
            note = f"No triangle could be spared within {within_mm:g} mm; it is written as it came."
            return mesh, (note,), figures
        share = 100.0 * (1.0 - len(made.mesh.faces) / len(mesh.faces))
        note = (
            f"{len(mesh.faces):,} triangles became {len(made.mesh.faces):,}, {share:.0f} % fewer;"
            f" no point of either surface lies farther than {told_number(made.deviation_mm, 2)}"
            " mm from the"
            " other (proved)."
        )
        return made.mesh, (note,), figures

    return _changed(job, change, what="simplifying", needs_sound=False)


def refine_mesh(job: Job, *, edge_mm: float) -> ChangeReport:
    """Cuts triangles finer until no edge is longer than asked; the surface stays where it is.

    Raises:
        WorkshopError: the length is not above 0, or would take over 5 million triangles.
    """

    def change(mesh: Mesh) -> tuple[Mesh, tuple[str, ...], dict[str, Any]]:
        made = with_edges_up_to(mesh, edge_mm=edge_mm)
        off = max(_off(made, mesh), _off(mesh, made))
        figures = {"edge_mm": edge_mm, "off_mm": round(off, 9)}
        note = (
            f"{len(mesh.faces):,} triangles became {len(made.faces):,}, with no edge over"
            f" {edge_mm:g} mm; no point of either surface lies farther than"
            f" {told_number(off, 2)} mm from the"
            " other (proved)."
        )
        return made, (note,), figures

    return _changed(job, change, what="refining", needs_sound=False)


def _off(mesh: Mesh, other: Mesh) -> float:
    """No point of a mesh lies farther from another than this."""
    tree = Tree.of(other)
    close = within(mesh, tree, limit_mm=ON_MM)
    return close.most_mm if close else deviation(mesh, tree).most_mm


def convert_mesh(job: Job, *, out_unit: str = "mm") -> ChangeReport:
    """Writes a mesh in another format, nothing mended or changed."""
    return _changed(job, lambda mesh: (mesh, (), {}), what="converting", needs_sound=False,
                    out_unit=out_unit)  # fmt: skip


def _changed(
    job: Job, change: Change, *, what: str, needs_sound: bool = True, out_unit: str = "mm"
) -> ChangeReport:
    need_format(job.out, MESHES)
    need_free([job.out], inputs=[job.path], force=job.force)
    assert out_unit in UNITS_MM
    job.progress("reading the file", 0.0)
    arrived = arrive(job.path, unit=job.unit, scale=job.scale)
    mesh, notes = arrived.mesh, tuple[str, ...]()
    if needs_sound:
        job.progress("looking whether it is sound", 0.15)
        mesh, notes = sound(arrived)
    job.progress(what, 0.35)
    made, told, figures = change(mesh)
    job.progress("writing", 0.9)
    dress = dress_like(made, arrived)
    saved = save_mesh(job.out, made, dress=dress, unit=out_unit)
    return ChangeReport(
        arrived=arrived,
        before=measure(arrived.mesh),
        after=measure(saved.mesh),
        notes=(*notes, *told, *saved.left_out),
        figures=figures,
        written=job.out,
    )
