"""The plan in a folder, for whoever asks why; nothing but its text is read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from firstpull.core.errors import WorkshopError

PLAN = "plan.json"


class NoPlanToAsk(WorkshopError):
    """The folder holds no plan that could be asked."""

    code = "no_plan_to_ask"


def plan_to_ask(folder: Path) -> dict[str, Any]:
    """The content of a folder's plan.json.

    Raises:
        NoPlanToAsk: there is none, or it is no plan.
    """
    try:
        plan = json.loads((folder / PLAN).read_text("utf-8"))
        if isinstance(plan, dict) and isinstance(plan.get("parts"), list):
            return plan
        found = f"holds a {PLAN} that is no plan of this program"
    except OSError as error:
        found = f"holds no {PLAN} that can be read ({(error.strerror or 'no reason').lower()})"
    except ValueError:
        found = f"holds a {PLAN} that is no plan of this program"
    raise NoPlanToAsk(
        where=str(folder),
        found=found,
        limit="numbers are asked of a finished plan",
        remedy="Name the folder that firstpull plan --out wrote.",
    )
