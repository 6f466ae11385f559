"""One step of the work: what to do, with how much, how long to wait, what to mind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firstpull.core.hazards.cautions import caution_rows
from firstpull.core.material.mix import Amounts
from firstpull.core.material.row import MaterialRow


@dataclass(frozen=True)
class Amount:
    """Something weighed out for a step, waste included where it is mixed."""

    what: str
    value: float
    unit: str

    def words(self) -> str:
        """As one would say it.

        >>> Amount("base", 85.52, "g").words(), Amount("catalyst", 4.28, "g").words()
        ('86 g base', '4.3 g catalyst')
        """
        digits = 0 if self.value >= 20 else 1
        return f"{self.value:.{digits}f} {self.unit} {self.what}"


@dataclass(frozen=True)
class Step:
    """One step.

    Args:
        title: a few words.
        do: what to do, short and imperative.
        amounts: what to have weighed out, waste included where it is mixed.
        cups: how many equal mixes it is divided into; 0 where nothing is mixed.
        least_min, most_min: the wait before the next step, from the first stir where
            something is mixed; None where it is not known, or where the end is open.
        caution_ids: cautions to read again just before.
    """

    title: str
    do: str
    amounts: tuple[Amount, ...] = ()
    cups: int = 0
    least_min: float | None = None
    most_min: float | None = None
    caution_ids: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """What to do and with how much, in sentences."""
        if not self.amounts:
            return self.do
        cups = f" for {self.cups} cup{'s' if self.cups > 1 else ''}" if self.cups else ""
        return f"{self.do} Have ready{cups}: {', '.join(a.words() for a in self.amounts)}."

    def as_json(self) -> dict[str, Any]:
        """The step as plain data; waits in whole minutes, cautions by title and by id."""
        titles = {row.id: row.title for row in caution_rows()}
        return {
            "title": self.title,
            "text": self.text,
            "amounts": [
                {"what": a.what, "value": round(a.value, 1), "unit": a.unit} for a in self.amounts
            ],
            "cups": self.cups,
            "minutes_least": None if self.least_min is None else round(self.least_min),
            "minutes_most": None if self.most_min is None else round(self.most_min),
            "cautions": [titles[caution] for caution in self.caution_ids],
            "caution_ids": list(self.caution_ids),
        }


def mixed_amounts(row: MaterialRow, mixed: Amounts) -> tuple[Amount, ...]:
    """Part A, part B and powder under the names on the tins."""
    a_name, b_name = row.parts or ("A", "B")
    found = [Amount(a_name, mixed.a_g, "g"), Amount(b_name, mixed.b_g, "g")]
    if mixed.powder_g:
        found.append(Amount("powder", mixed.powder_g, "g"))
    return tuple(found)
