"""The shelf of a shop: every material row, with the figures that the shop set itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from firstpull.core.material.own import BadOwnFigure, OwnFigure, own_figure
from firstpull.core.material.row import Kind, MaterialRow, UnknownMaterial, find_in, material_rows


@dataclass(frozen=True)
class Shelf:
    """Material rows to plan with, as a value that is passed down.

    Args:
        rows: by id.
        own: the figures that this shop set, as they were given.
    """

    rows: Mapping[str, MaterialRow]
    own: tuple[OwnFigure, ...] = ()

    def find(self, material_id: str, kind: Kind | None = None) -> MaterialRow:
        """The row of that id and kind; where kind is None, of any kind.

        Raises:
            UnknownMaterial: no such row of that kind; the refusal lists the ids there are.
        """
        return find_in(self.rows, material_id, kind)

    def of(self, kind: Kind) -> tuple[MaterialRow, ...]:
        """All rows of one kind."""
        return tuple(row for row in self.rows.values() if row.kind == kind)

    def with_own(
        self, figures: Iterable[OwnFigure], *, place: Callable[[int], str] | None = None
    ) -> Shelf:
        """The shelf with this shop's figures in place of the rows'.

        Args:
            figures: each figure once.
            place: says where the nth figure was given, counted from 0, for refusals.

        Raises:
            UnknownMaterial: a row is not known.
            BadOwnFigure: a figure does not fit its row, or is given twice.

        >>> pot = OwnFigure("urethane-fast", "pot_life", 3.5, 4, 5, "ten cups timed")
        >>> shelf = package_shelf().with_own([pot])
        >>> shelf.find("urethane-fast")["pot_life"].typical
        4.0
        >>> shelf.find("urethane-fast")["pot_life"].mark
        'own'
        """
        rows, seen = dict(self.rows), {own.name for own in self.own}
        figures = tuple(figures)
        for index, own in enumerate(figures):
            where = place(index) if place else ""
            if own.name in seen:
                raise BadOwnFigure(
                    where=where or f"Own figure {own.name}",
                    found=f"gives {own.name} again",
                    limit="each figure stands once",
                    remedy="Keep one of the two.",
                )
            seen.add(own.name)
            row = _row_of(rows, own, where)
            figure = own_figure(row, own, where=where)
            rows[row.id] = row.model_copy(update={"figures": {**row.figures, own.figure: figure}})
        return Shelf(rows, (*self.own, *figures))

    def own_as_json(self) -> list[dict[str, Any]]:
        """Each own figure: what it is, what the package's row says, what holds now, the note."""
        return [
            {
                "material": own.material,
                "name": self.rows[own.material].name,
                "figure": own.figure,
                "unit": self.rows[own.material][own.figure].unit,
                "was": material_rows()[own.material][own.figure].as_json(),
                "now": {"low": own.low, "typical": own.typical, "high": own.high},
                "note": own.note.strip(),
            }
            for own in self.own
        ]


def package_shelf() -> Shelf:
    """The rows that come along, with no figure of the shop's own."""
    return Shelf(material_rows())


def _row_of(rows: Mapping[str, MaterialRow], own: OwnFigure, where: str) -> MaterialRow:
    try:
        return find_in(rows, own.material)
    except UnknownMaterial as unknown:
        raise UnknownMaterial(
            where=where or f"Own figure {own.name}",
            found=f'is of "{own.material}", which is not known',
            limit=unknown.limit,
            remedy=unknown.remedy,
        ) from None
