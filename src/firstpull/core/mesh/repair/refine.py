"""A patch of few triangles cut finer, to the edge lengths asked for at its vertices."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from firstpull.core.arrays import Floats, Ints

FINER = np.sqrt(2.0)
"""How much longer than asked a triangle's spokes are before it is cut. Source: Liepa 2003."""

SWEEPS = 12
"""Times that all edges are looked at for a flip after each cutting."""


def refined(
    points_mm: Floats, faces: Ints, *, size_mm: Floats, barred: Ints, most_faces: int
) -> tuple[Floats, Ints]:
    """A patch with vertices added inside it and edges flipped; its border stays as it is.

    Triangles larger than asked get a vertex in their middle, then edges are flipped until
    opposite angles sum to no more than 180 degrees, and again.

    Args:
        points_mm: (N, 3) vertices of the patch.
        faces: (F, 3) its triangles, manifold and agreeing.
        size_mm: (N,) edge length asked for at each vertex; new ones get the mean of their
            triangle.
        barred: (B, 2) pairs of vertices that no new edge may join.
        most_faces: no triangle is cut beyond this count.

    Returns:
        the vertices, those given first, and the triangles.

    Source: Liepa, Filling holes in meshes, 2003, after Pfeifle & Seidel 1996.
    """
    room = max(most_faces, len(faces)) + 2
    points = np.zeros((len(points_mm) + room // 2 + 1, 3))
    points[: len(points_mm)] = points_mm
    sizes = np.zeros(len(points))
    sizes[: len(points_mm)] = size_mm
    patch = np.zeros((room, 3), dtype=np.int32)
    patch[: len(faces)] = faces
    twin = np.full(3 * room, -1, dtype=np.int32)
    twin[: 3 * len(faces)] = _twins(faces, len(points_mm))
    given = len(points_mm)
    low, high = np.sort(barred.astype(np.int64), axis=1).reshape(-1, 2).T
    keys = np.unique(low * given + high)
    count, made = _cut(points, sizes, patch, twin, len(points_mm), len(faces), keys, most_faces)
    return points[:count].copy(), patch[:made].copy()


def _twins(faces: Ints, vertices: int) -> Ints:
    """(3F,) the other side of each edge, -1 on the border."""
    start = faces.ravel().astype(np.int64)
    end = np.roll(faces, -1, axis=1).ravel().astype(np.int64)
    keys, wanted = start * vertices + end, end * vertices + start
    order = np.argsort(keys)
    spot = np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)
    found = order[spot]
    return np.where(keys[found] == wanted, found, -1).astype(np.int32)


@njit(cache=True)
def _cut(
    points: Any, sizes: Any, patch: Any, twin: Any, count: int, made: int, keys: Any, most: int
) -> Any:
    given = count
    for _ in range(40):
        before = made
        for face in range(before):
            if made + 2 > most:
                break
            if _too_large(points, sizes, patch[face]):
                _split(points, sizes, patch, twin, face, count, made)
                count += 1
                made += 2
        if made == before:
            break
        for _ in range(SWEEPS):
            if not _swept(points, patch, twin, made, keys, given):
                break
    return count, made


@njit(cache=True)
def _too_large(points: Any, sizes: Any, face: Any) -> bool:
    middle = (points[face[0]] + points[face[1]] + points[face[2]]) / 3.0
    asked = (sizes[face[0]] + sizes[face[1]] + sizes[face[2]]) / 3.0
    for i in range(3):
        spoke = FINER * np.sqrt(((points[face[i]] - middle) ** 2).sum())
        if spoke <= asked or spoke <= sizes[face[i]]:
            return False
    return True


@njit(cache=True)
def _split(points: Any, sizes: Any, patch: Any, twin: Any, face: int, new: int, made: int) -> None:
    """Face (a, b, c) becomes (a, b, v), and (b, c, v), (c, a, v) are added."""
    a, b, c = patch[face]
    points[new] = (points[a] + points[b] + points[c]) / 3.0
    sizes[new] = (sizes[a] + sizes[b] + sizes[c]) / 3.0
    second, third = made, made + 1
    outer_bc, outer_ca = twin[3 * face + 1], twin[3 * face + 2]
    patch[face, 2] = new
    patch[second, 0], patch[second, 1], patch[second, 2] = b, c, new
    patch[third, 0], patch[third, 1], patch[third, 2] = c, a, new
    _join(twin, 3 * second, outer_bc)
    _join(twin, 3 * third, outer_ca)
    _join(twin, 3 * face + 1, 3 * second + 2)
    _join(twin, 3 * second + 1, 3 * third + 2)
    _join(twin, 3 * third + 1, 3 * face + 2)


@njit(cache=True)
def _join(twin: Any, side: int, other: int) -> None:
    twin[side] = other
    if other >= 0:
        twin[other] = side


@njit(cache=True)
def _swept(points: Any, patch: Any, twin: Any, made: int, keys: Any, given: int) -> bool:
    """One look at every inner edge; whether any was flipped."""
    flipped = False
    for side in range(3 * made):
        other = twin[side]
        if other > side and _is_better_flipped(points, patch, twin, side, other, keys, given):
            _flip(patch, twin, side, other)
            flipped = True
    return flipped


@njit(cache=True)
def _is_better_flipped(
    points: Any, patch: Any, twin: Any, side: int, other: int, keys: Any, given: int
) -> bool:
    a, b = patch[side // 3, side % 3], patch[side // 3, (side % 3 + 1) % 3]
    c = patch[side // 3, (side % 3 + 2) % 3]
    d = patch[other // 3, (other % 3 + 2) % 3]
    pa, pb, pc, pd = points[a], points[b], points[c], points[d]
    # the sine of the sum of the angles at c and d, which is below 0 beyond 180 degrees
    cross_c = np.sqrt((np.cross(pa - pc, pb - pc) ** 2).sum())
    cross_d = np.sqrt((np.cross(pb - pd, pa - pd) ** 2).sum())
    dot_c = ((pa - pc) * (pb - pc)).sum()
    dot_d = ((pa - pd) * (pb - pd)).sum()
    length = np.sqrt(
        ((pa - pc) ** 2).sum()
        * ((pb - pc) ** 2).sum()
        * ((pa - pd) ** 2).sum()
        * ((pb - pd) ** 2).sum()
    )
    if cross_c * dot_d + dot_c * cross_d >= -1e-9 * length:
        return False
    old = np.cross(pb - pa, pc - pa) + np.cross(pa - pb, pd - pb)
    one, two = np.cross(pd - pa, pc - pa), np.cross(pc - pb, pd - pb)
    if (one * old).sum() <= 0.0 or (two * old).sum() <= 0.0 or (one * two).sum() <= 0.0:
        return False
    if c < given and d < given:
        key = np.int64(min(c, d)) * given + max(c, d)
        at = np.searchsorted(keys, key)
        if at < len(keys) and keys[at] == key:
            return False
    return not _are_joined(patch, twin, side - side % 3 + (side % 3 + 2) % 3, d)


@njit(cache=True)
def _are_joined(patch: Any, twin: Any, first: int, d: int) -> bool:
    """Whether the vertex that side ``first`` starts from has an edge of the patch to ``d``."""
    side = first
    while True:  # one way around the vertex
        if patch[side // 3, (side % 3 + 1) % 3] == d or patch[side // 3, (side % 3 + 2) % 3] == d:
            return True
        out = twin[side - side % 3 + (side % 3 + 2) % 3]
        if out == first:
            return False
        if out < 0:
            break
        side = out
    side = first
    while twin[side] >= 0:  # it lies on the border: the other way as well
        back = twin[side]
        side = back - back % 3 + (back % 3 + 1) % 3
        if patch[side // 3, (side % 3 + 1) % 3] == d or patch[side // 3, (side % 3 + 2) % 3] == d:
            return True
    return False


@njit(cache=True)
def _flip(patch: Any, twin: Any, side: int, other: int) -> None:
    """Faces (a, b, c) and (b, a, d) become (a, d, c) and (d, b, c)."""
    one, i = side // 3, side % 3
    two, j = other // 3, other % 3
    a, b, c = patch[one, i], patch[one, (i + 1) % 3], patch[one, (i + 2) % 3]
    d = patch[two, (j + 2) % 3]
    bc, ca = twin[3 * one + (i + 1) % 3], twin[3 * one + (i + 2) % 3]
    ad, db = twin[3 * two + (j + 1) % 3], twin[3 * two + (j + 2) % 3]
    patch[one, 0], patch[one, 1], patch[one, 2] = a, d, c
    patch[two, 0], patch[two, 1], patch[two, 2] = d, b, c
    _join(twin, 3 * one, ad)
    _join(twin, 3 * one + 1, 3 * two + 2)
    _join(twin, 3 * one + 2, ca)
    _join(twin, 3 * two, db)
    _join(twin, 3 * two + 1, bc)
