"""What a figure of a material is: a range, its unit, where it came from and how far to trust it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from firstpull.core.estimate import Estimate

Mark = Literal["published", "common practice", "from memory", "own"]


class Figure(BaseModel):
    """One number of a material with its spread and its origin.

    Args:
        low: 5th percentile over the materials of the class.
        typical: the value used where one number is shown.
        high: 95th percentile.
        unit: "g/cm3", "min", "%", "mm" and the like; "x" for a plain factor.
        mark: "published" (a text that can be looked up), "common practice" (nobody's in
            particular), "from memory" (to be replaced by the tin's own sheet) or "own" (this
            shop's, in place of the row's).
        source: the text; needed where the mark says "published".
        note: how it was chosen or what disagrees.

    >>> pot = Figure(low=5, typical=25, high=40, unit="min", mark="common practice")
    >>> pot.typical
    25.0
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    low: float
    typical: float
    high: float
    unit: str = Field(min_length=1)
    mark: Mark
    source: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _in_order_and_sourced(self) -> Figure:
        if not self.low <= self.typical <= self.high:
            raise ValueError(
                f"need low <= typical <= high: {self.low}, {self.typical}, {self.high}"
            )
        if self.mark == "published" and not self.source:
            raise ValueError("a published figure names its source")
        return self

    def estimate(self, row_id: str) -> Estimate:
        """256 draws; every use of the same row and figure moves together.

        Args:
            row_id: "material id: figure name", as :meth:`MaterialRow.row_id` makes it.
        """
        return Estimate.spread(row_id, self.low, self.typical, self.high)

    def as_json(self) -> dict[str, Any]:
        """The figure as plain data."""
        return self.model_dump()
