"""A plain head to show beside a part, with the measures it was made from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from firstpull.core.fit.head_measures import Group, HeadMeasures, head_measures
from firstpull.core.fit.headform import HeadMarks, head_marks, headform
from firstpull.core.mesh.mesh import Mesh


@dataclass(frozen=True)
class Headform:
    """A head and what is known of it.

    Args:
        mesh: closed, mm, z up, facing -y, origin between the ears.
        measures: with their sources.
        marks: where they are taken.
    """

    mesh: Mesh
    measures: HeadMeasures
    marks: HeadMarks

    def as_json(self) -> dict[str, Any]:
        """The measures as plain data; the mesh travels apart."""
        return {"measures": self.measures.as_json()}


@lru_cache(maxsize=3)
def plain_headform(group: Group | None = None) -> Headform:
    """The middle head of women, of men, or between the two; worked out once."""
    measures = head_measures(group)
    return Headform(headform(measures), measures, head_marks(measures))
