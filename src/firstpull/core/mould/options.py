"""How many shell pieces? Each count with the silicone it costs, and the one to take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mould.body import Body
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept

CHART_STEPS = 2  # of the skin's grid: the chart is drawn coarser than the mould is built
WORTH_A_PIECE = 0.15  # share of the silicone that a further piece must save; common practice
LEAST_SAVED_CM3 = 0.2  # fill that a coarse grid can tell apart
DEEPEST_FILL_MM = 25.0  # fill beyond this strips badly; common practice


@dataclass(frozen=True)
class Option:
    """A shell of so many pieces.

    Args:
        pieces: how many.
        fill_cm3: silicone that only closes what would lock the shell.
        skin_cm3: all silicone, fill included.
        shell_cm3: all pieces together.
        deepest_fill_mm: greatest depth of fill over the plain skin.
    """

    pieces: int
    fill_cm3: float
    skin_cm3: float
    shell_cm3: float
    deepest_fill_mm: float


def weigh_option(
    body: Body,
    shape: SkinShape,
    parting: Parting,
    *,
    thickness_mm: float,
    clearance_mm: float,
    draft_deg: float,
) -> Option:
    """What a parting costs, counted on a coarse grid.

    Args: as for building the shell.

    The shell is counted without its flanges along the parting plane.
    """
    n = CHART_STEPS
    phi = np.ascontiguousarray(shape.phi[::n, ::n, ::n])
    step = n * shape.grid.step_mm
    grid = Grid(shape.grid.low_mm, step, (phi.shape[0], phi.shape[1], phi.shape[2]))
    x, y, z = grid.axes()
    above = np.clip(z / step + 0.5, 0, 1)
    cell = step**3 / 1000
    fill = shell = deepest = 0.0
    for zone, pull in zip(parting.zones, parting.pulls, strict=True):
        s = swept(
            phi,
            grid,
            pull=pull,
            draft_deg=draft_deg,
            up_to_mm=clearance_mm + thickness_mm + 2 * step,
            zone=zone,
        )
        within = np.clip(zone.into(x, y, z) / step + 0.5, 0, 1) * above
        added = (_share(s, step) - _share(phi, step)) * within
        band = _share(s - clearance_mm - thickness_mm, step) - _share(s - clearance_mm, step)
        fill += float(added.sum()) * cell
        shell += float((band * within).sum()) * cell
        if (added > 0.5).any():
            deepest = max(deepest, float(phi[added > 0.5].max()))
    plain = float((_share(phi, step) * above).sum()) * cell - body.volume_cm3
    return Option(len(parting.zones), fill, plain + fill, shell, deepest)


def undominated(options: Sequence[Option]) -> list[Option]:
    """The options that need less fill than every one with fewer pieces.

    Args:
        options: by number of pieces, fewest first.

    >>> few, more = Option(1, 9.0, 500.0, 600.0, 14.0), Option(2, 9.0, 500.0, 640.0, 4.0)
    >>> undominated([few, more]) == [few]
    True
    """
    kept: list[Option] = []
    for option in options:
        if all(option.fill_cm3 < other.fill_cm3 - LEAST_SAVED_CM3 for other in kept):
            kept.append(option)
    return kept


def recommend(options: Sequence[Option]) -> tuple[Option, str]:
    """The option to take, and the reason in one sentence.

    Args:
        options: by number of pieces, fewest first.

    >>> few = Option(1, 46.0, 510.0, 600.0, 14.0)
    >>> more = Option(2, 3.0, 467.0, 640.0, 4.0)
    >>> recommend([few, more])[0].pieces
    1
    """
    chosen = options[0]
    why = "One piece needs no parting wall."
    weighed_against = chosen
    for option in options[1:]:
        saved = chosen.skin_cm3 - option.skin_cm3
        if chosen.deepest_fill_mm > DEEPEST_FILL_MM > option.deepest_fill_mm:
            why = (
                f"Fill {chosen.deepest_fill_mm:.0f} mm deep would strip badly; "
                f"{option.pieces} pieces keep it to {option.deepest_fill_mm:.0f} mm."
            )
        elif saved > WORTH_A_PIECE * chosen.skin_cm3:
            why = (
                f"{option.pieces} pieces save {saved:.0f} cm³ of silicone, "
                f"{100 * saved / chosen.skin_cm3:.0f} % of it."
            )
        else:
            if weighed_against is chosen:  # the next count is what a maker would ask about
                more = f"{option.pieces} pieces would save only {max(saved, 0.0):.0f} cm³ of"
                why = f"{more} silicone: not worth a parting wall and its bolts."
                weighed_against = option
            continue
        chosen = weighed_against = option
    return chosen, why


def _share(field: Field, step: float) -> Field:
    """How much of each cell lies where the field is negative."""
    return np.clip(0.5 - field / np.float32(step), 0, 1)
