"""The answer to "why this number?": formula, inputs, and the material rows behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firstpull.core.material.row import MaterialRow


@dataclass(frozen=True)
class RowUsed:
    """One figure of one material row that a number rests on."""

    row: MaterialRow
    figure: str

    def as_json(self) -> dict[str, Any]:
        """The figure with its row's id and name."""
        figure = self.row[self.figure]
        return {"row": self.row.row_id(self.figure), "name": self.row.name, **figure.as_json()}


@dataclass(frozen=True)
class Why:
    """Where a number comes from.

    Args:
        formula: in words and symbols, as it would be done on paper.
        inputs: (name with unit, value) pairs that went in.
        rows: the figures of material rows that went in.
    """

    formula: str
    inputs: tuple[tuple[str, float | str], ...] = ()
    rows: tuple[RowUsed, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {
            "formula": self.formula,
            "inputs": dict(self.inputs),
            "rows": [row.as_json() for row in self.rows],
        }
