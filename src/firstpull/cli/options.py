"""Arguments and options that several commands share, and what their values may be."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal

import typer

Unit = Literal["mm", "cm", "in", "m"]
Paper = Literal["a4", "letter"]

MeshFile = Annotated[
    Path, typer.Argument(metavar="MESH", help="STL, OBJ, PLY, OFF, GLB or 3MF file.")
]
UnitOption = Annotated[
    Unit | None, typer.Option("--unit", help="Unit of the mesh file; guessed and said if left out.")
]
ScaleOption = Annotated[
    float | None, typer.Option("--scale", help="Make the part this many times as large.")
]
WallOption = Annotated[
    float | None, typer.Option("--wall", metavar="MM", help="Wall for an open surface, in mm.")
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="One JSON object on standard output, for machines.")
]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace results that exist already.")]
PictureOption = Annotated[
    Path | None, typer.Option("--picture", metavar="PNG", help="Also draw a picture to pin up.")
]
MapOption = Annotated[
    Path | None,
    typer.Option("--map", metavar="FILE", help="Also write the map as a coloured PLY or GLB."),
]
OutMesh = Annotated[
    Path,
    typer.Option("--out", metavar="FILE", help="Where to write: STL, OBJ, PLY, OFF, GLB or 3MF."),
]
PaperOption = Annotated[Paper | None, typer.Option("--paper", help="Paper of the packet.")]


def positive(option: str, value: float | None) -> float | None:
    """A number above 0, or none."""
    if value is not None and not (math.isfinite(value) and value > 0):
        raise typer.BadParameter(f"{option} is {value:g}; give a number above 0.")
    return value


def direction(option: str, text: str | None) -> tuple[float, float, float] | None:
    """Three numbers with commas between, not all zero.

    >>> direction("--up", "0,0,-1")
    (0.0, 0.0, -1.0)
    """
    if text is None:
        return None
    found = _three(text)
    if found is None or not any(found):
        raise typer.BadParameter(
            f'{option} is "{text}"; give three numbers with commas between, not all 0, such as'
            " 0,0,1."
        )
    return found


def point(option: str, text: str | None) -> tuple[float, float, float] | None:
    """Three numbers with commas between."""
    if text is None:
        return None
    found = _three(text)
    if found is None:
        raise typer.BadParameter(
            f'{option} is "{text}"; give three numbers with commas between, such as 0,12.5,40.'
        )
    return found


def _three(text: str) -> tuple[float, float, float] | None:
    try:
        x, y, z = (float(word) for word in text.split(","))
    except ValueError:
        return None
    return (x, y, z) if math.isfinite(x + y + z) else None


def numbers(option: str, text: str | None) -> tuple[int, ...]:
    """Whole numbers from 1 with commas between.

    >>> numbers("--keep", "1, 3")
    (1, 3)
    """
    if text is None:
        return ()
    words = [word.strip() for word in text.split(",")]
    if not all(word.isascii() and word.isdigit() and int(word) > 0 for word in words):
        raise typer.BadParameter(
            f'{option} is "{text}"; give numbers with commas between, such as 1,3.'
        )
    return tuple(int(word) for word in words)


def names(text: str | None) -> tuple[str, ...]:
    """Words with commas between.

    >>> names("merge, drop")
    ('merge', 'drop')
    """
    return tuple(word.strip() for word in text.split(",") if word.strip()) if text else ()
