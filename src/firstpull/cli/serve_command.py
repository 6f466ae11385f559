"""The command that serves the app: firstpull serve."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firstpull import wiring
from firstpull.cli.options import JsonOption
from firstpull.cli.outcome import told


def serve(
    workspace: Annotated[
        Path | None,
        typer.Option(
            "--workspace",
            metavar="DIR",
            help=f"Where jobs are kept; ${wiring.WORKSPACE} or ~/firstpull if left out.",
        ),
    ] = None,
    port: Annotated[
        int | None,
        typer.Option("--port", min=1, max=65535, help="Port; a free one is found if left out."),
    ] = None,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the browser.")] = False,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Let other machines in the house come in, with a key."),
    ] = False,
    demo: Annotated[
        bool, typer.Option("--demo", help="Put the demo job in the workspace, once.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Serve the app to this machine's browser, until Ctrl-C."""
    from firstpull.web.serve import serve as serve_app

    with told(as_json=as_json):
        serve_app(
            workspace if workspace is not None else wiring.workspace_here(),
            port=port,
            lan=lan,
            open_browser=not no_open,
            demo=demo,
            as_json=as_json,
        )
