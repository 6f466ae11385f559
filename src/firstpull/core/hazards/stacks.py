"""What must not meet in a stack of master, seal, rubber, gloves, shell and resin."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Literal

import yaml
from pydantic import BaseModel, ConfigDict, model_validator

from firstpull.core.errors import WorkshopError
from firstpull.core.material.row import MaterialRow, material_rows
from firstpull.core.mesh.findings import Finding


class UnknownSubstance(WorkshopError):
    """A thing named is neither a material row nor a substance the table speaks of."""

    code = "unknown_substance"


class Pair(BaseModel):
    """Two things that must not meet, or not untried."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    one: tuple[str, ...]
    other: tuple[str, ...]
    outcome: Literal["fails", "try first"]
    sentence: str
    next_step: str


class StackTable(BaseModel):
    """All pairs, and the substances besides materials that they speak of."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    substances: tuple[str, ...]
    pairs: tuple[Pair, ...]

    @model_validator(mode="after")
    def _words_are_known(self) -> StackTable:
        rows = material_rows().values()
        known = {word for row in rows for word in _words_of(row)}
        for pair in self.pairs:
            strange = {*pair.one, *pair.other} - known - set(self.substances)
            if strange:
                raise ValueError(f"no material or substance brings {sorted(strange)}")
        return self


@cache
def stack_table() -> StackTable:
    """The table in the package."""
    text = files(__package__).joinpath("stacks.yaml").read_text("utf-8")
    return StackTable.model_validate(yaml.safe_load(text))


def stack_findings(things: Iterable[str]) -> tuple[Finding, ...]:
    """Warnings for everything that touches or shares a bench in one job.

    Args:
        things: ids of material rows, and substances such as "latex gloves", "tin residue",
            "resin print"; the order does not matter.

    Returns:
        One finding for each pair that meets: kind "does not go together" where it fails as a
        rule, "try a patch first" where a test patch decides. A stack without a finding is not
        proven; a test patch still is the usual practice.

    Raises:
        UnknownSubstance: a thing is not known; lists the substances there are.

    >>> [f.kind for f in stack_findings(["silicone-platinum-20a", "latex gloves"])]
    ['does not go together']
    >>> stack_findings(["silicone-tin-30a", "clay-sulphur-free"])
    ()
    """
    brought = [_brought_by(thing) for thing in dict.fromkeys(things)]
    found = []
    for pair in stack_table().pairs:
        first = {i for i, words in enumerate(brought) if words.intersection(pair.one)}
        second = {i for i, words in enumerate(brought) if words.intersection(pair.other)}
        # the two sides must be two things: one resin that is both does not meet itself
        meetings = sum(1 for i in first for j in second if i != j)
        if meetings:
            fails = pair.outcome == "fails"
            kind = "does not go together" if fails else "try a patch first"
            found.append(Finding(kind, meetings, pair.sentence, pair.next_step))
    return tuple(found)


def _brought_by(thing: str) -> set[str]:
    row = material_rows().get(thing)
    if row is not None:
        return _words_of(row)
    if thing in stack_table().substances:
        return {thing}
    raise UnknownSubstance(
        where=f'"{thing}"',
        found="is neither a material nor a substance that the table of stacks knows",
        limit="substances are " + ", ".join(stack_table().substances),
        remedy="Name a material's id or one of these.",
    )


def _words_of(row: MaterialRow) -> set[str]:
    """What a pair may call a material: its kind, a trait, or both as in "styrene resin"."""
    return {row.kind, *row.traits, *(f"{trait} {row.kind}" for trait in row.traits)}
