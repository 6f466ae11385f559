"""Borders that should be one edge and are not: near vertices, T-joints, misaligned edges."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import edge_table

TOL_MM = 0.05
"""Gap up to which two borders are taken for one edge: exports misalign by 0.01 to 0.1 mm, and
half a tenth is less than any printer or brush shows. Common practice, no source."""

TOL_SHARE = 5e-4
"""And never more than this share of the diagonal: 0.05 mm on a part of 100 mm, so that a part
read in metres is not zipped up."""

ON_SHARE = 1e-6
"""Share of the diagonal within which a vertex lies on an edge."""

GAP_TIMES_EDGE = 0.4
"""A gap wider than this times the shortest border edge beside it is a hole, not a misfit."""

AGAINST = -0.5
"""Cosine between two borders' ways: they run against each other within 60 degrees."""

BACK_TO_BACK = -0.9
"""Cosine between the faces along two borders under which they are the two skins of a wall."""


@dataclass(frozen=True)
class Misfits:
    """Where borders run alongside each other without being joined.

    Args:
        pairs: (P, 2) border vertices near each other that no edge joins, the nearest first.
        pair_gap_mm: (P,) their distance.
        vertex: (T,) border vertices beside the inside of a foreign border edge.
        face, corner: (T,) that edge: it starts at this corner of this face.
        along: (T,) where the vertex stands along the edge, 0 to 1.
        gap_mm: (T,) its distance from the edge.
        on_edge: (T,) whether it lies on the edge but for rounding: a T-joint.
        pair_places_mm, places_mm: (P, 3) and (T, 3) where they are.
    """

    pairs: Ints
    pair_gap_mm: Floats
    vertex: Ints
    face: Ints
    corner: Ints
    along: Floats
    gap_mm: Floats
    on_edge: Flags
    pair_places_mm: Floats
    places_mm: Floats

    @property
    def near_vertices(self) -> int:
        """How many pairs of vertices are nearly one."""
        return len(self.pairs)

    @property
    def t_joints(self) -> int:
        """How many vertices lie on a foreign edge."""
        return int(self.on_edge.sum())

    @property
    def misaligned(self) -> int:
        """How many vertices lie beside a foreign edge."""
        return int((~self.on_edge).sum())

    @property
    def largest_gap_mm(self) -> float:
        return float(np.concatenate([[0.0], self.pair_gap_mm, self.gap_mm]).max())


def default_tol_mm(mesh: Mesh) -> float:
    """The gap that is bridged unless told otherwise.

    >>> default_tol_mm(Mesh([[0, 0, 0], [30, 0, 0], [0, 40, 0]], [[0, 1, 2]]))
    0.025
    """
    return min(TOL_MM, TOL_SHARE * _diagonal(mesh))


def _diagonal(mesh: Mesh) -> float:
    low, high = mesh.bounds_mm
    return float(np.linalg.norm(high - low))


def find_misfits(mesh: Mesh, *, tol_mm: float | None = None) -> Misfits:
    """Borders within ``tol_mm`` of each other that are not joined.

    Only borders that run against each other count, as those of two pieces of one skin do:
    faces must agree first. The two rims of a thin wall lie back to back and do not count,
    nor does a hole, whose gap is wide for its edges.

    Args:
        mesh: any mesh, equal vertices merged.
        tol_mm: the widest gap; None takes 0.05 mm, at most 5e-4 of the diagonal.

    >>> left = [[0, 0, 0], [9, 0, 0], [0, 9, 0]]
    >>> right = [[9, 0.01, 0], [9, 9, 0], [0, 9.01, 0]]
    >>> find_misfits(Mesh(left + right, [[0, 1, 2], [3, 4, 5]]), tol_mm=0.05).near_vertices
    2
    """
    tol = default_tol_mm(mesh) if tol_mm is None else tol_mm
    chosen, faces, is_open = near_border(mesh)
    found = search(mesh.vertices_mm, faces, is_open, tol_mm=tol, on_mm=ON_SHARE * _diagonal(mesh))
    return replace(found, face=chosen[found.face].astype(np.int32))


