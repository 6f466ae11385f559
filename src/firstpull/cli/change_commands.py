"""The commands that write a mesh anew: firstpull simplify and convert."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from firstpull.cli.bar import progress_bar
from firstpull.cli.options import (
    ForceOption,
    JsonOption,
    MeshFile,
    OutMesh,
    ScaleOption,
    Unit,
    UnitOption,
    positive,
)
from firstpull.cli.outcome import print_json, told


def simplify(
    mesh: MeshFile,
    out: OutMesh,
    within: Annotated[
        float, typer.Option("--within", metavar="MM", help="How far the surface may stray.")
    ] = 0.05,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Make do with fewer triangles; how far the surface strays is proved."""
    positive("--within", within)

    def work(job: Any) -> Any:
        from firstpull.services.change_mesh import simplify_mesh

        return simplify_mesh(job, within_mm=within)

    changed(work, mesh, out, unit, positive("--scale", scale), force, as_json)


def refine(
    mesh: MeshFile,
    out: OutMesh,
    edge: Annotated[float, typer.Option("--edge", metavar="MM", help="Longest edge to leave.")],
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Cut triangles finer, as for a brush or a viewer; the surface stays where it is."""
    positive("--edge", edge)

    def work(job: Any) -> Any:
        from firstpull.services.change_mesh import refine_mesh

        return refine_mesh(job, edge_mm=edge)

    changed(work, mesh, out, unit, positive("--scale", scale), force, as_json)


def convert(
    mesh: MeshFile,
    out: Annotated[
        Path, typer.Argument(metavar="OUT", help="STL, OBJ, PLY, OFF, GLB or 3MF file to write.")
    ],
    out_unit: Annotated[
        Unit, typer.Option("--out-unit", help="Unit of the file to write; GLB is always in m.")
    ] = "mm",
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write a mesh in another format, names and colours kept, nothing mended."""

    def work(job: Any) -> Any:
        from firstpull.services.change_mesh import convert_mesh

        return convert_mesh(job, out_unit=out_unit)

    changed(work, mesh, out, unit, positive("--scale", scale), force, as_json)


def changed(
    work: Callable[[Any], Any],
    mesh: Path,
    out: Path,
    unit: str | None,
    scale: float | None,
    force: bool,
    as_json: bool,
) -> None:
    """Runs what makes one mesh of another, and says what came of it.

    Args:
        work: takes the job, gives its report.
        mesh, out, unit, scale, force: of the job.
        as_json: print the report for machines.
    """
    from firstpull.cli.mesh_pages import show_changed
    from firstpull.services.change_mesh import Job

    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = work(Job(mesh, out, unit, scale, force, progress))
        if as_json:
            print_json(report.as_json())
        else:
            show_changed(report.as_json(), Console(soft_wrap=True))
