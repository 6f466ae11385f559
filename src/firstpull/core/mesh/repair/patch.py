"""Smooth lids: flat lids refined to their surroundings and bent to follow them."""

from __future__ import annotations

from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.repair.refine import refined

MOST_FACES = 20_000
"""Faces that one lid may get: about a hand's breadth at 1 mm. A larger lid is cut coarser."""

ROUNDS = 3
"""Times the lid is relaxed, each on the shape the last round gave it."""

STEEPEST = np.cos(np.radians(100.0))
"""A lid that bends more than this between two faces, and more than the flat lid did, has
folded; it stays flat."""

COT_MOST = 1e3
"""Cotangents are held within this, for triangles that are nearly lines."""


def smooth_lids(
    mesh: Mesh,
    rings: list[Ints],
    points_mm: Floats,
    lids: list[Ints],
    joined: dict[int, set[int]],
) -> tuple[Floats, list[Ints], list[float]]:
    """Flat lids made smooth, all of them at once.

    Each lid is cut to the edge lengths around its ring. Its inner vertices then take the place
    where the bi-Laplacian of position vanishes, the ring and the faces around it held still:
    the thin plate that goes on from the surroundings without a crease. Where the ring meets
    another open border nothing is known beyond it, and the lid is free to turn there.

    Args:
        mesh: the mesh with the holes.
        rings: (N,) vertices around each hole.
        points_mm: the vertices of the mesh, then those the flat lids added.
        lids: (F, 3) faces of each flat lid.
        joined: for each ring vertex the others that an edge joins it to already; what the
            finer lids join is added.

    Returns:
        all vertices, the faces of each lid, and how far each rises over its flat lid.

    Source: Liepa, Filling holes in meshes, 2003; cotangent weights after Meyer, Desbrun,
    Schröder & Barr, Discrete differential-geometry operators, 2003.
    """
    points, fine = _cut_finer(mesh, rings, points_mm, lids, joined)
    free = [np.unique(lid[lid >= len(mesh.vertices_mm)]) for lid in fine]
    if not any(map(len, free)):
        return points, fine, [0.0] * len(fine)
    around = mesh.faces[_touching(mesh, rings)]
    bent = points
    for _ in range(ROUNDS):
        bent = _relaxed(bent, np.concatenate([around, *fine]), np.concatenate(free))
    heights = []
    for lid, moved in zip(fine, free, strict=True):
        if _folds(bent, lid) > max(_folds(points, lid), 1.0 - STEEPEST):
            bent[moved] = points[moved]
        heights.append(_height(points, bent, lid, moved))
    return bent, fine, heights


def _touching(mesh: Mesh, rings: list[Ints]) -> Flags:
    """Which faces of the mesh have a corner on a ring."""
    on_ring = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    on_ring[np.concatenate(rings)] = True
    return np.asarray(on_ring[mesh.faces].any(axis=1), dtype=np.bool_)


def _cut_finer(
    mesh: Mesh,
    rings: list[Ints],
    points: Floats,
    lids: list[Ints],
    joined: dict[int, set[int]],
) -> tuple[Floats, list[Ints]]:
    """The lids with vertices added inside."""
    around = mesh.faces[_touching(mesh, rings)]
    size = _edge_lengths(points, around)
    parts, fine, free = [points], [], len(points)
    for ring, lid in zip(rings, lids, strict=True):
        local, inverse = np.unique(lid, return_inverse=True)
        wanted = np.where(size[local] > 0, size[local], size[ring].mean())
        wanted = wanted * _coarser(points, lid, wanted)
        place = {vertex: i for i, vertex in enumerate(local.tolist())}
        barred = [(place[v], place[w]) for v in ring.tolist() for w in joined[v] if w in place]
        spots, faces = refined(
            points[local],
            inverse.reshape(-1, 3).astype(np.int32),
            size_mm=wanted,
            barred=np.array(barred, dtype=np.int32).reshape(-1, 2),
            most_faces=_most(points, lid, wanted),
        )
        new = np.arange(free, free + len(spots) - len(local), dtype=np.int32)
        lid = np.concatenate([local, new]).astype(np.int32)[faces]
        for v, w in lid[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).tolist():
            if v in joined and w in joined:
                joined[v].add(w)
                joined[w].add(v)
        parts.append(spots[len(local) :])
        fine.append(lid)
        free += len(new)
    return np.concatenate(parts), fine


def _edge_lengths(points: Floats, faces: Ints) -> Floats:
    """(V,) mean length of the sides at each vertex; 0 where there are none."""
    sides = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    length = np.linalg.norm(points[sides[:, 0]] - points[sides[:, 1]], axis=1)
    total = np.bincount(sides.ravel(), weights=np.repeat(length, 2), minlength=len(points))
    count = np.bincount(sides.ravel(), minlength=len(points))
    return total / np.maximum(count, 1)


