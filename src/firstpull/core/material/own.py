"""A shop's own figures: what it measured itself wins over the row that comes along."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from firstpull.core.errors import WorkshopError
from firstpull.core.material.figure import Figure
from firstpull.core.material.row import MaterialRow

OWN = "own"
"""The mark of a figure that this shop set."""

FAR = 100.0
"""A figure this many times larger or smaller than the row's is in another unit."""

LONGEST_NOTE = 300

SHARES = ("rejects", "shrinkage", "glass_share")
"""Shares of a whole, in percent: all of it, or more, leaves nothing."""


class BadOwnFigure(WorkshopError):
    """An own figure does not fit the row that it replaces."""

    code = "bad_own_figure"


@dataclass(frozen=True)
class OwnFigure:
    """A figure of a material as this shop knows it.

    Args:
        material: id of the row, such as "silicone-tin-30a".
        figure: name of the row's figure, such as "pot_life".
        low, typical, high: in the row's own unit; 5th percentile, usual value, 95th.
        note: where it comes from, in the shop's words.

    >>> OwnFigure("silicone-tin-30a", "pot_life", 25, 30, 38, "twelve cups timed").name
    'silicone-tin-30a: pot_life'
    """

    material: str
    figure: str
    low: float
    typical: float
    high: float
    note: str

    @property
    def name(self) -> str:
        """As the row's own figure is called, see ``MaterialRow.row_id``."""
        return f"{self.material}: {self.figure}"


def own_figure(row: MaterialRow, own: OwnFigure, *, where: str = "") -> Figure:
    """The row's figure as this shop has it: marked "own", with the note as its source.

    Args:
        row: of that material.
        own: the figure.
        where: stands in refusals, such as 'Line 3 of "own.yaml"'; empty takes its name.

    Raises:
        BadOwnFigure: the row has no such figure, the three are not in order, not above 0
            where the row's are, a hundred times off, or the note is missing or too long.
    """
    refuse = _refusing(where or f"Own figure {own.name}")
    was = row.figures.get(own.figure)
    if was is None:
        raise refuse(
            f'sets "{own.figure}", which {row.name} does not have',
            "it has " + (", ".join(row.figures) or "no figures"),
            "Name one of these.",
        )
    _check_values(own, was, refuse)
    if not own.note.strip():
        raise refuse(
            f"sets {own.figure} without a note",
            "an own figure says where it comes from",
            "Write when and how it was measured.",
        )
    if len(own.note) > LONGEST_NOTE:
        raise refuse(
            f"has a note of {len(own.note)} characters",
            f"a page has room for {LONGEST_NOTE}",
            "Shorten it.",
        )
    return Figure(
        low=own.low,
        typical=own.typical,
        high=own.high,
        unit=was.unit,
        mark="own",
        source=own.note.strip(),
        note=f"in place of {was.low:g} to {was.high:g}, typically {was.typical:g} ({was.mark})",
    )


Refuse = Callable[[str, str, str], BadOwnFigure]


def _refusing(where: str) -> Refuse:
    def refuse(found: str, limit: str, remedy: str) -> BadOwnFigure:
        return BadOwnFigure(where=where, found=found, limit=limit, remedy=remedy)

    return refuse


def _check_values(own: OwnFigure, was: Figure, refuse: Refuse) -> None:
    said = f"sets {own.figure} to {own.low:g}, {own.typical:g}, {own.high:g} {was.unit}"
    if not all(math.isfinite(v) for v in (own.low, own.typical, own.high)):
        raise refuse(said, "plain numbers are needed", "Write them out in digits.")
    if not own.low <= own.typical <= own.high:
        raise refuse(
            said,
            "low may not be above typical, nor typical above high",
            "Put the three in order.",
        )
    if own.low < 0 <= was.low or (was.low > 0 and own.low == 0):
        least = "above 0" if was.low > 0 else "at least 0"
        raise refuse(said, f"it must be {least}, as the row's is", "Correct the low figure.")
    if own.figure in SHARES and own.high >= 100:
        raise refuse(said, "it must be below 100 %", "Correct the high figure.")
    if was.low > 0 and (own.low < was.low / FAR or own.high > was.high * FAR):
        raise refuse(
            said,
            f"the row has {was.low:g} to {was.high:g} {was.unit}, a hundred times off",
            f"Give it in {was.unit}.",
        )
