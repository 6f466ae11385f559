"""The commands that look at a shape: firstpull section, outline and symmetry."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.console import Console

from firstpull.cli.bar import progress_bar
from firstpull.cli.options import (
    ForceOption,
    JsonOption,
    MeshFile,
    PictureOption,
    ScaleOption,
    UnitOption,
    direction,
    point,
    positive,
)
from firstpull.cli.outcome import print_json, told

Axis = Literal["x", "y", "z"]

OutDrawing = Annotated[
    Path, typer.Option("--out", metavar="FILE", help="Where to draw to: SVG or DXF, full size.")
]
VIEWS = {
    "x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0),
    "-x": (-1.0, 0.0, 0.0), "-y": (0.0, -1.0, 0.0), "-z": (0.0, 0.0, -1.0),
}  # fmt: skip


def section(
    mesh: MeshFile,
    out: OutDrawing,
    plane: Annotated[
        list[str] | None,
        typer.Option("--plane", metavar="x=12", help="Cut across an axis; may be said again."),
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="X,Y,Z", help="A place in the plane.")
    ] = None,
    normal: Annotated[
        str | None,
        typer.Option("--normal", metavar="X,Y,Z", help="Square to the plane; with --at."),
    ] = None,
    every: Annotated[
        float | None, typer.Option("--every", metavar="MM", help="Many cuts; with --along.")
    ] = None,
    along: Annotated[Axis | None, typer.Option("--along", help="Axis for --every.")] = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Draw where planes cut a mesh, at full size."""
    from firstpull.cli.mesh_pages import show_lines
    from firstpull.core.mesh.lines.figure import Plane
    from firstpull.services.draw_lines import draw_sections

    planes = [Plane.across(*_across(text)) for text in plane or ()]
    if (at is None) != (normal is None):
        raise typer.BadParameter("--at and --normal belong together; give both.")
    if at is not None and normal is not None:
        planes.append(Plane(point("--at", at), direction("--normal", normal)))
    if (every is None) != (along is None):
        raise typer.BadParameter("--every and --along belong together; give both.")
    if not planes and every is None:
        raise typer.BadParameter(
            "Say where to cut: --plane x=12, or --at and --normal, or --every and --along."
        )
    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = draw_sections(
                mesh,
                out=out,
                planes=planes,
                along=along,
                every_mm=positive("--every", every),
                unit=unit,
                scale=positive("--scale", scale),
                force=force,
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_lines(report.as_json(), Console(soft_wrap=True))


def outline(
    mesh: MeshFile,
    out: OutDrawing,
    along: Annotated[
        str,
        typer.Option("--along", metavar="z|-x|X,Y,Z", help="From the part to the eye."),
    ] = "z",
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Draw the outline of a mesh as seen from a side, at full size."""
    from firstpull.cli.mesh_pages import show_lines
    from firstpull.services.draw_lines import draw_outline

    way = VIEWS.get(along) or direction("--along", along)
    assert way is not None
    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = draw_outline(
                mesh,
                out=out,
                towards_viewer=way,
                unit=unit,
                scale=positive("--scale", scale),
                force=force,
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_lines(report.as_json(), Console(soft_wrap=True))


def symmetry(
    mesh: MeshFile,
    picture: PictureOption = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Say whether a part is symmetric, about which plane, and where it is off."""
    from firstpull.cli.mesh_pages import show_places
    from firstpull.services.find_symmetry import find_symmetry

    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            report = find_symmetry(
                mesh,
                picture=picture,
                unit=unit,
                scale=positive("--scale", scale),
                force=force,
                progress=progress,
            )
        if as_json:
            print_json(report.as_json())
        else:
            show_places(report.as_json(), "spots", Console(soft_wrap=True))


def _across(text: str) -> tuple[Axis, float]:
    """An axis and where on it.

    >>> _across("x=12.5")
    ('x', 12.5)
    """
    name, _, where = text.partition("=")
    axes: dict[str, Axis] = {"x": "x", "y": "y", "z": "z"}
    axis = axes.get(name.strip().lower())
    try:
        at_mm = float(where)
    except ValueError:
        at_mm = math.nan
    if axis is None or not math.isfinite(at_mm):
        raise typer.BadParameter(f'--plane is "{text}"; give an axis and a place, such as x=12.')
    return axis, at_mm
