"""The job sheet: what a maker may say about a job, and what is assumed where nothing is said."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict, model_validator
from pydantic_core import PydanticCustomError

from firstpull.core.material.mix import PowderBasis, dose_of
from firstpull.core.material.row import Kind, UnknownMaterial, find_material
from firstpull.core.sheet_fields import FieldEntry, ask, describe, describe_items

Real = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Count = Annotated[int, Strict()]
Text = Annotated[str, Strict(), Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f]+$")]
Yes = Annotated[bool, Strict()]
PartName = Annotated[str, Strict(), Field(min_length=1, max_length=60, pattern=r"^\w[\w -]*$")]

DIRECTION, POINT = "three numbers, not all 0", "three numbers"
LEAST_BOX_MM, LARGEST_BOX_MM = 80.0, 3000.0
MOST_WALLS, MOST_PULLS, MOST_DABS, MOST_POINTS = 3, 4, 200, 500
MOST_SHOW_DABS = 400


def _known(material_id: str, kind: Kind) -> str:
    try:
        return find_material(material_id, kind).id
    except UnknownMaterial as unknown:
        raise PydanticCustomError("material", "{words}", {"words": unknown.found}) from unknown


def _direction(way: list[float]) -> list[float]:
    if len(way) != 3 or not 0 < math.hypot(*way) < math.inf:
        raise PydanticCustomError("direction", "is not a direction")
    return way


def _three(place: list[float]) -> list[float]:
    if len(place) != 3:
        raise PydanticCustomError("point", "is not a point")
    return place


def _room(box: list[float]) -> list[float]:
    if len(box) != 3 or not all(LEAST_BOX_MM <= side <= LARGEST_BOX_MM for side in box):
        raise PydanticCustomError("box", "is not a build box")
    return box


Direction = Annotated[list[Real], AfterValidator(_direction)]
Point = Annotated[list[Real], AfterValidator(_three)]


def _material(kind: Kind) -> Any:
    return AfterValidator(lambda material_id: _known(material_id, kind))


class Section(BaseModel):
    """A named group of fields; unknown names are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Job(Section):
    """What is made, and how many."""

    name: Text = ask("untitled job", "name on every page", "no name was given")
    part_name: PartName = ask("part", "name of the part", "no name was given")
    good_castings: Count = ask(
        6, "good castings wanted", "a small edition; more are cast than that", ge=1, le=500
    )


class Shop(Section):
    """The room the work is done in."""

    temperature_c: Real = ask(
        21.0, "temperature of room and tins", "an ordinary heated room", ge=5, le=40
    )
    humidity_pct: Real = ask(
        50.0, "relative humidity of the room", "the limit for urethane", ge=0, le=100
    )
    build_box_mm: Annotated[list[Real], AfterValidator(_room)] | None = ask(
        None,
        "room of the printer, [x, y, z]",
        "whether printed pieces fit is only asked of a printer that is known",
        empty="not asked",
        allowed=f"three lengths of {LEAST_BOX_MM:g} to {LARGEST_BOX_MM:g} mm",
    )
    printer_cm3_h: Real = ask(
        12.0,
        "plastic that the printer lays in an hour",
        "common practice for a nozzle of 0.4 mm; the slicer knows better",
        ge=1,
        le=500,
    )


class ShowDab(Section):
    """A dab of the brush that says whether the mould copies what is under it."""

    at: Point = ask(
        ..., "its middle, on the surface", "only the maker knows", empty="needed", allowed=POINT
    )
    radius_mm: Real = ask(10.0, "its radius on the printed part", "a broad brush", ge=0.5, le=200)
    copied: Yes = ask(..., "whether it is copied, or left", "only the maker knows", empty="needed")


