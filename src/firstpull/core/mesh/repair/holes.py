"""Lids on holes, flat or following the surface."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.repair.lid import flat_lid
from firstpull.core.mesh.repair.patch import smooth_lids
from firstpull.core.mesh.topology import edge_table


@dataclass(frozen=True)
class Lid:
    """What closed one ring of open edges.

    Args:
        ring: (N,) the vertices around it.
        first_face: number of its first face in the closed mesh; its faces follow each other.
        faces: how many they are.
        area_mm2: their area.
        height_mm: how far the lid rises over the flat lid at most, along the flat lid's
            normals; 0 for a flat lid.
    """

    ring: Ints
    first_face: int
    faces: int
    area_mm2: float
    height_mm: float


@dataclass(frozen=True)
class Closed:
    """A mesh with lids.

    Args:
        mesh: the faces given, in their order, then those of the lids; vertices likewise.
        lids: one for each ring closed; a loop that touches itself in a vertex has several.
        left: numbers of the loops that are no ring of open edges and were left alone.
    """

    mesh: Mesh
    lids: tuple[Lid, ...]
    left: tuple[int, ...] = ()


def close_loops(mesh: Mesh, loops: list[Ints], *, how: Literal["flat", "smooth"] = "flat") -> Mesh:
    """The mesh with a lid on each given loop: ``closed_loops`` without its report."""
    return closed_loops(mesh, loops, how=how).mesh


def closed_loops(
    mesh: Mesh, loops: list[Ints], *, how: Literal["flat", "smooth"] = "flat"
) -> Closed:
    """Lids on the given loops, and what they are like.

    A flat lid joins the vertices of the loop by the triangles that bend and measure least. A
    smooth lid starts from it, is refined to the edge lengths around, and follows the
    curvature of the surface around it. No vertex given moves, no face given changes, and no
    edge gets more than two faces.

    Args:
        mesh: any mesh.
        loops: as ``open_loops`` finds them; a loop that passes a vertex twice gets a lid on
            each ring of it.
        how: "flat" or "smooth".

    >>> from firstpull.core.mesh.topology import is_closed, open_loops
    >>> tent = Mesh([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 1]],
    ...             [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    >>> done = closed_loops(tent, open_loops(tent))
    >>> is_closed(done.mesh), done.lids[0].area_mm2
    (True, 1.0)
    """
    rings, left = _rings(mesh, loops)
    if not rings:
        return Closed(mesh, (), left)
    joined = _neighbours(mesh, [ring for ring, _ in rings])
    points, lids = _flat_lids(mesh, rings, joined)
    heights = [0.0] * len(lids)
    if how == "smooth":
        points, lids, heights = smooth_lids(mesh, [ring for ring, _ in rings], points, lids, joined)
    begins = np.cumsum([len(mesh.faces), *map(len, lids)])
    closed = Mesh(points, np.concatenate([mesh.faces, *lids]))
    areas = closed.face_areas_mm2
    return Closed(
        closed,
        tuple(
            Lid(ring, int(a), len(lid), float(areas[a : a + len(lid)].sum()), height)
            for (ring, _), lid, a, height in zip(rings, lids, begins, heights, strict=False)
        ),
        left,
    )


def _rings(mesh: Mesh, loops: list[Ints]) -> tuple[list[tuple[Ints, Floats]], tuple[int, ...]]:
    """Rings that pass no vertex twice, each with the far corner of the face along each side."""
    table = edge_table(mesh)
    corner = mesh.faces.ravel()
    alone = table.sides[table.start[:-1][table.count == 1]]
    far = corner[alone - alone % 3 + (alone % 3 + 2) % 3]
    ends = table.ends[table.count == 1].tolist()
    opposite = {(a, b): c for (a, b), c in zip(ends, far.tolist(), strict=True)}
    rings, left = [], []
    for number, loop in enumerate(loops):
        for ring in _simple(loop.tolist()):
            sides = zip(ring, ring[1:] + ring[:1], strict=True)
            apex = [opposite.get((min(side), max(side)), -1) for side in sides]
            if len(ring) < 3 or -1 in apex:
                left.append(number)
            else:
                rings.append((np.array(ring, dtype=np.int32), mesh.vertices_mm[apex]))
    return rings, tuple(dict.fromkeys(left))


def _simple(loop: list[int]) -> list[list[int]]:
    """A loop cut at the vertices it passes more than once.

    >>> _simple([1, 2, 3, 1, 4, 5])
    [[1, 2, 3], [1, 4, 5]]
    """
    rings: list[list[int]] = []
    path: list[int] = []
    place: dict[int, int] = {}
    for vertex in loop:
        if vertex in place:
            first = place[vertex]
            rings.append(path[first:])
            for gone in path[first:]:
                del place[gone]
            del path[first:]
        place[vertex] = len(path)
        path.append(vertex)
    return [*rings, path]


def _flat_lids(
    mesh: Mesh, rings: list[tuple[Ints, Floats]], joined: dict[int, set[int]]
) -> tuple[Floats, list[Ints]]:
    """All vertices, and the faces of each ring's lid, in them; ``joined`` learns its edges."""
    points, lids, free = [mesh.vertices_mm], [], len(mesh.vertices_mm)
    for ring, apex in rings:
        place = {vertex: i for i, vertex in enumerate(ring.tolist())}
        barred = [
            (i, place[other])
            for vertex, i in place.items()
            for other in joined[vertex]
            if other in place
        ]
        lid = flat_lid(
            mesh.vertices_mm[ring],
            apex_mm=apex,
            barred=np.array(barred, dtype=np.int32).reshape(-1, 2),
        )
        if len(lid):
            lid = ring[lid]
        else:  # every way would use an edge twice: a fan around a new middle vertex does not
            middle = np.full(len(ring), free, dtype=np.int32)
            lid = np.stack([np.roll(ring, -1), ring, middle], axis=1)
            points.append(mesh.vertices_mm[ring].mean(axis=0)[None])
            free += 1
        for a, b in lid[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).tolist():
            joined.setdefault(a, set()).add(b)
            joined.setdefault(b, set()).add(a)
        lids.append(lid)
    return np.concatenate(points), lids


def _neighbours(mesh: Mesh, rings: list[Ints]) -> dict[int, set[int]]:
    """For each ring vertex, the ring vertices that an edge of the mesh joins it to."""
    on_ring = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    on_ring[np.concatenate(rings)] = True
    sides = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    known: dict[int, set[int]] = {int(v): set() for v in np.flatnonzero(on_ring)}
    for a, b in sides[on_ring[sides].all(axis=1)].tolist():
        known[a].add(b)
        known[b].add(a)
    return known
