"""How long it all takes: the mould, one casting, and the edition at a working day's pace."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from firstpull.core.schedule.step import Step

WORKDAY_MIN = 8 * 60.0
"""A working day at the bench."""


@dataclass(frozen=True)
class Schedule:
    """Waits added up; work of the hands that no wait covers comes on top.

    Args:
        mould_min: least and most minutes from the test patch to the mould ready for resin.
        casting_min: least and most minutes of one casting, mould closed to mould opened.
        castings: to make from this mould, one after the other.
    """

    mould_min: tuple[float, float]
    casting_min: tuple[float, float]
    castings: int

    @property
    def castings_a_day(self) -> int:
        """How many fit into a working day even where each takes its longest; at least 1.

        >>> Schedule((0.0, 0.0), (120.0, 200.0), 9).castings_a_day
        2
        """
        return max(1, int(WORKDAY_MIN // self.casting_min[1])) if self.casting_min[1] else 1

    @property
    def edition_days(self) -> int:
        """Working days until the last casting is pulled."""
        return math.ceil(self.castings / self.castings_a_day)

    def as_json(self) -> dict[str, Any]:
        """Plain data, whole minutes."""
        return {
            "mould_min": [round(minutes) for minutes in self.mould_min],
            "casting_min": [round(minutes) for minutes in self.casting_min],
            "castings": self.castings,
            "castings_a_day": self.castings_a_day,
            "edition_days": self.edition_days,
        }


def schedule_of(mould: Iterable[Step], casting: Iterable[Step], *, castings: int) -> Schedule:
    """The schedule of steps in their order.

    Args:
        mould: steps to the open mould.
        casting: steps of one casting.
        castings: how many are made.

    >>> wait = Step("Wait", "Wait.", least_min=30, most_min=60)
    >>> schedule_of([wait, Step("Lift", "Lift it.")], [wait], castings=3).mould_min
    (30.0, 60.0)
    """
    return Schedule(_waits(mould), _waits(casting), castings)


def _waits(steps: Iterable[Step]) -> tuple[float, float]:
    """An open end counts as its beginning."""
    least = most = 0.0
    for step in steps:
        from_min = step.least_min or 0.0
        least += from_min
        most += from_min if step.most_min is None else step.most_min
    return least, most
