"""Loose bits: what lies beside the part and is too small to belong to it."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh

DEBRIS_SHARE = 1e-3
"""Share of the whole area below which something that stands apart is debris."""


def loose_bits(
    mesh: Mesh, label: Ints, closed: Flags, *, debris_share: float = DEBRIS_SHARE
) -> list[int]:
    """The parts that are debris, by number of part.

    Args:
        label: (F,) part of each face.
        closed: (P,) whether each part is closed.
        debris_share: see DEBRIS_SHARE.

    A small closed part that reaches into a larger one (a stud, a rivet) is kept; an open
    scrap, a part that stands apart, and a bubble wholly inside a wall are debris.
    """
    if len(closed) == 1:
        return []
    area = np.bincount(label, weights=mesh.face_areas_mm2, minlength=len(closed))
    small = np.flatnonzero(area < debris_share * area.sum())
    if len(small) == len(closed) or not len(small):
        return []
    rest = mesh.with_faces(~np.isin(label, small))
    rest_closed = bool(closed[area >= debris_share * area.sum()].all())
    return [
        int(p) for p in small if not (closed[p] and _joins(mesh, label == p, rest, rest_closed))
    ]


def _joins(mesh: Mesh, chosen: Flags, rest: Mesh, rest_closed: bool) -> bool:
    """Whether a bit's corners lie partly in, partly out of the rest, or close to its surface."""
    corners = np.unique(mesh.faces[chosen])
    points = mesh.vertices_mm[corners]
    low, high = rest.bounds_mm
    if (points.max(axis=0) < low).any() or (points.min(axis=0) > high).any():
        return False
    if rest_closed:
        from firstpull.core.mesh.inside import is_inside

        inside = is_inside(rest, points)
        return bool(inside.any() and not inside.all())
    return _crosses(points, rest)


def _crosses(points: Floats, rest: Mesh) -> bool:
    """For an open rest: whether the bit spans the surface, told by its nearest vertices."""
    from scipy.spatial import cKDTree

    reach = float(np.linalg.norm(np.ptp(points, axis=0)))
    near, _ = cKDTree(rest.vertices_mm).query(points)
    return bool(near.min() < 0.5 * reach)
