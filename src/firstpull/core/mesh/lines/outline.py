"""What shadow does a mesh cast? Its outline seen along a direction."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.lines.figure import Curve, Figure, Plane
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.weld import equal_points


def outline(mesh: Mesh, towards_viewer: ArrayLike) -> Figure:
    """The outline of any mesh, seen from far away, with the holes that one sees through.

    Args:
        mesh: closed or open, whichever way its faces look.
        towards_viewer: (3,) from the mesh to the eye.

    Returns:
        closed lines in the plane through the origin, outer ones counter-clockwise and holes
        clockwise; none where every face is seen edge-on. Points are right to 1e-8 mm.

    Raises:
        NoDirection: the direction has no length.
        BadCoordinates: a coordinate is no number.

    Every triangle is laid flat with the same side up; where two triangles share a side and lie
    on either side of it, the side is inside the outline and drops out. What is left winds
    around each place as often as triangles cover it, and the outline is where that is not 0.

    >>> plate = Mesh([[0, 0, 0], [4, 0, 0], [4, 3, 9], [0, 3, 9]], [[0, 1, 2], [0, 3, 2]])
    >>> outline(plate, [0, 0, 1]).area_mm2
    12.0
    """
    plane = Plane([0, 0, 0], towards_viewer)
    if not np.isfinite(mesh.vertices_mm).all():
        need_surface(mesh)
    _, place = equal_points(mesh.vertices_mm)
    first = np.zeros(len(mesh.vertices_mm), dtype=np.int64)
    first[place[::-1]] = np.arange(len(place))[::-1]
    faces = first[place[mesh.faces]]
    flat = plane.flat(mesh.vertices_mm)
    return Figure(plane, _curves(_merged(flat, _bounding_sides(flat, faces)), plane))


def _bounding_sides(flat: Floats, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """(S, 2) sides of the flat triangles, less each pair that runs both ways."""
    a, b, c = (flat[faces[:, k]] for k in range(3))
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    faces = np.where((doubled < 0)[:, None], faces[:, ::-1], faces)[doubled != 0]
    if not len(faces):
        return np.zeros((0, 2), dtype=np.int64)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.lexsort((high, low))
    low, high, sense = low[order], high[order], np.where(start < end, 1, -1)[order]
    new = np.ones(len(low), dtype=np.bool_)
    new[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    begins = np.flatnonzero(new)
    net = np.add.reduceat(sense, begins)
    times = np.abs(net).astype(np.int64)
    low, high = np.repeat(low[begins], times), np.repeat(high[begins], times)
    back = np.repeat(net < 0, times)
    return np.stack([np.where(back, high, low), np.where(back, low, high)], axis=1)


def _merged(flat: Floats, sides: NDArray[np.int64]) -> list[Floats]:
    """The boundary of what the sides wind around, as polygons."""
    from manifold3d import CrossSection, FillRule

    if not len(sides):
        return []
    order, starts = _loops(*np.ascontiguousarray(sides[np.argsort(sides[:, 0], kind="stable")].T))
    loops = [np.ascontiguousarray(flat[order[a:b]]) for a, b in pairwise(starts)]
    return [np.asarray(p) for p in CrossSection(loops, FillRule.NonZero).to_polygons()]


@njit(cache=True)
def _loops(tail: Any, head: Any) -> Any:
    """Cycles of sides sorted by where they start; as many arrive at each corner as leave."""
    n = len(tail)
    begin = np.searchsorted(tail, tail)
    taken = np.zeros(n, dtype=np.int64)  # of the sides from one corner, kept at the first
    order = np.empty(n, dtype=np.int64)
    starts = [0]
    filled = 0
    for side in range(n):
        first = begin[side]
        at = tail[side]
        if first + taken[first] != side:
            continue
        while True:
            spot = np.searchsorted(tail, at)
            if spot >= n or tail[spot] != at:
                break
            now = spot + taken[spot]
            if now >= n or tail[now] != at:
                break
            taken[spot] += 1
            order[filled] = at
            filled += 1
            at = head[now]
        starts.append(filled)
    return order[:filled].copy(), np.array(starts)


def _curves(polygons: list[Floats], plane: Plane) -> tuple[Curve, ...]:
    curves = []
    for flat in polygons:
        points = plane.in_space(flat)
        points.flags.writeable = flat.flags.writeable = False
        curves.append(Curve(points, flat, True))
    return tuple(sorted(curves, key=lambda curve: -curve.length_mm))
