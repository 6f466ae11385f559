"""What did a plan choose by itself, said as a job sheet says it?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mould.in_file import directions_for_sheet, wall_in_file
from firstpull.files.plan_folder import PLAN

CHOICES = {
    "up": "master.up",
    "pieces": "shell.pieces",
    "walls": "shell.walls",
    "pulls": "shell.pulls",
}
"""What can be locked, and the field that holds it."""


class NoPlan(WorkshopError):
    """There is no finished plan, or it does not say what is to be locked."""

    code = "no_plan"


def value_of(plan: dict[str, Any], choice: str, to_mould: Floats) -> Any:
    """What the plan chose, in the file's coordinates; None where there is nothing to lock.

    Args:
        plan: as ``plan_in`` reads it.
        choice: of ``CHOICES``.
        to_mould: (4, 4) from the mesh file's coordinates to the mould frame.

    Raises:
        NoPlan: an old plan that does not tell its walls.
    """
    shell = plan["parts"][0]["moulds"][0]["shell"]
    if choice == "up":
        return directions_for_sheet([[0.0, 0.0, 1.0]], to_mould)[0]
    if choice == "pieces":
        return len(shell["pieces"])
    if choice == "pulls":
        return directions_for_sheet([piece["pull"] for piece in shell["pieces"]], to_mould)
    if "walls" not in shell and len(shell["pieces"]) > 1:
        raise NoPlan(
            where="The plan",
            found="does not say where its parting walls stand",
            limit="it was made by an earlier version",
            remedy="Plan the job again.",
        )
    return [wall_in_file(entry, to_mould) for entry in shell.get("walls", [])] or None


def plan_in(folder: Path) -> dict[str, Any]:
    """The plan in a folder.

    Raises:
        NoPlan: there is none, or none with a mould.
    """
    path = folder / PLAN
    try:
        plan = json.loads(path.read_text("utf-8"))
        mould = plan["parts"][0]["moulds"][0]
        if len(mould["frame"]["to_mould"]) == 16 and mould["shell"]["pieces"]:
            return dict(plan)
        found = "is no plan with a mould"
    except OSError as error:
        found = f"holds no {PLAN} that can be read ({(error.strerror or 'no reason').lower()})"
    except (ValueError, KeyError, IndexError, TypeError):
        found = f"holds a {PLAN} that is no plan of this program"
    raise NoPlan(
        where=str(folder),
        found=found,
        limit="choices are locked from a finished plan",
        remedy="Name the folder that firstpull plan --out wrote.",
    )


def to_mould_of(plan: dict[str, Any]) -> Floats:
    """(4, 4) from the mesh file's coordinates to the mould frame."""
    flat = plan["parts"][0]["moulds"][0]["frame"]["to_mould"]
    return np.array(flat, dtype=np.float64).reshape(4, 4)