class Master(Section):
    """How the mesh becomes the master."""

    unit: Literal["mm", "cm", "in", "m"] | None = ask(
        None, "unit of the mesh file", "the file and its size decide", empty="read from the file"
    )
    scale: Real = ask(
        1.0, "size as printed over size as designed", "printed as designed", ge=0.01, le=100
    )
    up: Direction | None = ask(
        None,
        "direction away from the board, [x, y, z] in the mesh's axes",
        "opposite the largest hollow",
        empty="found from the hollow",
        allowed=DIRECTION,
    )
    wall_mm: Real = ask(
        3.0, "wall given to an open surface, inward", "prints well, stays stiff", ge=0.8, le=20
    )
    paint: Annotated[list[ShowDab], Field(max_length=MOST_SHOW_DABS)] | None = ask(
        None,
        "what is copied or left all the same, dabs of {at, radius_mm, copied}, in the mesh's "
        "axes; later ones win",
        "the outside is found by itself",
        empty="none",
        allowed=f"up to {MOST_SHOW_DABS} dabs",
    )


class Board(Section):
    """The board under the master, and the clay down to it."""

    below_rim_mm: Real = ask(
        13.0, "board below the lowest point of the rim", "usual: 12 to 15 mm", ge=8, le=30
    )
    wall_draft_deg: Real = ask(
        4.0, "draft of the wall from rim to board", "usual: 3 to 5 degrees", ge=1, le=10
    )


class Skin(Section):
    """The silicone."""

    material: Annotated[str, Strict(), _material("silicone")] = ask(
        "silicone-tin-30a",
        "silicone rubber",
        "firm, forgiving of what it is laid on",
        material="silicone",
    )
    thickness_mm: Real = ask(
        6.0, "even layer over the body", "usual for a half-mask; 8 mm for a helmet", ge=3, le=15
    )
    flange_width_mm: Real = ask(
        35.0, "flange on the board", "wide enough to hold and bolt", ge=15, le=80
    )
    flange_thickness_mm: Real = ask(
        8.0, "thickness of the flange", "thicker than the layer, so it lies flat", ge=4, le=20
    )
    price_per_kg: Real | None = ask(
        None,
        "price of a kilogram of the silicone, mixed, in your own money",
        "prices differ from shop to shop; without one, grams are compared",
        empty="not given",
        ge=0,
        le=100_000,
    )


class Wall(Section):
    """A parting wall that the maker fixed: a plane, bent or not, or a line on the body."""

    through: Point | None = ask(
        None, "a point in the wall", "with `facing`", empty="a line is given", allowed=POINT
    )
    facing: Direction | None = ask(
        None,
        "where it looks: the side of piece 1",
        "with `through`",
        empty="a line is given",
        allowed=DIRECTION,
    )
    bend: Annotated[list[Point], Field(min_length=2, max_length=MOST_POINTS)] | None = ask(
        None,
        "points that a bent wall passes through, in order; between them it runs straight",
        "beside `through` and `facing`",
        empty="a plane",
        allowed=f"2 to {MOST_POINTS} points",
    )
    line: Annotated[list[Point], Field(min_length=3, max_length=MOST_POINTS)] | None = ask(
        None,
        "a parting line drawn on the body, from rim to rim; seen from above, piece 1 lies at "
        "its right",
        "instead of `through` and `facing`",
        empty="a plane is given",
        allowed=f"3 to {MOST_POINTS} points, from rim to rim",
    )

    @model_validator(mode="after")
    def _one_of_the_two(self) -> Wall:
        plane = [n for n in ("through", "facing", "bend") if getattr(self, n) is not None]
        if self.line is not None and plane:
            raise PydanticCustomError("wall", "has both a line and a plane")
        if self.line is None and not {"through", "facing"} <= set(plane):
            words = {"held": f"only {' and '.join(plane)}" if plane else "neither plane nor line"}
            raise PydanticCustomError("wall", "has {held}", words)
        return self


class Dab(Section):
    """A dab of the brush that no wall may cross."""

    at: Point = ask(
        ..., "its middle, on the surface", "only the maker knows", empty="needed", allowed=POINT
    )
    radius_mm: Real = ask(10.0, "its radius on the printed part", "a broad brush", ge=0.5, le=200)


