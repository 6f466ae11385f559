"""The job sheet, the form that it is filled in with, and choices that are locked."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from firstpull.web.shapes.base import Asked, Direction, Shape
from firstpull.web.shapes.looks import Dab, WallAsked

FieldKind = Literal["number", "whole", "text", "choice", "yes_no", "list"]
Choice = Literal["up", "pieces", "walls", "pulls"]


class Assumed(Shape):
    """A value that the sheet does not give, and why it is taken."""

    field: str
    value: Any
    unit: str
    why: str


class Sheet(Shape):
    """The job sheet as it stands."""

    version: int
    values: dict[str, Any] = Field(description="What was given, by group and field.")
    text: str = Field(description="YAML, with comments.")
    assumed: list[Assumed] = Field(description="What the plan took where nothing is given.")
    problems: list[dict[str, Any]] = Field(description="What is wrong with it, each a Refusal.")


class SheetChange(Asked):
    """Fields of the sheet to set or take out."""

    version: int = Field(description="The version that the change was made on.")
    fields: dict[str, Any] = Field(
        description='By dotted name, as {"skin.thickness_mm": 8}; null takes a field out.'
    )
    plan: bool = Field(default=True, description="Whether the job is planned anew with it.")


class Locking(Asked):
    """Hold on to a choice of the plan that is shown, or let go of it."""

    version: int = Field(description="The version of the sheet that the change was made on.")
    choice: Choice
    locked: bool


class Steering(Asked):
    """What hand and eye chose in the view of a run, in the axes that it shows."""

    version: int = Field(description="The version of the sheet that the change was made on.")
    run_id: str = Field(description="The run that was looked at.")
    walls: list[WallAsked] | None = Field(default=None, max_length=8)
    pulls: list[Direction] | None = Field(default=None, max_length=8)
    up: Direction | None = None
    paint: list[Dab] | None = Field(default=None, max_length=1000)


class FieldChoice(Shape):
    """One value that a field may have."""

    value: Any
    words: str


class SheetField(Shape):
    """A field of the sheet as a form shows it."""

    name: str
    what: str
    why: str
    default: Any
    empty: str | None = Field(description="What is done where it is left empty.")
    unit: str
    kind: FieldKind
    low: float | None
    high: float | None
    above: float | None = Field(description="It must be larger than this.")
    choices: list[FieldChoice] | None
    allowed: str = Field(description="What it may be, in words.")


class SheetGroup(Shape):
    """Fields that belong together."""

    name: str
    what: str
    fields: list[SheetField]


class SheetForm(Shape):
    """All fields of the job sheet."""

    groups: list[SheetGroup]
