"""The commands that make a mesh sound: firstpull check."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from firstpull.cli.bar import progress_bar
from firstpull.cli.options import (
    ForceOption,
    JsonOption,
    MeshFile,
    ScaleOption,
    UnitOption,
    WallOption,
    positive,
)
from firstpull.cli.outcome import REFUSED, print_json, told

PictureOption = Annotated[
    Path | None, typer.Option("--picture", metavar="PNG", help="Also draw a picture to pin up.")
]


def check(
    mesh: MeshFile,
    picture: PictureOption = None,
    least_wall: Annotated[
        float | None,
        typer.Option("--least-wall", metavar="MM", help="Tell walls thinner than this; 1.2 mm."),
    ] = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    wall: WallOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Say what is wrong with a mesh, where, and what to do about each."""
    from firstpull.cli.mesh_pages import show_check
    from firstpull.core.mesh.defects import LEAST_WALL_MM
    from firstpull.services.check_mesh import check_mesh

    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = check_mesh(
                mesh,
                unit=unit,
                scale=positive("--scale", scale),
                wall_mm=wall,
                least_wall_mm=positive("--least-wall", least_wall) or LEAST_WALL_MM,
                picture=picture,
                force=force,
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_check(report.as_json(), Console(soft_wrap=True))
        if report.blocks:
            raise typer.Exit(REFUSED)