class Shell(Section):
    """The rigid support around the silicone."""

    kind: Literal["laid", "printed"] = ask(
        "laid", "laid by hand or printed", "a brushed skin wanders; a laid shell follows it"
    )
    material: Annotated[str, Strict(), _material("shell")] | None = ask(
        None,
        "what it is made of",
        "plaster bandage where laid, plastic where printed",
        empty="by kind",
        material="shell",
    )
    thickness_mm: Real | None = ask(
        None,
        "wall of the shell",
        "stiff enough: 8 mm in plaster, 5 mm printed",
        empty="by kind",
        ge=2,
        le=20,
    )
    draft_deg: Real | None = ask(
        None,
        "least draft of a piece to its pull",
        "3 degrees laid by hand, 2 printed",
        empty="by kind",
        ge=0.5,
        le=10,
    )
    pieces: Count | None = ask(
        None,
        "number of rigid pieces",
        "the count that the choice chart recommends",
        empty="as recommended",
        ge=1,
        le=4,
    )
    clearance_mm: Real | None = ask(
        None,
        "gap between skin and shell",
        "a release film where laid, a bedding coat where printed",
        empty="by kind",
        ge=0,
        le=5,
    )
    piece_worth_pct: Real = ask(
        15.0,
        "share of the silicone that a further piece must save",
        "common practice; lower for more pieces, higher for more silicone",
        ge=0,
        le=90,
    )
    walls: Annotated[list[Wall], Field(max_length=MOST_WALLS)] | None = ask(
        None,
        "parting walls that are fixed, each {through, facing} or {line}, in the mesh's axes",
        "the search looks where they need least silicone",
        empty="found by the search",
        allowed=f"up to {MOST_WALLS} walls, one fewer than pieces",
    )
    pulls: Annotated[list[Direction], Field(max_length=MOST_PULLS)] | None = ask(
        None,
        "pull directions that are fixed, [x, y, z] for each piece in order, in the mesh's axes",
        "the search turns each to where it needs least silicone",
        empty="found by the search",
        allowed=f"up to {MOST_PULLS} directions of three numbers, not all 0",
    )
    keep_whole: Annotated[list[Dab], Field(max_length=MOST_DABS)] | None = ask(
        None,
        "areas that no wall may cross, dabs of {at, radius_mm}, in the mesh's axes",
        "a wall may stand anywhere",
        empty="none",
        allowed=f"up to {MOST_DABS} dabs",
    )
    symmetric: Yes = ask(
        False, "only partings that are symmetric", "a better parting may not be symmetric"
    )

    @property
    def material_used(self) -> str:
        """Id of the shell's material."""
        return self.material or ("plaster-bandage" if self.kind == "laid" else "printed-plastic")

    @property
    def thickness_used_mm(self) -> float:
        """Wall that pieces are built with."""
        if self.thickness_mm is not None:
            return self.thickness_mm
        return 8.0 if self.kind == "laid" else 5.0

    @property
    def draft_used_deg(self) -> float:
        """Draft that pieces are built with."""
        return (
            self.draft_deg if self.draft_deg is not None else (3.0 if self.kind == "laid" else 2.0)
        )

    @property
    def clearance_used_mm(self) -> float:
        """Gap that pieces are built with."""
        if self.clearance_mm is not None:
            return self.clearance_mm
        return 0.3 if self.kind == "laid" else 1.5

    @model_validator(mode="after")
    def _made_as_said(self) -> Shell:
        if (self.material_used == "printed-plastic") != (self.kind == "printed"):
            words = {"kind": self.kind, "material": self.material_used}
            raise PydanticCustomError("shell", "is {kind} but made of {material}", words)
        return self

    @model_validator(mode="after")
    def _as_many_as_said(self) -> Shell:
        if self.pieces is not None and self.pulls and len(self.pulls) != self.pieces:
            words = {"pulls": _counted(self.pulls, "pull"), "pieces": self.pieces}
            raise PydanticCustomError("pulls", "has {pulls} for pieces: {pieces}", words)
        # three pulls are three pieces, whether that is said or not
        pieces = self.pieces or len(self.pulls or ()) or None
        if pieces is not None and len(self.walls or ()) >= pieces:
            words = {"walls": _counted(self.walls or [], "wall"), "pieces": pieces}
            raise PydanticCustomError("walls", "has {walls} for pieces: {pieces}", words)
        return self


