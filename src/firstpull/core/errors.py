"""Refusals: one sentence that says where, what was found, the limit and the next move."""

from __future__ import annotations


class WorkshopError(Exception):
    """Something a person must change before the work can go on.

    The sentence is written once, here in core; the command line prints it and other
    faces may use the fields.

    Args:
        where: the file, part, piece or field concerned.
        found: what was found there.
        limit: what is allowed or needed.
        remedy: the next move.

    >>> str(WorkshopError(where="Mesh", found="has no triangles", limit="", remedy="Export again."))
    'Mesh has no triangles. Export again.'
    >>> print(WorkshopError(where='Wall', found="is 0 mm", limit="it needs 0.8 to 20 mm",
    ...                     remedy="Give --wall in that range."))
    Wall is 0 mm; it needs 0.8 to 20 mm. Give --wall in that range.
    """

    code = "refused"

    def __init__(self, *, where: str, found: str, limit: str = "", remedy: str = "") -> None:
        self.where, self.found, self.limit, self.remedy = where, found, limit, remedy
        sentence = f"{where} {found}" + (f"; {limit}" if limit else "") + "."
        super().__init__(f"{sentence} {remedy}".strip())

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.where, self.found, self.limit, self.remedy))

    def as_json(self) -> dict[str, str]:
        """The refusal as plain data: code, where, found, limit, remedy, sentence."""
        return {
            "code": self.code,
            "where": self.where,
            "found": self.found,
            "limit": self.limit,
            "remedy": self.remedy,
            "sentence": str(self),
        }


def _rebuild(
    kind: type[WorkshopError], where: str, found: str, limit: str, remedy: str
) -> WorkshopError:
    return kind(where=where, found=found, limit=limit, remedy=remedy)
