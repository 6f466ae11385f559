"""Which faces lie side by side, and how sharply the surface bends between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh


@dataclass(frozen=True)
class FacePairs:
    """The edges of a closed mesh, each with its two faces.

    Args:
        a, b: (E,) the faces on both sides.
        start, end: (E,) the edge's vertices as face ``a`` walks them.
        length_mm: (E,) edge lengths.
        bend_deg: (E,) angle between the two normals, negative where the edge is a valley.
    """

    a: NDArray[np.int32]
    b: NDArray[np.int32]
    start: NDArray[np.int32]
    end: NDArray[np.int32]
    length_mm: Floats
    bend_deg: Floats


def face_pairs(mesh: Mesh) -> FacePairs:
    """Every edge that two faces share with opposite directions."""
    faces = mesh.faces.astype(np.int64)
    start = faces.ravel()
    end = np.roll(faces, -1, axis=1).ravel()
    n = len(mesh.vertices_mm)
    key = np.minimum(start, end) * n + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    twin = key[order[1:]] == key[order[:-1]]
    first, second = order[:-1][twin], order[1:][twin]
    a, b = first // 3, second // 3
    along = mesh.vertices_mm[end[first]] - mesh.vertices_mm[start[first]]
    length = np.linalg.norm(along, axis=1)
    na, nb = mesh.face_normals[a], mesh.face_normals[b]
    angle = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", na, nb), -1.0, 1.0)))
    valley = np.einsum("ij,ij->i", np.cross(na, nb), along) < 0
    return FacePairs(
        a=a.astype(np.int32),
        b=b.astype(np.int32),
        start=start[first].astype(np.int32),
        end=end[first].astype(np.int32),
        length_mm=length,
        bend_deg=np.where(valley, -angle, angle),
    )


def patches(pairs: FacePairs, label: Flags) -> NDArray[np.int32]:
    """(F,) number of the connected patch of equal label that each face belongs to."""
    same = label[pairs.a] == label[pairs.b]
    return grouped(pairs.a[same], pairs.b[same], len(label))


def smoothed(
    pairs: FacePairs, values: Floats, *, times: int, crease_deg: float, weights: Floats
) -> Floats:
    """(F,) values averaged with their neighbours, never across an edge that bends more.

    Args:
        weights: (F,) how much each face counts, as its area does: a wide face among slivers
            keeps its own value.
    """
    from scipy.sparse import coo_matrix, diags

    soft = np.abs(pairs.bend_deg) < crease_deg
    a, b = pairs.a[soft], pairs.b[soft]
    n = len(values)
    link = coo_matrix((np.ones(len(a)), (a, b)), shape=(n, n)).tocsr()
    link = (link + link.T + diags(np.ones(n))) @ diags(weights)
    total = np.asarray(link.sum(axis=1)).ravel()
    share = np.divide(1.0, total, out=np.zeros(n), where=total > 0)
    out = values.astype(np.float64)
    for _ in range(times):
        out = share * (link @ out)
    return out
