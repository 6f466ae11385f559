"""Material rows: what the workshop knows about each class of material, and where from."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, model_validator

from firstpull.core.errors import WorkshopError
from firstpull.core.estimate import Estimate
from firstpull.core.material.figure import Figure

Kind = Literal["silicone", "resin", "powder", "shell", "clay", "release", "thickener", "practice"]

Trait = Literal[
    "tin catalyst",
    "platinum catalyst",
    "sulphur",
    "isocyanate",
    "styrene",
    "peroxide",
    "epoxy amine",
    "metal powder",
    "aluminium",
    "plaster",
    "glass fibre",
    "printed plastic",
    "solvent",
    "fine powder",
]
"""What a material brings along that cautions and compatibility hang on."""

_MIXED = {"density", "part_a_density", "part_b_density", "b_per_100a", "pot_life", "demould"}
_CURED = _MIXED | {"activation_energy", "shrinkage", "waste_small", "waste_large"}
NEEDED: dict[str, set[str]] = {
    "silicone": _CURED | {"recoat_from", "recoat_until", "first_resin_after", "elongation"},
    "resin": _CURED | {"gel"},
    "powder": {"bulk_density", "true_density", "ratio_bulk", "ratio_weight"},
    "shell": {"density", "waste", "piece_wait", "thickness"},
    "clay": {"density", "waste"},
    "release": {"use", "dry"},
    "thickener": {"dose"},
    "practice": set(),
}
"""Figures without which a row of that kind is refused at load."""


class UnknownMaterial(WorkshopError):
    """No row has that id, or it is of another kind."""

    code = "unknown_material"


class MaterialRow(BaseModel):
    """A class of material, never a product, with its figures.

    Args:
        id: short name used in job sheets.
        name: what a page prints.
        kind: what it is used as.
        parts: names of part A and part B for what is mixed from two.
        mix_basis: how the makers of this class state the mixing ratio.
        traits: what cautions and compatibility hang on.
        figures: numbers by name; times in minutes at 23 C.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")
    name: str
    kind: Kind
    parts: tuple[str, str] | None = None
    mix_basis: Literal["weight", "volume"] | None = None
    traits: tuple[Trait, ...] = ()
    figures: dict[str, Figure] = {}

    @model_validator(mode="after")
    def _complete(self) -> MaterialRow:
        missing = NEEDED[self.kind] - set(self.figures)
        if missing and self.id != NO_POWDER:
            raise ValueError(f"{self.id} lacks {', '.join(sorted(missing))}")
        if "b_per_100a" in self.figures and (self.parts is None or self.mix_basis is None):
            raise ValueError(f"{self.id} mixes two parts: name them and state the basis")
        return self

    def __getitem__(self, figure: str) -> Figure:
        return self.figures[figure]

    def typical(self, figure: str) -> float:
        """The one value shown where one is shown."""
        return self.figures[figure].typical

    def row_id(self, figure: str) -> str:
        """The seed name of a figure: "material id: figure name"."""
        return f"{self.id}: {figure}"

    def estimate(self, figure: str) -> Estimate:
        """256 draws of a figure, the same wherever the row is used."""
        return self.figures[figure].estimate(self.row_id(figure))

    def as_json(self) -> dict[str, Any]:
        """The row as plain data: what it is, names of its parts, figures by name."""
        return {
            "id": self.id,
            "name": self.name,
            "kind": self.kind,
            "parts": None if self.parts is None else list(self.parts),
            "figures": {name: figure.as_json() for name, figure in self.figures.items()},
        }


NO_POWDER = "none"
"""Id of the powder row that stands for plain resin."""

ROW_FILES = ("silicones", "resins", "powders", "shells", "sundries", "practice")


@cache
def material_rows() -> dict[str, MaterialRow]:
    """Every row in the package by id, in the order of the files.

    Raises:
        pydantic.ValidationError: a row in the package is broken; that is a bug.
    """
    adapter = TypeAdapter(list[MaterialRow])
    found: dict[str, MaterialRow] = {}
    for name in ROW_FILES:
        text = files(__package__).joinpath("rows", f"{name}.yaml").read_text("utf-8")
        for row in adapter.validate_python(yaml.safe_load(text)):
            assert row.id not in found, f"two material rows are called {row.id}"
            found[row.id] = row
    return found


def materials_of(kind: Kind) -> tuple[MaterialRow, ...]:
    """All rows of one kind.

    >>> [row.id for row in materials_of("resin")][:2]
    ['urethane-fast', 'urethane-medium']
    """
    return tuple(row for row in material_rows().values() if row.kind == kind)


def find_material(material_id: str, kind: Kind | None = None) -> MaterialRow:
    """The package's row of that id and kind; where kind is None, of any kind.

    Raises:
        UnknownMaterial: no such row of that kind; the refusal lists the ids there are.

    >>> find_material("urethane-fast", "resin").name
    'rigid urethane resin, fast'
    """
    return find_in(material_rows(), material_id, kind)


def find_in(
    rows: Mapping[str, MaterialRow], material_id: str, kind: Kind | None = None
) -> MaterialRow:
    """As :func:`find_material`, in rows given by id."""
    row = rows.get(material_id)
    if row is not None and kind in (None, row.kind):
        return row
    found = f'called "{material_id}" is not known'
    if row is not None:
        found = f'called "{material_id}" is not known: that is a {row.kind}'
    ids = ", ".join(other.id for other in rows.values() if kind in (None, other.kind))
    raise UnknownMaterial(
        where=f"A {kind or 'material'}",
        found=found,
        limit=f"there are {ids}",
        remedy="Name one of these.",
    )
