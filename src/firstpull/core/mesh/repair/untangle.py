"""Edges of more than two faces: inner walls go, bodies that only touch come apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import EdgeTable, edge_table


def without_inner_walls(mesh: Mesh) -> Mesh:
    """The mesh without sheets that hang on an edge which two other faces share already.

    The surface is cut along its crowded edges into sheets; the smallest sheet whose going
    leaves no edge with a single face goes first, until none is left. A membrane across a body
    is smaller than the walls on both sides of it, so it is what goes.
    """
    while True:
        table = edge_table(mesh)
        if not (table.count % 2 == 1)[table.count > 2].any():
            return mesh
        sheet = _sheets(mesh, table)
        chosen = _removable(mesh, table, sheet)
        if chosen is None:
            return mesh
        mesh = mesh.with_faces(sheet != chosen)


def _sheets(mesh: Mesh, table: EdgeTable) -> Ints:
    """(F,) number of the sheet each face belongs to, sheets being joined at two-faced edges."""
    two = table.start[:-1][table.count == 2]
    a, b = table.sides[two] // 3, table.sides[two + 1] // 3
    return grouped(a, b, len(mesh.faces))


def _removable(mesh: Mesh, table: EdgeTable, sheet: Ints) -> int | None:
    """The smallest sheet that can go and mends a crowded edge by going."""
    crowded = np.flatnonzero(table.count > 2)
    area = np.bincount(sheet, weights=mesh.face_areas_mm2)
    stays: set[int] = set()
    mends: set[int] = set()
    for edge in crowded:
        around = sheet[table.sides[table.start[edge] : table.start[edge + 1]] // 3]
        names, uses = np.unique(around, return_counts=True)
        for name, use in zip(names.tolist(), uses.tolist(), strict=True):
            left = len(around) - use
            (stays if left == 1 else mends).add(name)
            if left == 0:
                stays.add(name)
    able = sorted(mends - stays, key=lambda name: area[name])
    return able[0] if able else None


def unzipped(mesh: Mesh) -> Mesh:
    """The mesh with each crowded edge split into pairs of faces, and touching tips parted.

    Around an edge of 2 k faces that look alternately along it, the faces that bound the same
    material are kept together: bodies that only touch become separate. Vertices where two
    fans of faces meet in a point are doubled. Positions stay; an edge of an odd number of
    faces stays as it is.
    """
    table = edge_table(mesh)
    two = table.start[:-1][table.count == 2]
    pairs = [np.stack([table.sides[two], table.sides[two + 1]], axis=1)]
    for edge in np.flatnonzero(table.count > 2):
        pairs.append(_pairs_at(mesh, table, int(edge)))
    one, other = np.concatenate(pairs).astype(np.int64).T
    begin, corner = mesh.faces.ravel(), np.arange(3 * len(mesh.faces))
    after = corner - corner % 3 + (corner + 1) % 3
    same_way = begin[one] == begin[other]
    at_begin = np.where(same_way, other, after[other])
    at_end = np.where(same_way, after[other], other)
    a = np.concatenate([one, after[one]])
    b = np.concatenate([at_begin, at_end])
    n = len(corner)
    fan = grouped(a, b, n)
    # vertices that stay whole keep their number; further fans get new ones
    first = np.full(fan.max() + 1, n)
    np.minimum.at(first, fan, corner)
    owner = begin[first]
    lead = np.full(len(mesh.vertices_mm), n)
    np.minimum.at(lead, owner, first)
    extra = first != lead[owner]
    if not extra.any():
        return _with_midpoints(mesh)
    number = owner.astype(np.int64)
    number[extra] = len(mesh.vertices_mm) + np.arange(int(extra.sum()))
    vertices = np.concatenate([mesh.vertices_mm, mesh.vertices_mm[owner[extra]]])
    return _with_midpoints(Mesh(vertices, number[fan].reshape(-1, 3)))


def _with_midpoints(mesh: Mesh) -> Mesh:
    """Crowded edges whose both ends are one fan, as in a body that touches itself: each pair
    of faces gets a middle vertex of its own, so that the pairs no longer share an edge."""
    while True:
        table = edge_table(mesh)
        crowded = np.flatnonzero(table.count > 2)
        vertices, faces = [mesh.vertices_mm], mesh.faces.copy()
        added: list[NDArray[np.int32]] = []
        busy: set[int] = set()
        free = len(mesh.vertices_mm)
        for edge in crowded:
            pairs = _pairs_at(mesh, table, int(edge))
            if not len(pairs) or busy & set((pairs // 3).ravel().tolist()):
                continue
            busy |= set((pairs // 3).ravel().tolist())
            for pair in pairs:
                for side in pair:
                    f, i = int(side) // 3, int(side) % 3
                    half = faces[f].copy()
                    half[i] = free
                    faces[f, (i + 1) % 3] = free
                    added.append(half)
                vertices.append(mesh.vertices_mm[table.ends[edge]].mean(axis=0)[None])
                free += 1
        if not added:
            return mesh
        mesh = Mesh(np.concatenate(vertices), np.concatenate([faces, np.stack(added)]))


def _pairs_at(mesh: Mesh, table: EdgeTable, edge: int) -> NDArray[np.int32]:
    """(K, 2) the sides around one crowded edge that belong together."""
    sides = table.sides[table.start[edge] : table.start[edge + 1]]
    low, high = table.ends[edge]
    angle = _angles(mesh, sides, int(low), int(high))
    order = np.argsort(angle, kind="stable")
    sides = sides[order]
    forward = mesh.faces.ravel()[sides] == low
    if len(sides) % 2 or (forward == np.roll(forward, 1)).any():
        return sides[:0].repeat(2).reshape(-1, 2)
    # the normal of a forward side points to growing angles: its material lies before it
    if forward[0]:
        sides = np.roll(sides, -1)
    return sides.reshape(-1, 2)


def _angles(mesh: Mesh, sides: Ints, low: int, high: int) -> Floats:
    """Angle of each face around the edge, growing to the left as seen from low to high."""
    tip = mesh.vertices_mm[mesh.faces.ravel()[sides - sides % 3 + (sides % 3 + 2) % 3]]
    start = mesh.vertices_mm[low]
    along = mesh.vertices_mm[high] - start
    along = along / max(float(np.linalg.norm(along)), 1e-300)
    out = tip - start
    out = out - np.outer(out @ along, along)
    x = out[0] / max(float(np.linalg.norm(out[0])), 1e-300)
    y = np.cross(along, x)
    return np.asarray(np.arctan2(out @ y, out @ x) % (2.0 * np.pi), dtype=np.float64)
