"""What there is to look at of a run: which meshes, in which axes, and which maps lie on them.

Everything lies in the run's folder, so that it stays as it was planned: ``view/look.json``, a
box for each mesh, ``view/maps`` for maps that were asked for, ``view/kept`` for what further
questions need. Nothing here loads a number, so a server may ask it freely.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.job.refusals import NoSuchThing
from firstpull.files.mesh_box import SUFFIX

LOOK_READY = "looking the mesh over"
"""Told as progress once a run's mesh can be looked at."""

PLAN_FOLDER, VIEW, LOOK, MAPS, KEPT = "plan", "view", "look.json", "maps", "kept"
SHEET = "sheet.yaml"
FILL_MAP = "fill_mm"
"""The one map that needs a direction."""

DIRECTION_DIGITS = 3


class NotYet(WorkshopError):
    """What is asked for is not worked out yet."""

    code = "not_yet"


@dataclass(frozen=True)
class MapKind:
    """A map that can be laid over a mesh.

    Args:
        mesh: role of the mesh that it lies on.
        title: for people.
        unit: of its values; "" for shares.
        sense: which end of the range wants to be looked at: "low", "high" or "none".
    """

    mesh: str
    title: str
    unit: str
    sense: str


MAP_KINDS = {
    "thickness": MapKind("master", "Wall thickness", "mm", "low"),
    "show": MapKind("master", "Copied by the mould", "", "none"),
    "visibility": MapKind("master", "Seen from above", "", "low"),
    "skin_mm": MapKind("skin", "Silicone under the surface", "mm", "high"),
    FILL_MAP: MapKind("skin", "Fill for this pull", "mm", "high"),
}


def look_of(run_dir: Path) -> dict[str, Any]:
    """What can be looked at so far.

    Raises:
        NotYet: the mesh is not read yet, or never was.
    """
    try:
        told = json.loads((run_dir / VIEW / LOOK).read_text("utf-8"))
        return {"is_checked": True, **told}  # earlier runs did not say so
    except (OSError, ValueError):
        raise NotYet(
            where="This run",
            found="has nothing to look at",
            limit="its mesh is shown once it is read",
            remedy="Wait for that; if the run has ended, read why.",
        ) from None


def box_path(run_dir: Path, name: str) -> Path:
    """Where the box of a mesh lies.

    Raises:
        NoSuchThing: the run has no mesh of that name.
    """
    _entry(run_dir, name)
    return run_dir / VIEW / (name + SUFFIX)


def map_path(
    run_dir: Path,
    mesh: str,
    name: str,
    *,
    direction: tuple[float, float, float] | None = None,
) -> Path:
    """Where a map lies, or will lie once it is worked out.

    Args:
        direction: for the fill map, mould axes, any length; others take none.

    Raises:
        NoSuchThing: no such mesh, or no such map lies on it.
        WorkshopError: the fill map was asked for without a direction.
    """
    maps = [entry["name"] for entry in _entry(run_dir, mesh)["maps"]]
    if name not in maps:
        raise NoSuchThing(
            where=f'A map "{name}" of the mesh "{mesh}"',
            found="is not there",
            limit=f"there are: {', '.join(maps)}" if maps else "it has no maps",
            remedy="Ask for one of these." if maps else "Ask for a map of the master or the skin.",
        )
    stem = f"{mesh}-{name}"
    if name == FILL_MAP:
        if direction is None:
            raise NoDirection(
                where="The fill map",
                found="was asked for without a direction",
                limit="fill depends on the pull",
                remedy="Give direction=x,y,z in mould axes.",
            )
        stem += "".join(f"{part:+.{DIRECTION_DIGITS}f}" for part in rounded(direction))
    return run_dir / VIEW / MAPS / (stem + SUFFIX)


class NoDirection(WorkshopError):
    """A map that needs a pull was asked for without one."""

    code = "no_direction"


def rounded(direction: tuple[float, float, float]) -> tuple[float, float, float]:
    """A direction as it names a map; its length does not matter.

    >>> rounded((0.0, -0.0, 2.0)), rounded((3.0, 0.0, 4.0))
    ((0.0, 0.0, 1.0), (0.6, 0.0, 0.8))
    """
    x, y, z = direction
    length = (x * x + y * y + z * z) ** 0.5 or 1.0
    a, b, c = (round(part / length, DIRECTION_DIGITS) + 0.0 for part in (x, y, z))
    return a, b, c


def maps_on(role: str) -> list[dict[str, str]]:
    """The maps of a mesh, as a look lists them."""
    return [
        {"name": name, "title": kind.title, "unit": kind.unit}
        for name, kind in MAP_KINDS.items()
        if kind.mesh == role
    ]


def _entry(run_dir: Path, name: str) -> dict[str, Any]:
    meshes = look_of(run_dir)["meshes"]
    for entry in meshes:
        if entry["name"] == name:
            return dict(entry)
    raise NoSuchThing(
        where=f'A mesh "{name}" of this run',
        found="is not there",
        limit=f"there are: {', '.join(entry['name'] for entry in meshes)}",
        remedy="Ask for one of these; more come once the plan is worked out.",
    )
