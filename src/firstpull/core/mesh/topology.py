"""How faces hang together: edges, open loops, connected parts.

Side ``3 f + i`` of a mesh runs from corner i of face f to its next corner.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Flags, Ints
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh

OPEN, CROWDED = -1, -2


@dataclass(frozen=True)
class EdgeTable:
    """Every edge of a mesh with the faces along it.

    Args:
        ends: (E, 2) its vertices, the lower first.
        sides: (3F,) all sides, grouped by edge.
        start: (E + 1,) where each edge's sides begin in ``sides``.
        forward: (E,) how many of its sides run from the lower vertex to the higher.
    """

    ends: Ints
    sides: Ints
    start: Ints
    forward: Ints

    @property
    def count(self) -> Ints:
        """(E,) how many faces each edge has."""
        return np.diff(self.start)

    @property
    def twin(self) -> Ints:
        """(3F,) the other side of the same edge; OPEN where alone, CROWDED where over two."""
        twin = np.full(len(self.sides), CROWDED, dtype=np.int32)
        count = self.count
        alone = self.sides[self.start[:-1][count == 1]]
        one = self.sides[self.start[:-1][count == 2]]
        other = self.sides[self.start[:-1][count == 2] + 1]
        twin[alone] = OPEN
        twin[one] = other
        twin[other] = one
        return twin


def edge_table(mesh: Mesh) -> EdgeTable:
    """The edges of any mesh.

    >>> table = edge_table(Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]],
    ...                         [[0, 1, 2], [2, 1, 3]]))
    >>> sorted(table.count.tolist())
    [1, 1, 1, 1, 2]
    """
    corner = np.ascontiguousarray(mesh.faces.ravel())
    sides, low, high, runs = _sorted_sides(corner, len(mesh.vertices_mm))
    new = np.ones(len(sides), dtype=np.bool_)
    new[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    start = np.flatnonzero(new)
    return EdgeTable(
        ends=np.stack([low[start], high[start]], axis=1),
        sides=sides,
        start=np.append(start, len(sides)).astype(np.int32),
        forward=np.add.reduceat(runs, start) if len(start) else runs,
    )


@njit(cache=True)
def _sorted_sides(corner: Any, vertices: int) -> Any:
    """Sides by lower vertex, then higher, then number: counted into buckets, which stay small."""
    n = len(corner)
    begins = np.zeros(vertices + 1, dtype=np.int32)
    for side in range(n):
        begins[min(corner[side], _end(corner, side)) + 1] += 1
    for v in range(vertices):
        begins[v + 1] += begins[v]
    at = begins[:-1].copy()
    sides = np.empty(n, dtype=np.int32)
    low = np.empty(n, dtype=np.int32)
    high = np.empty(n, dtype=np.int32)
    for side in range(n):
        a, b = corner[side], _end(corner, side)
        spot = at[min(a, b)]
        at[min(a, b)] += 1
        sides[spot], low[spot], high[spot] = side, min(a, b), max(a, b)
    for v in range(vertices):
        first, last = begins[v], begins[v + 1]
        if last - first > 48:  # the hub of a fan
            order = first + np.argsort(high[first:last], kind="mergesort")
            sides[first:last] = sides[order]
            high[first:last] = high[order]
            continue
        for i in range(first + 1, last):
            side, value = sides[i], high[i]
            j = i
            while j > first and high[j - 1] > value:
                sides[j], high[j] = sides[j - 1], high[j - 1]
                j -= 1
            sides[j], high[j] = side, value
    runs = np.empty(n, dtype=np.int32)
    for i in range(n):
        runs[i] = corner[sides[i]] == low[i]
    return sides, low, high, runs


def is_closed(mesh: Mesh, *, edges: EdgeTable | None = None) -> bool:
    """Whether each edge is shared by exactly two faces that run along it in opposite ways."""
    if not len(mesh.faces):
        return False
    table = edges or edge_table(mesh)
    return bool((table.count == 2).all() and (table.forward == 1).all())


def components(mesh: Mesh, *, edges: EdgeTable | None = None) -> Ints:
    """(F,) number of the part each face belongs to, parts being joined along edges.

    Parts are numbered in the order of their first face.
    """
    n = len(mesh.faces)
    if not n:
        return np.zeros(0, dtype=np.int32)
    table = edges or edge_table(mesh)
    face = table.sides // 3
    same = np.ones(len(face) - 1, dtype=np.bool_)
    same[table.start[1:-1] - 1] = False
    a, b = face[:-1][same], face[1:][same]
    label = grouped(a, b, n)
    _, first, place = np.unique(label, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int32)
    rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
    return rank[place]


def closed_parts(table: EdgeTable, label: Ints) -> Flags:
    """(P,) whether all edges of each part have exactly two faces."""
    wrong = np.repeat(table.count != 2, table.count)
    closed = np.ones(int(label.max()) + 1, dtype=np.bool_)
    closed[label[table.sides[wrong] // 3]] = False
    return closed


def agreeing_parts(table: EdgeTable, label: Ints) -> Flags:
    """(P,) whether the faces of each part all look the same way."""
    wrong = np.repeat((table.count == 2) & (table.forward != 1), table.count)
    agrees = np.ones(int(label.max()) + 1, dtype=np.bool_)
    agrees[label[table.sides[wrong] // 3]] = False
    return agrees


def open_loops(mesh: Mesh, *, edges: EdgeTable | None = None) -> list[Ints]:
    """The vertex cycles around the openings, each in the direction of the faces along it.

    Where parts touch in a point the loop stays with its own part. Where an edge of more than
    two faces interrupts a loop, the piece up to there is returned.

    >>> loops = open_loops(Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]]))
    >>> [loop.tolist() for loop in loops]
    [[0, 1, 2]]
    """
    table = edges or edge_table(mesh)
    twin = table.twin
    order, starts = _trace(np.ascontiguousarray(mesh.faces.ravel()), twin)
    return [order[a:b] for a, b in pairwise(starts)]


def pinched_vertices(mesh: Mesh, *, edges: EdgeTable | None = None) -> Ints:
    """The vertices where fans of faces meet that share no edge there, as two tips do.

    >>> tips = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]],
    ...             [[0, 1, 2], [0, 3, 4]])
    >>> pinched_vertices(tips).tolist()
    [0]
    """
    table = edges or edge_table(mesh)
    corner = np.ascontiguousarray(mesh.faces.ravel())
    fans = _fans(corner, table.twin, len(mesh.vertices_mm))
    return np.flatnonzero(fans > 1).astype(np.int32)


@njit(cache=True)
def _fans(corner: Any, twin: Any, vertices: int) -> Any:
    """How many fans each vertex has, by walking around it from corner to corner."""
    fans = np.zeros(vertices, dtype=np.int32)
    seen = np.zeros(len(corner), dtype=np.bool_)
    for first in range(len(corner)):
        if seen[first]:
            continue
        seen[first] = True
        vertex = corner[first]
        fans[vertex] += 1
        for side in (first, _shift(first, 2)):
            while True:
                other = twin[side]
                if other < 0:
                    break
                starts_here = corner[other] == vertex
                here = other if starts_here else _shift(other, 1)
                if seen[here]:
                    break
                seen[here] = True
                side = _shift(here, 2) if starts_here else here
    return fans


@njit(cache=True)
def _trace(corner: Any, twin: Any) -> Any:
    """Walks along open sides, turning around each vertex from face to face to find the next."""
    sides = len(corner)
    seen = np.zeros(sides, dtype=np.bool_)
    order = np.empty(np.sum(twin == -1) * 2 + 1, dtype=np.int32)
    starts = [0]
    filled = 0
    for first in range(sides):
        if twin[first] != -1 or seen[first]:
            continue
        side = first
        at = _end(corner, side)
        order[filled] = corner[side]
        filled += 1
        while True:
            seen[side] = True
            turn = side
            steps = 0
            while True:
                ends_here = _end(corner, turn) == at
                turn = _shift(turn, 1) if ends_here else _shift(turn, 2)
                steps += 1
                if twin[turn] < 0 or steps > sides:
                    break
                turn = twin[turn]
            if turn == first:
                break
            order[filled] = at
            filled += 1
            if twin[turn] != -1 or seen[turn]:
                break
            side = turn
            at = _end(corner, side) if corner[side] == at else corner[side]
        starts.append(filled)
    return order[:filled].copy(), np.array(starts)


@njit(cache=True, inline="always")
def _shift(side, by):  # type: ignore[no-untyped-def]
    return side - side % 3 + (side % 3 + by) % 3


@njit(cache=True, inline="always")
def _end(corner, side):  # type: ignore[no-untyped-def]
    return corner[_shift(side, 1)]