class Cast(Section):
    """What goes into the mould."""

    resin: Annotated[str, Strict(), _material("resin")] = ask(
        "urethane-medium", "casting resin", "leaves time to brush a face coat", material="resin"
    )
    powder: Annotated[str, Strict(), _material("powder")] = ask(
        "none", "metal powder in the face coat", "plain resin to be painted", material="powder"
    )
    powder_basis: PowderBasis = ask(
        "bulk volume", "what the powder ratio compares", "level cups; weights are given as well"
    )
    powder_ratio: Real | None = ask(
        None,
        "powder to mixed resin on that basis",
        "usual for the powder",
        empty="as usual",
        gt=0,
        le=10,
    )
    face_coat_mm: Real = ask(
        0.9, "brushed first coat", "usual for a metal face: 0.7 to 1.2 mm", ge=0.3, le=3
    )
    wall_mm: Real = ask(
        3.5, "whole wall of the casting, face coat included", "usual: 3 to 4 mm", ge=1, le=10
    )

    @property
    def powder_ratio_used(self) -> float:
        """Powder to mixed resin on the basis that the sheet names; 0 without powder."""
        powder, resin = find_material(self.powder, "powder"), find_material(self.resin, "resin")
        dose = dose_of(powder, resin, basis=self.powder_basis, ratio=self.powder_ratio)
        return 0.0 if dose.is_plain else dose.ratio

    @model_validator(mode="after")
    def _face_within_wall(self) -> Cast:
        if self.face_coat_mm > self.wall_mm:
            words = {"face": f"{self.face_coat_mm:g}", "wall": f"{self.wall_mm:g}"}
            raise PydanticCustomError(
                "face_coat", "has a face coat of {face} mm in a wall of {wall} mm", words
            )
        return self


class Packet(Section):
    """The printed pages."""

    paper: Literal["a4", "letter"] = ask("a4", "paper of the packet", "the usual sheet")


class JobSheet(Section):
    """Everything a maker may say about a job; every field has a default.

    >>> sheet = JobSheet()
    >>> sheet.skin.thickness_mm, sheet.shell.draft_used_deg
    (6.0, 3.0)
    >>> sheet.assumed({"skin.thickness_mm"})[0]["field"]
    'job.name'
    """

    job: Job = Job()
    shop: Shop = Shop()
    master: Master = Master()
    board: Board = Board()
    skin: Skin = Skin()
    shell: Shell = Shell()
    cast: Cast = Cast()
    packet: Packet = Packet()
    grid_mm: Real = ask(
        1.5,
        "spacing of the distance grid",
        "finer takes more time and memory for little",
        ge=1,
        le=2,
    )

    def value_used(self, field: str) -> Any:
        """What a field comes to: its value, or what an empty one is resolved to.

        Args:
            field: dotted name, such as "shell.draft_deg".
        """
        resolved = {
            "shell.material": self.shell.material_used,
            "shell.thickness_mm": self.shell.thickness_used_mm,
            "shell.draft_deg": self.shell.draft_used_deg,
            "shell.clearance_mm": self.shell.clearance_used_mm,
            "cast.powder_ratio": self.cast.powder_ratio_used,
        }
        if field in resolved:
            return resolved[field]
        value: Any = self
        for name in field.split("."):
            value = getattr(value, name)
        return value

    def assumed(self, given_fields: Collection[str]) -> list[dict[str, Any]]:
        """Every field the maker did not give, as field, value, unit and why.

        An empty value that the mesh decides later is given in words.
        """
        return [
            {
                "field": entry.name,
                "value": entry.empty if (v := self.value_used(entry.name)) is None else v,
                "unit": entry.unit,
                "why": entry.why,
            }
            for entry in describe_fields()
            if entry.name not in given_fields
        ]


def _counted(items: list[Any], what: str) -> str:
    return f"{len(items)} {what}" + ("" if len(items) == 1 else "s")


def describe_fields() -> tuple[FieldEntry, ...]:
    """All fields in the order of the sheet, by dotted name.

    >>> {entry.name: entry.allowed for entry in describe_fields()}["grid_mm"]
    '1 to 2 mm'
    """
    return describe(JobSheet)


def describe_list_fields() -> tuple[FieldEntry, ...]:
    """The fields of walls and dabs, by dotted name, such as "shell.walls.through"."""
    return describe_items(JobSheet)
