"""The usual cautions for the materials in use, local rules first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml
from pydantic import BaseModel, ConfigDict, TypeAdapter

from firstpull.core.material.row import Kind, MaterialRow, Trait, find_material


class CautionRow(BaseModel):
    """A caution as it stands in the package: its words and what it hangs on."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str
    title: str
    text: str
    always: bool = False
    kinds: tuple[Kind, ...] = ()
    traits: tuple[Trait, ...] = ()

    def holds_for(self, row: MaterialRow) -> bool:
        """Whether this material is a reason for it."""
        return row.kind in self.kinds or not set(row.traits).isdisjoint(self.traits)


@dataclass(frozen=True)
class Caution:
    """A caution for one job.

    Args:
        id: short name that steps refer to.
        title: a few words.
        text: two or three sentences.
        applies_to: names of the materials that are the reason; empty where it always holds.
    """

    id: str
    title: str
    text: str
    applies_to: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The caution as plain data."""
        return {
            "id": self.id,
            "title": self.title,
            "text": self.text,
            "applies_to": list(self.applies_to),
        }


@cache
def caution_rows() -> tuple[CautionRow, ...]:
    """Every caution in the package, in the order of a page."""
    text = files(__package__).joinpath("cautions.yaml").read_text("utf-8")
    return tuple(TypeAdapter(list[CautionRow]).validate_python(yaml.safe_load(text)))


def cautions_for(material_ids: Iterable[str]) -> tuple[Caution, ...]:
    """The cautions for these materials, in the order of a page.

    Args:
        material_ids: ids of material rows; twice the same is once.

    Raises:
        UnknownMaterial: an id has no row; its cautions would be missing.

    The first is always that local rules and the product's safety data sheet come first. The
    list is what practice knows, never complete.

    >>> [c.id for c in cautions_for(["urethane-fast"])][:3]
    ['rules-first', 'ventilation', 'respirator']
    """
    rows = [find_material(material_id) for material_id in dict.fromkeys(material_ids)]
    found = []
    for caution in caution_rows():
        names = tuple(row.name for row in rows if caution.holds_for(row))
        if names or caution.always:
            applies_to = () if caution.always else names
            found.append(Caution(caution.id, caution.title, caution.text, applies_to))
    return tuple(found)


def caution_ids_for(material_ids: Iterable[str]) -> tuple[str, ...]:
    """Ids of the cautions that these materials are a reason for, without those that always hold."""
    return tuple(caution.id for caution in cautions_for(material_ids) if caution.applies_to)
