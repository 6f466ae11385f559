"""The commands about walls: firstpull thickness, thicken and hollow."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from rich.console import Console

from firstpull.cli.bar import progress_bar
from firstpull.cli.change_commands import changed
from firstpull.cli.options import (
    ForceOption,
    JsonOption,
    MapOption,
    MeshFile,
    OutMesh,
    PictureOption,
    ScaleOption,
    UnitOption,
    direction,
    positive,
)
from firstpull.cli.outcome import print_json, told

LEAST_MM = 1.2


def thickness(
    mesh: MeshFile,
    least: Annotated[
        float, typer.Option("--least", metavar="MM", help="Thinner walls are listed.")
    ] = LEAST_MM,
    map_file: MapOption = None,
    picture: PictureOption = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Say how thick the wall is, and where it is too thin."""
    from firstpull.cli.mesh_pages import show_places
    from firstpull.services.measure_thickness import measure_thickness
    from firstpull.services.results_out import MapAndPicture

    positive("--least", least)
    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = measure_thickness(
                mesh,
                results=MapAndPicture(map_file, picture, force),
                least_mm=least,
                unit=unit,
                scale=positive("--scale", scale),
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_places(report.as_json(), "thin", Console(soft_wrap=True))


def thicken(
    mesh: MeshFile,
    out: OutMesh,
    least: Annotated[
        float, typer.Option("--least", metavar="MM", help="The least wall there should be.")
    ] = LEAST_MM,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Give thin places of a shell more wall from behind; the show side stays."""
    positive("--least", least)

    def work(job: Any) -> Any:
        from firstpull.services.change_mesh import thicken_mesh

        return thicken_mesh(job, least_mm=least)

    changed(work, mesh, out, unit, positive("--scale", scale), force, as_json)


def hollow(
    mesh: MeshFile,
    out: OutMesh,
    wall: Annotated[float, typer.Option("--wall", metavar="MM", help="The wall that is left.")],
    back: Annotated[
        str | None,
        typer.Option(
            "--back", metavar="X,Y,Z", help="Toward the back that is opened; a flat one is found."
        ),
    ] = None,
    cut: Annotated[
        float | None,
        typer.Option("--cut", metavar="MM", help="How deep to cut the back; none where flat."),
    ] = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Hollow a solid sculpt to a wall with an open back; its outside stays."""
    positive("--wall", wall)
    way = direction("--back", back)

    def work(job: Any) -> Any:
        from firstpull.services.change_mesh import hollow_mesh

        return hollow_mesh(job, wall_mm=wall, open_back=way, back_mm=positive("--cut", cut))

    changed(work, mesh, out, unit, positive("--scale", scale), force, as_json)
