"""The small picture of a plan that the list of jobs shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from firstpull.services.jobs.look import PLAN_FOLDER, VIEW

CARD = "card.webp"
SHOWN_PX, FINEST = (132, 99), 3
"""The size in the list, and how many dots the finest screens have for one of it."""

PICTURES = ("pictures/part-1-hero.png", "pictures/part-1-mould-1-exploded.png")
"""Of a plan's pictures, what a card shows: the first that there is."""


def picture_of(summary: Mapping[str, Any] | None) -> str | None:
    """Name of the plan's file that its card is made from; None where there is none.

    >>> picture_of({"files": ["packet.pdf", "pictures/part-1-hero.png"]})
    'pictures/part-1-hero.png'
    """
    return _first((summary or {}).get("files", ()))


def write_card(run_dir: Path, files: Iterable[str]) -> None:
    """Writes the card of a finished plan beside its views, a few kilobytes.

    Args:
        run_dir: the run's folder.
        files: of its plan.
    """
    from PIL import Image

    name = _first(files)
    if name is None:
        return
    with Image.open(run_dir / PLAN_FOLDER / name) as picture:
        small = picture.convert("RGB")
        small.thumbnail((SHOWN_PX[0] * FINEST, SHOWN_PX[1] * FINEST), Image.Resampling.LANCZOS)
        small.save(run_dir / VIEW / CARD, quality=82)


def _first(files: Iterable[str]) -> str | None:
    there = set(files)
    return next((name for name in PICTURES if name in there), None)
