"""Where does a plane cut a mesh?"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.lines.figure import Axis, Curve, Figure, Plane
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.weld import equal_points


class NoPlanes(WorkshopError):
    """A row of planes without a plane, or without a distance between them."""

    code = "no_planes"


def section(mesh: Mesh, plane: Plane) -> Figure:
    """The lines in which a plane cuts any mesh.

    A corner that lies in the plane counts as above it. So the lines are those just below the
    plane: a face that lies in it shows its outline where it is the top of something, and
    nothing where it is the bottom; what only touches the plane with a point or an edge leaves
    nothing. Lines of a closed mesh always close. Seen against the plane's normal, material lies
    at the left of each line: outlines run counter-clockwise, holes clockwise. Corners at the
    same place are one, so that a mesh of loose triangles gives whole lines too; lines of an
    open mesh end at its edges.

    Raises:
        BadCoordinates: a coordinate is no number.

    >>> roof = Mesh([[0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]],
    ...             [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    >>> cut = section(roof, Plane.across("z", 2.0))
    >>> cut.is_closed, cut.area_mm2, cut.size_mm
    (True, 2.0, (2.0, 2.0))
    """
    height = _heights(mesh.vertices_mm, plane.point_mm, plane.normal)
    if not np.isfinite(height).all():
        need_surface(mesh)
    tail, head, nodes = _arcs(mesh, height)
    if not len(tail):
        return Figure(plane, ())
    flat = plane.flat(nodes)
    order, starts, closed = _chains(tail, head, flat)
    curves = []
    for (first, last), loop in zip(pairwise(starts), closed, strict=True):
        curve = _curve(nodes[order[first:last]], plane, bool(loop))
        if curve is not None:
            curves.append(curve)
    curves.sort(key=lambda curve: -curve.length_mm)
    return Figure(plane, tuple(curves))


def sections(mesh: Mesh, planes: Iterable[Plane]) -> list[Figure]:
    """The section at each of several planes; some may be empty."""
    return [section(mesh, plane) for plane in planes]


def planes_along(mesh: Mesh, axis: Axis, *, every_mm: float) -> list[Plane]:
    """Planes square to an axis at whole multiples of a distance, wherever they meet the mesh.

    Raises:
        NoPlanes: the distance is not above 0, or gives more than 10 000 planes.

    >>> bar = Mesh([[0, 0, 0], [25, 0, 0], [0, 9, 0]], [[0, 1, 2]])
    >>> [float(p.point_mm[0]) for p in planes_along(bar, "x", every_mm=10)]
    [0.0, 10.0, 20.0]
    """
    low, high = mesh.bounds_mm[:, "xyz".index(axis)].tolist()
    if not 0.0 < every_mm < np.inf or (high - low) / every_mm > 10_000:
        raise NoPlanes(
            where="Sections",
            found=f"were asked for every {every_mm:g} mm along {high - low:g} mm",
            limit="the distance must be above 0 and give at most 10 000 sections",
            remedy="Choose a larger distance.",
        )
    first, last = int(np.ceil(low / every_mm)), int(np.floor(high / every_mm))
    return [Plane.across(axis, n * every_mm) for n in range(first, last + 1)]


def _arcs(mesh: Mesh, height: Floats) -> tuple[NDArray[Any], NDArray[Any], Floats]:
    """Each cut face as an arc from one cut edge to another, and where the edges are cut.

    Going around a face counter-clockwise, the arc starts on the side that goes down through
    the plane and ends on the one that comes up.
    """
    faces = mesh.faces[_cut_faces(mesh.faces, height)]
    if not len(faces):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros((0, 3))
    used, corner = np.unique(faces, return_inverse=True)
    first, place = equal_points(mesh.vertices_mm[used])
    points, height = mesh.vertices_mm[used[first]], height[used[first]]
    corner = place[corner.reshape(-1, 3)].astype(np.int64)
    above = height[corner] >= 0
    follows = np.roll(above, -1, axis=1)
    rows = np.arange(len(corner))
    down, up = np.argmax(above & ~follows, axis=1), np.argmax(~above & follows, axis=1)
    n = len(points)
    leaving = corner[rows, down] * n + corner[rows, (down + 1) % 3]
    arriving = corner[rows, (up + 1) % 3] * n + corner[rows, up]
    keys, node = np.unique(np.concatenate([leaving, arriving]), return_inverse=True)
    a, b = np.divmod(keys, n)
    share = (height[a] / (height[a] - height[b]))[:, None]
    nodes = points[a] + share * (points[b] - points[a])
    return node[: len(faces)], node[len(faces) :], nodes


def _curve(points: Floats, plane: Plane, closed: bool) -> Curve | None:
    """A line without repeated points; none where that leaves nothing to draw."""
    new = np.ones(len(points), dtype=np.bool_)
    new[1:] = (points[1:] != points[:-1]).any(axis=1)
    points = points[new]
    if closed and len(points) > 1 and (points[0] == points[-1]).all():
        points = points[:-1]
    if len(points) < (3 if closed else 2):
        return None
    flat = plane.flat(points)
    points.flags.writeable = flat.flags.writeable = False
    return Curve(points, flat, closed)


@njit(cache=True)
def _heights(points: Any, origin: Any, normal: Any) -> Any:
    """Height over the plane, summed in the same way for each so that equal points agree."""
    height = np.empty(len(points))
    for i in range(len(points)):
        height[i] = (
            (points[i, 0] - origin[0]) * normal[0]
            + (points[i, 1] - origin[1]) * normal[1]
            + (points[i, 2] - origin[2]) * normal[2]
        )
    return height


@njit(cache=True)
def _cut_faces(faces: Any, height: Any) -> Any:
    cut = np.empty(len(faces), dtype=np.int32)
    count = 0
    for face in range(len(faces)):
        a = height[faces[face, 0]] >= 0
        if (height[faces[face, 1]] >= 0) != a or (height[faces[face, 2]] >= 0) != a:
            cut[count] = face
            count += 1
    return cut[:count].copy()


def _chains(
    tail: NDArray[Any], head: NDArray[Any], flat: Floats
) -> tuple[NDArray[np.int64], NDArray[np.int64], Flags]:
    """Arcs strung together: nodes in order, where each chain starts, whether it is closed."""
    arcs = np.arange(len(tail))
    node = np.concatenate([tail, head])
    by_node = np.argsort(node, kind="stable")
    begins = np.searchsorted(node[by_node], np.arange(len(flat) + 1))
    order, starts, closed = _string(tail, head, flat, np.tile(arcs, 2)[by_node], begins)
    return order, starts, closed


@njit(cache=True)
def _string(tail: Any, head: Any, flat: Any, arcs: Any, begins: Any) -> Any:
    used = np.zeros(len(tail), dtype=np.bool_)
    order = np.empty(2 * len(tail), dtype=np.int64)
    back = np.empty(len(tail) + 1, dtype=np.int64)
    starts = [0]
    closed = [False]  # one to tell the kind; dropped below
    filled = 0
    for first in range(len(tail)):
        if used[first]:
            continue
        used[first] = True
        chain = filled
        order[filled], order[filled + 1] = tail[first], head[first]
        filled += 2
        while order[filled - 1] != order[chain]:
            at = order[filled - 1]
            arc = _next(tail, head, flat, arcs, begins, used, order[filled - 2], at, True)
            if arc < 0:
                break
            used[arc] = True
            order[filled] = head[arc] + tail[arc] - at
            filled += 1
        loop = order[filled - 1] == order[chain]
        if loop:
            filled -= 1
        else:  # it may have begun in the middle of an open line
            n = 0
            at, before = order[chain], order[chain + 1]
            while True:
                arc = _next(tail, head, flat, arcs, begins, used, before, at, False)
                if arc < 0:
                    break
                used[arc] = True
                before, at = at, head[arc] + tail[arc] - at
                back[n] = at
                n += 1
            for i in range(filled - 1, chain - 1, -1):
                order[i + n] = order[i]
            for i in range(n):
                order[chain + i] = back[n - 1 - i]
            filled += n
        starts.append(filled)
        closed.append(loop)
    return order[:filled].copy(), np.array(starts), np.array(closed)[1:]


@njit(cache=True)
def _next(
    tail: Any,
    head: Any,
    flat: Any,
    arcs: Any,
    begins: Any,
    used: Any,
    before: int,
    at: int,
    on: Any,
) -> int:
    """The arc to go on with: one that runs the same way if possible, turning left most.

    Where parts touch, that stays with the own part. Going back it is the turn to the right.
    """
    best, found, rightly = -np.inf, -1, False
    dx, dy = flat[at, 0] - flat[before, 0], flat[at, 1] - flat[before, 1]
    for k in range(begins[at], begins[at + 1]):
        arc = arcs[k]
        if used[arc]:
            continue
        agrees = (tail[arc] if on else head[arc]) == at
        if rightly and not agrees:
            continue
        to = head[arc] + tail[arc] - at
        ex, ey = flat[to, 0] - flat[at, 0], flat[to, 1] - flat[at, 1]
        turn = np.arctan2(dx * ey - dy * ex, dx * ex + dy * ey)
        turn = turn if on else -turn
        if turn > best or (agrees and not rightly):
            best, found, rightly = turn, arc, agrees
    return found
