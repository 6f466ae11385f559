"""The commands about a mesh and its soundness: firstpull check, mend and compare."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.console import Console

from firstpull.cli.bar import progress_bar
from firstpull.cli.options import (
    ForceOption,
    JsonOption,
    MapOption,
    MeshFile,
    OutMesh,
    PictureOption,
    ScaleOption,
    UnitOption,
    WallOption,
    names,
    numbers,
    positive,
)
from firstpull.cli.outcome import REFUSED, print_json, told

Lids = Literal["smooth", "flat"]
STAGES = ("merge", "drop", "turn", "stitch", "close", "wall", "unite", "uncross", "rebuild")


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
    from firstpull.core.mesh.check.defects import LEAST_WALL_MM
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


def mend(
    mesh: MeshFile,
    out: OutMesh,
    wall: WallOption = None,
    close: Annotated[
        str | None,
        typer.Option(
            "--close", metavar="N,N|all", help="Openings to close as well, as check numbers them."
        ),
    ] = None,
    keep: Annotated[
        str | None,
        typer.Option("--keep", metavar="N,N", help="Small openings to leave open, by number."),
    ] = None,
    lids: Annotated[
        Lids, typer.Option("--lids", help="Lids that follow what is around them, or flat ones.")
    ] = "smooth",
    small_hole: Annotated[
        float | None,
        typer.Option("--small-hole", metavar="MM", help="Close without asking what is no longer."),
    ] = None,
    only: Annotated[
        str | None, typer.Option("--only", metavar="STAGE,..", help=f"Stages: {', '.join(STAGES)}.")
    ] = None,
    without: Annotated[
        str | None, typer.Option("--without", metavar="STAGE,..", help="Stages to leave out.")
    ] = None,
    rebuild_step: Annotated[
        float | None,
        typer.Option("--rebuild-step", metavar="MM", help="How fine to make a surface anew."),
    ] = None,
    map_file: MapOption = None,
    picture: PictureOption = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Make a mesh one sound solid, and say what was wrong and what was changed."""
    from firstpull.cli.mesh_pages import show_mended
    from firstpull.services.mend_mesh import MendResults, MendWishes, mend_mesh

    given = {
        "wall_mm": wall,
        "small_hole_mm": positive("--small-hole", small_hole),
        "rebuild_step_mm": positive("--rebuild-step", rebuild_step),
    }
    wishes = MendWishes(
        close="all" if close == "all" else numbers("--close", close),
        keep=numbers("--keep", keep),
        lids=lids,
        only=names(only) or None,
        without=names(without),
        **{name: value for name, value in given.items() if value is not None},
    )
    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = mend_mesh(
                mesh,
                results=MendResults(out, map_file, picture, force),
                wishes=wishes,
                unit=unit,
                scale=positive("--scale", scale),
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_mended(report.as_json(), Console(soft_wrap=True))
        if report.blocks:
            raise typer.Exit(REFUSED)


def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The earlier revision.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The later revision.")],
    same: Annotated[
        float | None, typer.Option("--same", metavar="MM", help="What counts as the same; 0.05 mm.")
    ] = None,
    align: Annotated[
        bool,
        typer.Option(
            "--align/--as-it-lies", help="Lay the new one onto the old, or take both as they lie."
        ),
    ] = True,
    map_file: MapOption = None,
    picture: PictureOption = None,
    unit: UnitOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Say where two revisions of a part differ, and by how much."""
    from firstpull.cli.mesh_pages import show_compared
    from firstpull.services.compare_meshes import compare_meshes
    from firstpull.services.results_out import MapAndPicture

    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = compare_meshes(
                old,
                new,
                results=MapAndPicture(map_file, picture, force),
                same_mm=positive("--same", same),
                align=align,
                unit=unit,
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_compared(report.as_json(), Console(soft_wrap=True))
