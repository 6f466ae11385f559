"""How much to mix at once: what one pair of hands lays before the cup sets, and the waste."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.material.cure import time_factor
from firstpull.core.material.mix import NOTHING, Amounts
from firstpull.core.material.row import MaterialRow

LARGE_BATCH_G = 300.0
"""Above this the smaller waste share holds."""

LEAST_WORK_MIN = 0.5
"""Less time than this between stirred and set is refused."""

_SLACK = 1e-9  # rounding slack: a coat that fills its last batch to the brim needs no other


class PotLifeTooShort(WorkshopError):
    """The mix would set in the cup before it could be laid."""

    code = "pot_life_too_short"


@dataclass(frozen=True)
class Batch:
    """One cup to mix, waste included.

    Args:
        amounts: what to weigh or measure into it.
        net_g: what of it ends in the work.
        area_cm2: what it covers, or None where it fills and has no area.
        pot_life_min: from the first stir, at the temperature of the room.
    """

    amounts: Amounts
    net_g: float
    area_cm2: float | None
    pot_life_min: float

    @property
    def waste_g(self) -> float:
        """What stays in cup and brush."""
        return self.amounts.mixed_g - self.net_g

    def as_json(self) -> dict[str, Any]:
        """The batch as plain data, grams and millilitres to a hundredth."""
        return {
            **self.amounts.as_json(),
            "mixed_g": round(self.amounts.mixed_g, 2),
            "area_cm2": None if self.area_cm2 is None else round(self.area_cm2, 1),
            "pot_life_min": round(self.pot_life_min, 1),
        }


def time_at(row: MaterialRow, figure: str, temperature_c: float) -> float:
    """A time of the row in minutes, moved from 23 C to the temperature of the room."""
    factor = time_factor(temperature_c, activation_kj_mol=row.typical("activation_energy"))
    return row.typical(figure) * factor


def working_time(row: MaterialRow, *, temperature_c: float, stir_min: float) -> float:
    """Minutes left to lay a batch after stirring.

    Raises:
        PotLifeTooShort: less than half a minute is left.
    """
    pot_min = time_at(row, "pot_life", temperature_c)
    if pot_min - stir_min < LEAST_WORK_MIN:
        raise PotLifeTooShort(
            where=f"The {row.name} at {temperature_c:g} °C",
            found=f"has a pot life of {pot_min:.1f} minutes, of which stirring takes {stir_min:g}",
            limit=f"at least {LEAST_WORK_MIN:g} minutes must be left to lay it",
            remedy="Choose a slower grade or a cooler room.",
        )
    return pot_min - stir_min


def plan_batches(
    row: MaterialRow,
    *,
    net_g: float,
    area_cm2: float | None,
    reach: float,
    extent: float,
    mix: Callable[[float], Amounts],
    temperature_c: float,
) -> tuple[Batch, ...]:
    """Equal batches for one coat, each within reach of one pot life.

    Args:
        row: what sets; its waste shares and pot life are used.
        net_g: grams that the coat itself needs; at 0 there are no batches.
        area_cm2: area of the coat, or None for a filling.
        reach: what one batch can lay, in the unit of ``extent`` (cm2 or cm3).
        extent: what there is to lay.
        mix: gives the amounts of a cup of so many grams.
        temperature_c: of the room.
    """
    if net_g <= 0:
        return ()
    count = max(1, math.ceil(extent / reach - _SLACK))
    each_g = net_g / count
    waste = "waste_large" if each_g > LARGE_BATCH_G else "waste_small"
    batch = Batch(
        amounts=mix(each_g * (1 + row.typical(waste) / 100)),
        net_g=each_g,
        area_cm2=None if area_cm2 is None else area_cm2 / count,
        pot_life_min=time_at(row, "pot_life", temperature_c),
    )
    return (batch,) * count


def sum_of(batches: tuple[Batch, ...]) -> Amounts:
    """Everything that goes into the cups."""
    result = NOTHING
    for batch in batches:
        result = result + batch.amounts
    return result
