"""The commands: firstpull check, plan and demo."""

from __future__ import annotations

import contextlib
import math
import signal
from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.console import Console

from firstpull import wiring
from firstpull.cli.bar import progress_bar
from firstpull.cli.outcome import REFUSED, print_json, told
from firstpull.services.plan_types import DEMO_TRIANGLES, Overrides, PlanRequest

Unit = Literal["mm", "cm", "in", "m"]
Paper = Literal["a4", "letter"]

MeshFile = Annotated[
    Path, typer.Argument(metavar="MESH", help="STL, OBJ, PLY, OFF, GLB or 3MF file.")
]
UnitOption = Annotated[
    Unit | None, typer.Option("--unit", help="Unit of the mesh file; guessed and said if left out.")
]
ScaleOption = Annotated[
    float | None, typer.Option("--scale", help="Print the part this many times as large.")
]
WallOption = Annotated[
    float | None, typer.Option("--wall", metavar="MM", help="Wall for an open surface, in mm.")
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="One JSON object on standard output, for machines.")
]
PaperOption = Annotated[Paper | None, typer.Option("--paper", help="Paper of the packet.")]

app = typer.Typer(
    help="From a mesh to numbered castings: mould, casting plan and packet.",
    epilog="Exit codes: 0 done; 1 refused, what mending cannot remove, or no proof; 2 wrong usage.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


@app.command()
def check(
    mesh: MeshFile,
    unit: UnitOption = None,
    scale: ScaleOption = None,
    wall: WallOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what is wrong with a mesh, where, and what to do about each."""
    with told(as_json=as_json):
        from firstpull.services.check_mesh import check_mesh

        report = check_mesh(mesh, unit=unit, scale=_positive("--scale", scale), wall_mm=wall)
        if as_json:
            print_json(report.as_json())
        else:
            from firstpull.cli.pages import show_check

            show_check(report.as_json(), Console(soft_wrap=True))
        if report.blocks:
            raise typer.Exit(REFUSED)


@app.command()
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
    as_json: JsonOption = False,
) -> None:
    """Plan the whole line for a mesh: mould, casting, packet. Asks nothing."""
    overrides = Overrides(
        unit=unit,
        scale=_positive("--scale", scale),
        up=_direction(up),
        wall_mm=wall,
        shell_pieces=shell_pieces,
        paper=paper,
    )
    request = PlanRequest(out_dir=out, mesh_path=mesh, sheet_path=sheet, overrides=overrides)
    _run(request, as_json=as_json)


@app.command()
def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder to write the plan to.")
    ] = Path("heron-plan"),
    triangles: Annotated[
        int, typer.Option("--triangles", min=50_000, help="About how fine the demo's mesh is.")
    ] = DEMO_TRIANGLES,
    paper: PaperOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the demo: a heron half-mask for a river parade, six good castings."""
    request = PlanRequest(out_dir=out, demo_triangles=triangles, overrides=Overrides(paper=paper))
    _run(request, as_json=as_json)


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


def _positive(option: str, value: float | None) -> float | None:
    if value is not None and not (math.isfinite(value) and value > 0):
        raise typer.BadParameter(f"{option} is {value:g}; give a number above 0.")
    return value


def _direction(text: str | None) -> tuple[float, float, float] | None:
    """Three numbers with commas between, not all zero.

    >>> _direction("0,0,-1")
    (0.0, 0.0, -1.0)
    """
    if text is None:
        return None
    try:
        x, y, z = (float(word) for word in text.split(","))
    except ValueError:
        x = y = z = 0.0
    if not (math.isfinite(x + y + z) and (x or y or z)):
        raise typer.BadParameter(
            f'--up is "{text}"; give three numbers with commas between, not all 0, such as 0,0,1.'
        )
    return x, y, z


def main() -> None:
    """Runs the command that was asked for."""
    with contextlib.suppress(ValueError):  # not in the main thread
        signal.signal(signal.SIGTERM, _terminated)
    app()


def _terminated(number: int, frame: object) -> None:
    """Asked to end: leave through the same door as Ctrl-C, so that nothing stays behind."""
    raise SystemExit(128 + number)


if __name__ == "__main__":
    main()
