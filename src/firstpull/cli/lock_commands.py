"""The command that keeps choices: firstpull lock."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firstpull.cli.bar import progress_bar
from firstpull.cli.options import JsonOption
from firstpull.cli.outcome import print_json, told

CHOICES = ("up", "pieces", "walls", "pulls", "all")


def lock(
    plan: Annotated[Path, typer.Argument(metavar="PLAN_DIR", help="Folder of a finished plan.")],
    sheet: Annotated[
        Path,
        typer.Option("--sheet", metavar="JOB.yaml", help="Job sheet to write to; made if missing."),
    ],
    choices: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[up|pieces|walls|pulls|all]...",
            help="What to fix; left out, whatever the sheet does not fix already.",
        ),
    ] = None,
    onto: Annotated[
        Path | None,
        typer.Option(
            "--for",
            metavar="MESH",
            help="Carry all that is fixed to a new revision that lies elsewhere in its file.",
        ),
    ] = None,
    unlock: Annotated[
        bool, typer.Option("--unlock", help="Take them out of the sheet instead.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Keep what a plan chose, up, pieces, walls and pulls, by writing it into the job sheet."""
    wanted = _choices(choices or [])
    if unlock and onto is not None:
        raise typer.BadParameter("--for carries locks and --unlock takes them out; give one.")
    with told(as_json=as_json):
        from firstpull.services.lock_choices import lock_choices, unlock_choices

        if unlock:
            report = unlock_choices(sheet, choices=wanted)
        else:
            with progress_bar(wanted=not as_json) as progress:
                report = lock_choices(
                    plan, sheet_path=sheet, choices=wanted, onto=onto, progress=progress
                )
        if as_json:
            print_json(report.as_json())
        else:
            for sentence in report.sentences:
                print(sentence)


def _choices(asked: list[str]) -> tuple[str, ...]:
    """The choices by name, "all" spelt out; none stays none.

    >>> _choices(["all"]), _choices([])
    (('up', 'pieces', 'walls', 'pulls'), ())
    """
    for choice in asked:
        if choice not in CHOICES:
            raise typer.BadParameter(f'"{choice}" is none of {", ".join(CHOICES)}.')
    return CHOICES[:-1] if "all" in asked else tuple(asked)