def linked_parts(mesh: Mesh, label: Ints, misfits: Misfits) -> Ints:
    """(F,) number of the part of each face, parts whose borders nearly meet counting as one.

    Args:
        label: (F,) the parts as edges join them.
        misfits: of the mesh.
    """
    if not len(misfits.pairs) and not len(misfits.vertex):
        return label
    at = np.zeros(len(mesh.vertices_mm), dtype=np.int32)
    at[mesh.faces.ravel()] = np.repeat(label, 3)
    a = np.concatenate([at[misfits.pairs[:, 0]], at[misfits.vertex]])
    b = np.concatenate([at[misfits.pairs[:, 1]], label[misfits.face]])
    whole: Ints = grouped(a, b, int(label.max()) + 1)[label]
    return whole


def near_border(mesh: Mesh) -> tuple[Any, Any, Any]:
    """The faces with a corner on a border: their numbers, their corners, which sides are open."""
    table = edge_table(mesh)
    alone = table.sides[table.start[:-1][table.count == 1]]
    border = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    border[table.ends[table.count == 1]] = True
    chosen = np.flatnonzero(border[mesh.faces].any(axis=1))
    is_open = np.zeros(mesh.faces.size, dtype=np.bool_)
    is_open[alone] = True
    return chosen, mesh.faces[chosen], is_open.reshape(-1, 3)[chosen]


def search(points: Floats, faces: Any, is_open: Any, *, tol_mm: float, on_mm: float) -> Misfits:
    """Misfits among the open sides of some faces; ``face`` counts in those faces."""
    from scipy.spatial import cKDTree

    face, corner = np.nonzero(is_open)
    start, end = faces[face, corner], faces[face, (corner + 1) % 3]
    border, places = np.unique(np.concatenate([start, end]), return_inverse=True)
    if not len(border):
        return _nothing()
    sides = _Sides.of(points, faces[face], start, end, places.reshape(2, -1), len(border))
    tree = cKDTree(points[border])
    close = tree.query_pairs(tol_mm, output_type="ndarray").astype(np.int64).reshape(-1, 2)
    close = close[~_joined(faces, border[close], len(points))]
    fits = sides.pairs_alongside(close, points[border])
    close = close[fits]
    gap = np.linalg.norm(points[border[close[:, 0]]] - points[border[close[:, 1]]], axis=1)
    order = np.lexsort((close[:, 1], close[:, 0], gap))
    close, gap = close[order], gap[order]

    middle, half = 0.5 * (points[start] + points[end]), 0.5 * sides.length
    lists = tree.query_ball_point(middle, half + tol_mm, return_sorted=True)
    count = np.array([len(found) for found in lists])
    side = np.repeat(np.arange(len(face)), count)
    beside = np.concatenate([np.array(found, dtype=np.int64) for found in lists])
    taken = np.zeros(len(border), dtype=np.bool_)
    taken[close] = True
    keep, along, away = sides.beside(side, beside, taken, points[border], border, tol_mm)
    side, beside, along, away = side[keep], beside[keep], along[keep], away[keep]
    nearest = _first_of_each(beside, away)
    side, beside, along, away = side[nearest], beside[nearest], along[nearest], away[nearest]
    return Misfits(
        pairs=border[close].astype(np.int32),
        pair_gap_mm=gap,
        vertex=border[beside].astype(np.int32),
        face=face[side].astype(np.int32),
        corner=corner[side].astype(np.int32),
        along=along,
        gap_mm=away,
        on_edge=away <= on_mm,
        pair_places_mm=points[border[close]].mean(axis=1),
        places_mm=points[border[beside]],
    )


def _nothing() -> Misfits:
    ints, floats = np.zeros(0, dtype=np.int32), np.zeros(0)
    none, places = np.zeros(0, dtype=np.bool_), np.zeros((0, 3))
    pairs = ints.reshape(0, 2)
    return Misfits(pairs, floats, ints, ints, ints, floats, floats, none, places, places)


def _first_of_each(key: Any, by: Floats) -> Any:
    """Of the entries with the same key, the one that is least by a measure."""
    order = np.lexsort((by, key))
    first = np.ones(len(order), dtype=np.bool_)
    first[1:] = key[order][1:] != key[order][:-1]
    return order[first]


def _joined(faces: Any, pairs: Any, vertices: int) -> Any:
    """Which pairs of vertices an edge joins."""
    sides = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64), axis=1)
    wanted = np.sort(pairs, axis=1)
    return np.isin(wanted[:, 0] * vertices + wanted[:, 1], sides[:, 0] * vertices + sides[:, 1])


