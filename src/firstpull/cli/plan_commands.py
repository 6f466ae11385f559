"""The commands that plan: firstpull plan and demo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from firstpull import wiring
from firstpull.cli.bar import progress_bar
from firstpull.cli.options import (
    ForceOption,
    JsonOption,
    MeshFile,
    PaperOption,
    ScaleOption,
    UnitOption,
    WallOption,
    direction,
    positive,
)
from firstpull.cli.outcome import REFUSED, print_json, told
from firstpull.core.material.own import OwnFigure
from firstpull.services.plan_types import DEMO_TRIANGLES, Overrides, PlanRequest


def plan(
    mesh: MeshFile,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder to write the plan to.")],
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="JOB.yaml", help="Job sheet.")
    ] = None,
    up: Annotated[
        str | None,
        typer.Option("--up", metavar="X,Y,Z", help="Away from the board, in the file's axes."),
    ] = None,
    wall: WallOption = None,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    shell_pieces: Annotated[
        int | None, typer.Option("--shell-pieces", min=1, help="Pieces of the rigid shell.")
    ] = None,
    paper: PaperOption = None,
    own: Annotated[
        Path | None,
        typer.Option(
            "--own", metavar="OWN.yaml", help="This shop's own figures of materials; they win."
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the whole line for a mesh: mould, casting, packet. Asks nothing."""
    overrides = Overrides(
        unit=unit,
        scale=positive("--scale", scale),
        up=direction("--up", up),
        wall_mm=wall,
        shell_pieces=shell_pieces,
        paper=paper,
    )
    with told(as_json=as_json):
        figures = _own_figures(own)
    request = PlanRequest(
        out_dir=out, mesh_path=mesh, sheet_path=sheet, overrides=overrides, figures=figures
    )
    _run(request, as_json=as_json)


def _own_figures(path: Path | None) -> tuple[OwnFigure, ...]:
    if path is None:
        return ()
    from firstpull.services.read_own_figures import read_own_figures

    return read_own_figures(path)


def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder to write the plan to.")
    ] = Path("heron-plan"),
    triangles: Annotated[
        int, typer.Option("--triangles", min=50_000, help="About how fine the demo's mesh is.")
    ] = DEMO_TRIANGLES,
    paper: PaperOption = None,
    broken: Annotated[
        Path | None,
        typer.Option(
            "--broken",
            metavar="FILE",
            help="Only write the mask with every common defect, to try check and mend on.",
        ),
    ] = None,
    helmet: Annotated[
        Path | None,
        typer.Option(
            "--helmet", metavar="FILE", help="Only write a full helmet, to try other shells on."
        ),
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Plan the demo: a heron half-mask for a river parade, six good castings."""
    from firstpull.services.write_demo import write_broken, write_helmet

    for path, write in ((broken, write_broken), (helmet, write_helmet)):
        if path is not None:
            _write_mesh(write, path, force=force, as_json=as_json)
    if broken is not None or helmet is not None:
        return
    request = PlanRequest(out_dir=out, demo_triangles=triangles, overrides=Overrides(paper=paper))
    _run(request, as_json=as_json)


def _write_mesh(write: Any, path: Path, *, force: bool, as_json: bool) -> None:
    with told(as_json=as_json):
        sentences = write(path, force=force)
        if as_json:
            print_json({"written": [str(path)], "notes": list(sentences)})
        else:
            for sentence in sentences:
                print(sentence)


def _run(request: PlanRequest, *, as_json: bool) -> None:
    with told(as_json=as_json):
        with progress_bar(wanted=not as_json) as progress:
            summary = wiring.run_plan(request, progress=progress)
        if as_json:
            print_json(summary)
        else:
            from firstpull.cli.pages import show_plan

            show_plan(summary, Console())
        if not all(part["removal_proved"] for part in summary["parts"]):
            raise typer.Exit(REFUSED)
