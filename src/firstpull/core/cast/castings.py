"""How many castings to make for the good ones wanted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.material.row import MaterialRow, material_rows
from firstpull.core.material.why import RowUsed, Why

_SLACK = 1e-9  # rounding slack of the division


@dataclass(frozen=True)
class Castings:
    """The castings of an edition.

    Args:
        good: wanted.
        cleaner: first pulls that only clean the mould.
        backup: kept, to make a second mould from if the first is lost.
        rejects: expected to fail, rounded up.
    """

    good: int
    cleaner: int
    backup: int
    rejects: int
    why: Why

    @property
    def total(self) -> int:
        """All that are cast."""
        return self.good + self.cleaner + self.backup + self.rejects

    def sentence(self) -> str:
        """The sum in words."""
        return (
            f"{self.total} casting{'' if self.total == 1 else 's'} for {self.good} good:"
            f" {self.cleaner} cleaner pull, "
            f"{self.backup} backup casting among the first three, {self.rejects} for rejects"
        )

    def as_json(self) -> dict[str, Any]:
        """The sum as plain data."""
        return {
            "good": self.good,
            "cleaner": self.cleaner,
            "backup": self.backup,
            "rejects": self.rejects,
            "total": self.total,
            "sentence": self.sentence(),
            "why": self.why.as_json(),
        }


def castings_for(good: int, *, practice: MaterialRow | None = None) -> Castings:
    """Castings to make so that ``good`` good ones may be expected.

    Args:
        good: at least 1.
        practice: row with "cleaner_pulls", "backup_castings" and "rejects"; None takes the
            package's "slush-casting".

    Raises:
        WorkshopError: good is below 1.

    Common practice: the backup must be good as well, so it is counted before the rejects.

    >>> castings_for(6).total
    9
    """
    if good < 1:
        raise WorkshopError(
            where="The job",
            found=f"asks for {good} good castings",
            limit="at least 1 is needed",
            remedy="Give the number wanted.",
        )
    row = practice or material_rows()["slush-casting"]
    cleaner, backup = round(row.typical("cleaner_pulls")), round(row.typical("backup_castings"))
    wanted = good + backup
    tries = math.ceil(wanted / (1 - row.typical("rejects") / 100) - _SLACK)
    used = tuple(RowUsed(row, name) for name in ("cleaner_pulls", "backup_castings", "rejects"))
    why = Why(
        "cleaner + (good + backup) / (1 - share of rejects), rounded up",
        (("good castings", good),),
        used,
    )
    return Castings(good, cleaner, backup, tries - wanted, why)
