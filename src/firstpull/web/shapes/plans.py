"""A plan, why its numbers are what they are, its files; and materials, about."""

from __future__ import annotations

import datetime
from typing import Any

from pydantic import Field

from firstpull.web.shapes.base import Asked, Shape


class WhyInput(Shape):
    """A number that went in."""

    what: str
    value: Any
    unit: str
    path: str | None = Field(default=None, description="Where it stands in the plan.")


class WhyRow(Shape):
    """A figure of a material that went in."""

    row: str
    name: str
    figure: str
    low: float | None
    typical: float | None
    high: float | None
    unit: str
    mark: str
    source: str
    note: str


class Spread(Shape):
    """How sure: one in ten lies below p10, one in ten above p90."""

    p10: float
    p50: float
    p90: float


class Why(Shape):
    """Why a number of a plan is what it is."""

    what: str
    value: Any
    unit: str
    formula: str
    inputs: list[WhyInput]
    rows: list[WhyRow]
    spread: Spread | None


class PlanFile(Shape):
    """One file of a plan."""

    path: str
    size_bytes: int


class PlanFiles(Shape):
    """The files of a plan."""

    files: list[PlanFile]


class OwnFigure(Shape):
    """What this shop found; it wins over the row's own."""

    low: float
    typical: float
    high: float
    note: str
    changed_at: datetime.datetime


class Figure(Shape):
    """One figure of a material, with where it comes from."""

    figure: str
    unit: str
    low: float
    typical: float
    high: float
    mark: str = Field(description="How good the source is.")
    source: str
    note: str
    own: OwnFigure | None


class Material(Shape):
    """A class of material."""

    id: str
    name: str
    kind: str
    figures: list[Figure]


class Materials(Shape):
    """All materials that a job sheet can name."""

    materials: list[Material]


class OwnFigureAsked(Asked):
    """A figure as this shop knows it, in the row's own unit."""

    low: float
    typical: float
    high: float
    note: str = Field(max_length=1000, description="Where it comes from, in your words.")


class About(Shape):
    """Which program this is, and what it takes."""

    version: str
    workspace: str = Field(description="The folder where all is kept.")
    upload_limit_bytes: int
    formats: list[str] = Field(description="Suffixes of mesh files that are read.")
    length_unit: str
    mass_unit: str
    time_unit: str
