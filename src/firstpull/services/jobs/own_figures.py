"""This shop's own figures of materials: set after a look at the row, or given back."""

from __future__ import annotations

import datetime

from firstpull.core.job.kinds import OwnFigure
from firstpull.core.material import own
from firstpull.core.material.row import find_material
from firstpull.services.jobs.desk import Desk


def set_own_figure(
    desk: Desk,
    material: str,
    figure: str,
    *,
    low: float,
    typical: float,
    high: float,
    note: str,
    now: datetime.datetime,
) -> OwnFigure:
    """A figure as this shop knows it; plans made from now on take it.

    Args:
        desk: where it is kept.
        material, figure: which, such as "silicone-tin-30a" and "pot_life".
        low, typical, high: in the row's unit.
        note: when and how it was found.
        now: with a time zone.

    Raises:
        UnknownMaterial: no such row.
        BadOwnFigure: the row has no such figure, the three are not in order or far off it, or
            there is no note.
    """
    said = own.OwnFigure(material, figure, low, typical, high, note)
    own.own_figure(find_material(material), said)
    kept = OwnFigure(material, figure, low, typical, high, note.strip(), now)
    desk.save_own_figure(kept)
    return kept