@dataclass(frozen=True)
class _Sides:
    """Open sides with their ways, faces and lengths, and which of them touch each vertex.

    ``first[v]:first[v + 1]`` are the places in ``touching`` of border vertex v's sides.
    """

    start: Floats
    way: Floats
    normal: Floats
    length: Floats
    corners: Ints
    first: Ints
    touching: Ints

    @staticmethod
    def of(points: Floats, corners: Any, start: Any, end: Any, places: Any, border: int) -> _Sides:
        span = points[end] - points[start]
        length = np.linalg.norm(span, axis=1)
        a, b, c = (points[corners[:, i]] for i in range(3))
        normal = np.cross(b - a, c - a)
        size = np.linalg.norm(normal, axis=1)
        owner = places.ravel()
        order = np.argsort(owner, kind="stable")
        return _Sides(
            start=points[start],
            way=span / np.where(length > 0, length, 1.0)[:, None],
            normal=normal / np.where(size > 0, size, 1.0)[:, None],
            length=length,
            corners=np.ascontiguousarray(corners),
            first=np.searchsorted(owner[order], np.arange(border + 1)).astype(np.int32),
            touching=(order % len(start)).astype(np.int32),
        )

    def pairs_alongside(self, pairs: Any, spots: Floats) -> Any:
        return _pairs_alongside(
            pairs, spots, self.way, self.normal, self.length, self.first, self.touching
        )

    def beside(
        self, side: Any, vertex: Any, taken: Any, spots: Floats, border: Any, tol_mm: float
    ) -> Any:
        return _beside(
            side,
            vertex,
            taken,
            spots,
            border,
            tol_mm,
            self.start,
            self.way,
            self.normal,
            self.length,
            self.corners,
            self.first,
            self.touching,
        )


@njit(cache=True)
def _pairs_alongside(
    pairs: Any, spots: Any, way: Any, normal: Any, length: Any, first: Any, touching: Any
) -> Any:
    """Whether the borders at two vertices run against each other, near for their edges."""
    fits = np.zeros(len(pairs), dtype=np.bool_)
    for k in range(len(pairs)):
        v, u = pairs[k]
        gap = np.sqrt(((spots[v] - spots[u]) ** 2).sum())
        shortest = np.inf
        for i in range(first[v], first[v + 1]):
            shortest = min(shortest, length[touching[i]])
        for i in range(first[u], first[u + 1]):
            shortest = min(shortest, length[touching[i]])
        if gap > GAP_TIMES_EDGE * shortest:
            continue
        for i in range(first[v], first[v + 1]):
            for j in range(first[u], first[u + 1]):
                if _against(way, normal, touching[i], touching[j]):
                    fits[k] = True
    return fits


@njit(cache=True)
def _beside(
    side: Any,
    vertex: Any,
    taken: Any,
    spots: Any,
    border: Any,
    tol: float,
    start: Any,
    way: Any,
    normal: Any,
    length: Any,
    corners: Any,
    first: Any,
    touching: Any,
) -> Any:
    """Whether a vertex stands beside the inside of a side, where along it and how far away."""
    n = len(side)
    keep = np.zeros(n, dtype=np.bool_)
    along = np.zeros(n)
    away = np.zeros(n)
    for k in range(n):
        s, v = side[k], vertex[k]
        if taken[v]:
            continue
        if corners[s, 0] == border[v] or corners[s, 1] == border[v] or corners[s, 2] == border[v]:
            continue
        offset = spots[v] - start[s]
        reach = (offset * way[s]).sum()
        if reach <= tol or reach >= length[s] - tol:
            continue
        gap = np.sqrt(((offset - reach * way[s]) ** 2).sum())
        if gap > tol:
            continue
        shortest = length[s]
        for i in range(first[v], first[v + 1]):
            shortest = min(shortest, length[touching[i]])
        if gap > GAP_TIMES_EDGE * shortest:
            continue
        for i in range(first[v], first[v + 1]):
            if _against(way, normal, touching[i], s):
                keep[k] = True
                along[k] = reach / length[s]
                away[k] = gap
    return keep, along, away


@njit(cache=True, inline="always")
def _against(way, normal, s, t):  # type: ignore[no-untyped-def]
    return (
        way[s, 0] * way[t, 0] + way[s, 1] * way[t, 1] + way[s, 2] * way[t, 2] < AGAINST
        and normal[s, 0] * normal[t, 0] + normal[s, 1] * normal[t, 1] + normal[s, 2] * normal[t, 2]
        > BACK_TO_BACK
    )