def _expected(points: Floats, lid: Ints, wanted: Floats) -> float:
    """Even triangles of the wanted side that the lid has room for."""
    a, b, c = (points[lid[:, i]] for i in range(3))
    area = 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    mean = float(wanted.mean())
    return area / (0.433 * mean * mean) if mean > 0 else 0.0


def _coarser(points: Floats, lid: Ints, wanted: Floats) -> float:
    """By how much the wanted edge length is stretched to keep the lid under its most faces."""
    return float(max(1.0, np.sqrt(_expected(points, lid, wanted) / MOST_FACES)))


def _most(points: Floats, lid: Ints, wanted: Floats) -> int:
    """Faces to make room for: cut triangles come out up to a few times smaller than even."""
    return int(min(4.0 * _expected(points, lid, wanted) + 4 * len(lid) + 64, 3.0 * MOST_FACES))


def _relaxed(points: Floats, faces: Ints, free: Ints) -> Floats:
    """The points with the free ones where their bi-Laplacian vanishes."""
    from scipy.sparse import diags
    from scipy.sparse.linalg import splu

    used, local = np.unique(faces, return_inverse=True)
    local = local.reshape(-1, 3)
    stiff, area, whole = _laplacian(points[used], local)
    movable = np.isin(used, free)
    # the ring itself counts where its fan of faces is complete: beyond it the mesh is known
    counts = movable | (whole & np.isin(np.arange(len(used)), _beside(local, movable)))
    rows = stiff[movable][:, counts] @ diags(1.0 / area[counts])
    system = (rows @ stiff[counts]).tocsc()
    right = -system[:, ~movable] @ points[used[~movable]]
    inner = system[:, movable]
    solver = splu(inner, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    out = points.copy()
    out[used[movable]] = solver.solve(right)
    return out


def _beside(faces: Any, movable: Flags) -> Any:
    """Vertices that share a face with a movable one."""
    return np.unique(faces[movable[faces].any(axis=1)])


def _laplacian(points: Floats, faces: Any) -> tuple[Any, Floats, Flags]:
    """The cotangent matrix, an area for each vertex, and whether its faces go all around it."""
    from scipy.sparse import coo_matrix, diags

    n = len(points)
    rows: list[Any] = []
    columns: list[Any] = []
    weights: list[Any] = []
    for i in range(3):
        a, b, c = (faces[:, (i + k) % 3] for k in range(3))
        u, v = points[a] - points[c], points[b] - points[c]
        doubled = np.linalg.norm(np.cross(u, v), axis=1)
        least = np.finfo(np.float64).tiny
        cot = (u * v).sum(axis=1) / np.maximum(doubled, least)
        rows.append(a)
        columns.append(b)
        weights.append(0.5 * np.clip(cot, -COT_MOST, COT_MOST))
    row, column = np.concatenate(rows), np.concatenate(columns)
    link = coo_matrix((np.concatenate(weights), (row, column)), shape=(n, n)).tocsr()
    link = link + link.T
    stiff = (diags(np.asarray(link.sum(axis=1)).ravel()) - link).tocsr()
    corners = points[faces]
    sizes = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    area = np.bincount(faces.ravel(), weights=np.repeat(sizes / 6.0, 3), minlength=n)
    area = np.maximum(area, 1e-12 * area.max())
    ways = coo_matrix((np.ones(len(row)), (row, column)), shape=(n, n)).tocsr()
    alone = abs(ways - ways.T)
    return stiff, area, np.asarray(alone.sum(axis=1)).ravel() == 0


def _folds(points: Floats, lid: Ints) -> float:
    """1 - cosine of the worst bend between two faces of a lid."""
    a, b, c = (points[lid[:, i]] for i in range(3))
    vectors = np.cross(b - a, c - a)
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    unit = vectors / np.where(length > 0, length, 1.0)
    sides = np.sort(lid[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    same = (sides[order][1:] == sides[order][:-1]).all(axis=1)
    one, two = order[:-1][same] // 3, order[1:][same] // 3
    if not len(one):
        return 0.0
    return float(1.0 - (unit[one] * unit[two]).sum(axis=1).min())


def _height(flat: Floats, bent: Floats, lid: Ints, moved: Ints) -> float:
    """How far the moved vertices rise along the flat lid's normals, at most."""
    if not len(moved):
        return 0.0
    a, b, c = (flat[lid[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    number = np.searchsorted(moved, lid)
    number = np.minimum(number, len(moved) - 1)
    mine = moved[number] == lid
    total = np.zeros((len(moved), 3))
    for i in range(3):
        np.add.at(total, number[mine[:, i], i], normal[mine[:, i]])
    length = np.linalg.norm(total, axis=1, keepdims=True)
    unit = total / np.where(length > 0, length, 1.0)
    return float(np.abs(((bent[moved] - flat[moved]) * unit).sum(axis=1)).max())
