"""A plane that cuts a printed piece, and the tree that several cuts make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

BIT_MM3 = 100.0  # less than this is no part


@dataclass(frozen=True)
class Cut:
    """A plane, seen from one of its sides: there normal . x >= offset.

    Args:
        normal: unit vector to that side.
        offset_mm: where the plane stands along it.
    """

    normal: tuple[float, float, float]
    offset_mm: float

    @property
    def turned(self) -> Cut:
        """The same plane from its other side."""
        x, y, z = self.normal
        return Cut((0.0 - x, 0.0 - y, 0.0 - z), 0.0 - self.offset_mm)

    def depth(self, x: Any, y: Any, z: Any) -> Any:
        """How far points lie on its side; arrays that broadcast."""
        return self.normal[0] * x + self.normal[1] * y + self.normal[2] * z - self.offset_mm


@dataclass(frozen=True)
class Split:
    """A cut through one part of a piece.

    Args:
        cut: the plane.
        within: the earlier cuts that bound the part it goes through, each from the part's side.
    """

    cut: Cut
    within: tuple[Cut, ...] = ()


def regions(splits: Sequence[Split]) -> tuple[tuple[Cut, ...], ...]:
    """The cuts that bound each part, each from the part's side.

    Args:
        splits: in the order they are made.

    >>> cut = Cut((1.0, 0.0, 0.0), 5.0)
    >>> [[c.offset_mm for c in region] for region in regions([Split(cut)])]
    [[5.0], [-5.0]]
    """
    found: list[tuple[Cut, ...]] = [()]
    for split in splits:
        at = found.index(split.within)
        found[at : at + 1] = [(*split.within, split.cut), (*split.within, split.cut.turned)]
    return tuple(found)


def trimmed(made: Any, region: Sequence[Cut]) -> list[Any]:
    """What of a manifold3d solid lies within a region: its solids, bits left out."""
    for cut in region:
        made = made.trim_by_plane(cut.normal, cut.offset_mm)
    return [part for part in made.decompose() if part.volume() >= BIT_MM3]
