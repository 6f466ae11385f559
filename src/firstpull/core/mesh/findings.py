"""What the checker found: data with places, shown to people, never an exception."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

PLACES = 24
BOTH = ("print", "mould")


@dataclass(frozen=True)
class Finding:
    """One kind of defect, gathered over the mesh.

    Args:
        kind: short name, such as "open edge loop".
        count: how many there are.
        sentence: what was found, in one sentence a maker understands.
        next_step: what to do about it; what mending will do counts.
        blocks: what it stands in the way of: any of "print", "mould"; empty for a remark.
        places_mm: up to a few dozen points to look at, as (x, y, z) in mm.
        size_mm: a length that tells how large the worst is, or None.
    """

    kind: str
    count: int
    sentence: str
    next_step: str
    blocks: tuple[str, ...] = ()
    places_mm: tuple[tuple[float, float, float], ...] = ()
    size_mm: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The finding as plain data."""
        return {
            "kind": self.kind,
            "count": self.count,
            "sentence": self.sentence,
            "next_step": self.next_step,
            "blocks": list(self.blocks),
            "places_mm": [[round(c, 3) for c in p] for p in self.places_mm],
            "size_mm": None if self.size_mm is None else round(self.size_mm, 3),
        }


def finding(
    kind: str,
    count: int,
    places_mm: Iterable[Sequence[float]],
    sentence: str,
    next_step: str,
    blocks: tuple[str, ...],
    *,
    size_mm: float | None = None,
) -> Finding | None:
    """The finding with its first places, or nothing where nothing was found."""
    if not count:
        return None
    spots = tuple((float(x), float(y), float(z)) for x, y, z in islice(iter(places_mm), PLACES))
    return Finding(kind, count, sentence, next_step, blocks, spots, size_mm)
