"""Stitching: borders that run alongside each other become one edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Floats
from firstpull.core.mesh.check.misfits import (
    ON_SHARE,
    Misfits,
    default_tol_mm,
    near_border,
    search,
)
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.weld import without_unused

ROUNDS = 40
"""Rounds of snapping and splitting at most; a face is split along one side in each."""

TRIES = 60
"""Times a round is tried again without the vertices whose move did harm or joined nothing."""


@dataclass(frozen=True)
class Stitched:
    """A mesh after stitching.

    Args:
        mesh: the mesh; the same object where there was nothing to stitch.
        vertices_merged: vertices that were snapped onto another.
        edges_split: vertices of one border that were taken into an edge of the other.
        edges_joined: open edges that found their other face, two for each edge made.
        largest_gap_mm: the widest gap bridged; no surface moved further.
        largest_move_mm: how far a vertex moved at most.
    """

    mesh: Mesh
    vertices_merged: int = 0
    edges_split: int = 0
    edges_joined: int = 0
    largest_gap_mm: float = 0.0
    largest_move_mm: float = 0.0


@dataclass
class _Bench:
    """The faces near borders while they are stitched.

    Args:
        points: (V, 3) all vertices, those merged at their new place.
        reach: (V,) how far the vertices merged into each have moved at most.
        faces: (F, 3) the faces near a border.
        is_open: (F, 3) which of their sides are open.
    """

    points: Floats
    reach: Floats
    faces: Any
    is_open: Any


@dataclass(frozen=True)
class _Try:
    """What a round would make, and the vertices that must not take part."""

    bench: _Bench
    root: Any
    merged: int
    split: int
    gap_mm: float
    joined: int
    barred: Any


def stitched(mesh: Mesh, *, tol_mm: float | None = None) -> Stitched:
    """The mesh with borders joined that lie within ``tol_mm`` and run against each other.

    The nearest vertices are snapped together first, at their middle; then edges are split at
    the vertices that lie beside them, which do not move. A snap or a split stands only if it
    joins open edges, folds no face over, closes none to a line and gives no edge a third
    face. Repeated until nothing changes, so that stitching again changes nothing.

    Args:
        mesh: any mesh, equal vertices merged and faces agreeing: of two borders that run the
            same way neither is a neighbour of the other.
        tol_mm: the widest gap; None takes 0.05 mm, at most 5e-4 of the diagonal.

    >>> left = [[0, 0, 0], [9, 0, 0], [0, 9, 0]]
    >>> right = [[9, 0.01, 0], [9, 9, 0], [0, 9.01, 0]]
    >>> done = stitched(Mesh(left + right, [[0, 1, 2], [3, 4, 5]]), tol_mm=0.05)
    >>> done.vertices_merged, len(done.mesh.vertices_mm), round(done.largest_move_mm, 4)
    (2, 4, 0.005)
    """
    tol = default_tol_mm(mesh) if tol_mm is None else tol_mm
    low, high = mesh.bounds_mm
    on = ON_SHARE * float(np.linalg.norm(high - low))
    chosen, faces, is_open = near_border(mesh)
    if not is_open.any():
        return Stitched(mesh)
    n = len(mesh.vertices_mm)
    bench = _Bench(mesh.vertices_mm.copy(), np.zeros(n), faces, is_open)
    root = np.arange(n)
    merged = split = joined = 0
    gap = 0.0
    for _ in range(ROUNDS):
        made = _round(bench, tol, on)
        if made is None:
            break
        bench, root = made.bench, made.root[root]
        merged, split, joined = merged + made.merged, split + made.split, joined + made.joined
        gap = max(gap, made.gap_mm)
    if not joined:
        return Stitched(mesh)
    all_faces = root[mesh.faces]
    all_faces[chosen] = bench.faces[: len(chosen)]
    out = Mesh(bench.points, np.concatenate([all_faces, bench.faces[len(chosen) :]]))
    return Stitched(without_unused(out), merged, split, joined, gap, float(bench.reach.max()))


def _round(bench: _Bench, tol: float, on: float) -> _Try | None:
    """One round of snaps and splits that do good and no harm; None where there are none."""
    found = search(bench.points, bench.faces, bench.is_open, tol_mm=tol, on_mm=on)
    barred = np.zeros(len(bench.points), dtype=np.bool_)
    for _ in range(TRIES):
        made = _tried(bench, found, barred, tol)
        if made is None or not made.barred.any():
            return made
        barred |= made.barred
    return None


def _tried(bench: _Bench, found: Misfits, barred: Any, tol: float) -> _Try | None:
    """The round without the barred vertices, and which others should be barred."""
    n = len(bench.points)
    wanted = ~barred[found.pairs].any(axis=1)
    pairs = found.pairs[wanted].astype(np.int64)
    root, done = _snapped(bench.points, bench.reach, pairs, _edge_keys(bench.faces, n), tol)
    points, reach = _middles(bench, root)
    chosen = _one_side_a_face(found, ~barred[found.vertex], root, bench.faces)
    if not done.any() and not len(chosen):
        return None
    beside = found.vertex[chosen]
    faces, is_open, source = _split(
        root[bench.faces],
        bench.is_open,
        found.face[chosen],
        found.corner[chosen],
        root[beside],
    )
    changed = np.bincount(root, minlength=n) > 1
    taking_part = changed[root]
    taking_part[beside] = True
    changed[root[beside]] = True
    harm, joined = _judged(bench, points, faces, is_open, source, changed)
    gaps = (found.gap_mm[chosen], found.pair_gap_mm[wanted][done])
    return _Try(
        _Bench(points, reach, faces, is_open & ~joined),
        root,
        merged=int((root != np.arange(n)).sum()),
        split=len(chosen),
        gap_mm=float(np.concatenate([[0.0], *gaps]).max()),
        joined=int(joined.sum()),
        barred=harm[root] & taking_part,
    )


def _edge_keys(faces: Any, n: int) -> Any:
    sides = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64), axis=1)
    return np.unique(sides[:, 0] * n + sides[:, 1])


@njit(cache=True)
def _snapped(points: Any, reach: Any, pairs: Any, keys: Any, tol: float) -> Any:
    """The vertex that each one joins, and which pairs were joined: the nearest first.

    All of a group stay within ``tol`` of each other, what they moved before counted in, and
    no two of them have an edge.
    """
    n = len(points)
    root = np.arange(n)
    following = np.full(n, -1)
    done = np.zeros(len(pairs), dtype=np.bool_)
    for k in range(len(pairs)):
        a, b = root[pairs[k, 0]], root[pairs[k, 1]]
        if a == b:
            continue
        a, b = min(a, b), max(a, b)
        fits = True
        x = a
        while x >= 0 and fits:
            y = b
            while y >= 0 and fits:
                apart = np.sqrt(((points[x] - points[y]) ** 2).sum())
                key = min(x, y) * n + max(x, y)
                at = np.searchsorted(keys, key)
                fits = apart + reach[x] + reach[y] <= tol
                fits = fits and not (at < len(keys) and keys[at] == key)
                y = following[y]
            x = following[x]
        if not fits:
            continue
        done[k] = True
        last = a
        while following[last] >= 0:
            last = following[last]
        following[last] = b
        y = b
        while y >= 0:
            root[y] = a
            y = following[y]
    return root, done


def _middles(bench: _Bench, root: Any) -> tuple[Floats, Floats]:
    """Each group at the middle of its vertices, and how far any of them has come."""
    points, reach = bench.points.copy(), bench.reach.copy()
    size = np.bincount(root, minlength=len(root))
    moved = np.flatnonzero(size[root] > 1)
    if not len(moved):
        return points, reach
    to, place = np.unique(root[moved], return_inverse=True)
    total = np.zeros((len(to), 3))
    np.add.at(total, place, bench.points[moved])
    points[to] = total / size[to][:, None]
    come = np.linalg.norm(points[root[moved]] - bench.points[moved], axis=1) + bench.reach[moved]
    furthest = np.zeros(len(to))
    np.maximum.at(furthest, place, come)
    reach[to] = furthest
    return points, reach


def _one_side_a_face(found: Misfits, wanted: Any, root: Any, faces: Any) -> Any:
    """Numbers of the vertices to split edges at, along one side of each face, in order."""
    vertex = root[found.vertex]
    new = (root[faces[found.face]] != vertex[:, None]).all(axis=1)
    chosen = np.flatnonzero(wanted & new)
    order = np.lexsort((found.along[chosen], found.corner[chosen], found.face[chosen]))
    chosen = chosen[order]
    face, corner = found.face[chosen], found.corner[chosen]
    first = np.searchsorted(face, face)
    chosen = chosen[corner == corner[first]]
    _, once = np.unique(
        np.stack([found.face[chosen], vertex[chosen]], axis=1), axis=0, return_index=True
    )
    return chosen[np.sort(once)]


@njit(cache=True)
def _split(faces: Any, is_open: Any, face: Any, corner: Any, vertex: Any) -> Any:
    """Faces with one side split at some vertices: the first piece in place, the rest added.

    Returns the faces, their open sides, and the face each comes from.
    """
    count = len(faces)
    total = count + len(face)
    out = np.empty((total, 3), dtype=faces.dtype)
    out[:count] = faces
    sides = np.zeros((total, 3), dtype=np.bool_)
    sides[:count] = is_open
    source = np.arange(total)
    made = count
    for k in range(len(face)):
        f, c = face[k], corner[k]
        d, e = (c + 1) % 3, (c + 2) % 3
        # the piece that still ends at the far corner: the one made last, or the face itself
        here = made - 1 if k and face[k - 1] == f else f
        # piece (p, q, r) becomes (p, v, r) in its place and (v, q, r) at the end
        i, j, l = (c, d, e) if here == f else (0, 1, 2)
        p, q, r = out[here, i], out[here, j], out[here, l]
        along, leaving, coming = sides[here, i], sides[here, j], sides[here, l]
        v = vertex[k]
        out[here, 0], out[here, 1], out[here, 2] = p, v, r
        sides[here, 0], sides[here, 1], sides[here, 2] = along, False, coming
        out[made, 0], out[made, 1], out[made, 2] = v, q, r
        sides[made, 0], sides[made, 1], sides[made, 2] = along, leaving, False
        source[made] = f
        made += 1
    return out, sides, source


def _judged(
    bench: _Bench, points: Floats, faces: Any, is_open: Any, source: Any, changed: Any
) -> tuple[Any, Any]:
    """Which changed vertices do harm or no good, and which sides are joined."""
    harm = np.zeros(len(points), dtype=np.bool_)
    touched = np.flatnonzero(changed[faces].any(axis=1))
    before = _vectors(bench.points, bench.faces[source[touched]])
    after = _vectors(points, faces[touched])
    over = ((before * after).sum(axis=1) <= 0.0) & (before != 0.0).any(axis=1)
    harm[faces[touched[over]]] = True

    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    edge = np.unique(low.astype(np.int64) * len(points) + high, return_inverse=True)[1].ravel()
    was_open = is_open.ravel()
    count = np.bincount(edge)
    alone = np.bincount(edge, weights=was_open)
    ways = np.bincount(edge, weights=np.where(start == low, 1.0, -1.0))
    bad = ((count > 2) & (alone > 0)) | ((count == 2) & (alone > 0) & ((alone < 2) | (ways != 0)))
    harm[start[bad[edge]]] = True
    good = ((count == 2) & (alone == 2) & (ways == 0))[edge]
    joining = np.zeros(len(points), dtype=np.bool_)
    joining[start[good]] = joining[end[good]] = True
    return (harm | ~joining) & changed, good.reshape(-1, 3)


def _vectors(points: Floats, faces: Any) -> Floats:
    a, b, c = (points[faces[:, i]] for i in range(3))
    return np.asarray(np.cross(b - a, c - a))
