"""Meshes that cannot be worked with, each refused by name."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Flags
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh

FARTHEST = 1e8
"""Coordinates beyond this are damage, whatever the unit: 100 km in millimetres."""


class NoTriangles(WorkshopError):
    """There is nothing to work on."""

    code = "no_triangles"


class NoArea(WorkshopError):
    """All triangles are lines or points."""

    code = "no_area"


class BadCoordinates(WorkshopError):
    """Coordinates that are not numbers, or beyond any real object."""

    code = "bad_coordinates"


class UnknownUnit(WorkshopError):
    """A unit of length that the program does not know."""

    code = "unknown_unit"


class WallOutOfRange(WorkshopError):
    """An open surface cannot be given this wall."""

    code = "wall_out_of_range"


class CannotMend(WorkshopError):
    """What stands in the way of a solid is not something that mending may decide."""

    code = "cannot_mend"


class TooMuchToMend(WorkshopError):
    """An assembly that would take longer to mend than anyone waits; rebuilding is no way out."""

    code = "too_much_to_mend"


class UnknownStage(WorkshopError):
    """A stage of mending that does not exist."""

    code = "unknown_stage"


class NoSuchOpening(WorkshopError):
    """An opening was named by a number that none has."""

    code = "no_such_opening"


def counted(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun.

    >>> counted(1, "edge"), counted(3, "body", "bodies")
    ('1 edge', '3 bodies')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def need_surface(mesh: Mesh, *, where: str = "Mesh") -> None:
    """Refuses a mesh that has no triangles, bad coordinates or no area.

    Raises:
        NoTriangles, BadCoordinates, NoArea: in that order.
    """
    if not len(mesh.faces):
        raise NoTriangles(
            where=where,
            found="has no triangles",
            remedy="Export it again as a mesh, not as points, lines or an empty scene.",
        )
    bad = np.asarray(~(np.abs(mesh.vertices_mm) <= FARTHEST).all(axis=1))
    if bad.any():
        _refuse_coordinates(mesh, bad, where)
    low, high = mesh.bounds_mm
    span = float((high - low).max())
    if span == 0.0 or mesh.area_mm2 <= 1e-12 * span * span:
        raise NoArea(
            where=where,
            found=f"has {counted(len(mesh.faces), 'triangle')} but no area: only lines or points",
            remedy="Export it again; a scale of 0 along an axis flattens a model like this.",
        )


def _refuse_coordinates(mesh: Mesh, bad: Flags, where: str) -> None:
    touched = bad[mesh.faces].any(axis=1)
    if not touched.any():
        touched = np.ones(1, dtype=np.bool_)
    first = int(np.flatnonzero(touched)[0]) + 1
    values = mesh.vertices_mm[bad]
    corners = counted(int(bad.sum()), "corner")
    if np.isfinite(values).all():
        found = f"has {corners} farther than {FARTHEST:g} from the origin"
        limit = "no real part is that far away"
    else:
        found = f"has {corners} with a coordinate that is no number (NaN or infinite)"
        limit = "every coordinate must be a number"
    raise BadCoordinates(
        where=where,
        found=f"{found}, the first in triangle {first}",
        limit=limit,
        remedy="Export it again, or delete those triangles in the modelling program.",
    )
