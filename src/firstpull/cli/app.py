"""The command line: which commands there are, and how it ends."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable

import typer

from firstpull.cli import (
    change_commands,
    lock_commands,
    mesh_commands,
    plan_commands,
    serve_command,
    shape_commands,
    wall_commands,
    why_commands,
)

app = typer.Typer(
    help="From a mesh to numbered castings: mould, casting plan and packet.",
    epilog="Exit codes: 0 done; 1 refused, what mending cannot remove, or no proof; 2 wrong usage.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

COMMANDS: dict[str, tuple[Callable[..., None], ...]] = {
    "A mesh: sound or mended": (mesh_commands.check, mesh_commands.mend, mesh_commands.compare),
    "Its wall": (wall_commands.thickness, wall_commands.thicken, wall_commands.hollow),
    "Its shape": (
        shape_commands.section,
        shape_commands.outline,
        shape_commands.symmetry,
        change_commands.simplify,
        change_commands.refine,
        change_commands.convert,
    ),
    "The whole line": (
        plan_commands.plan,
        why_commands.why,
        lock_commands.lock,
        plan_commands.demo,
    ),
    "The app": (serve_command.serve,),
}

for panel, commands in COMMANDS.items():
    for command in commands:
        app.command(rich_help_panel=panel)(command)


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
