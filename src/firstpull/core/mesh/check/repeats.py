"""Faces that lie on each other, and faces that collapsed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import components, edge_table
from firstpull.core.mesh.weld import equal_points


def has_doubled_faces(mesh: Mesh) -> bool:
    """Whether faces of a closed mesh lie on others, as in a part that was exported twice."""
    first, place = equal_points(mesh.vertices_mm)
    if len(first) == len(mesh.vertices_mm):
        return False
    faces = np.sort(place[mesh.faces], axis=1)
    twice = np.bincount(place, minlength=len(first)) > 1
    able = faces[twice[faces].all(axis=1)]
    return len(np.unique(able, axis=0)) < len(able)


def without_repeats(mesh: Mesh) -> tuple[Mesh, NDArray[np.int64], NDArray[np.int64]]:
    """The mesh without collapsed and repeated faces.

    Of faces with the same corners the first stays, whichever way they look; but where a face
    and its reverse cancel (a fin without thickness on a surface that is closed without it),
    neither stays. Of a part that lies on its double all over, one stays.

    Returns:
        the mesh, its vertices unchanged; the collapsed faces and the repeated ones that went.
    """
    faces = mesh.faces.astype(np.int64)
    flat = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    ordered = np.sort(faces, axis=1)
    n = max(len(mesh.vertices_mm), 1)
    pair = ordered[:, 0] * n + ordered[:, 1]
    order = np.lexsort((ordered[:, 2], pair))
    same = (pair[order[1:]] == pair[order[:-1]]) & (ordered[order[1:], 2] == ordered[order[:-1], 2])
    again = np.zeros(len(faces), dtype=np.bool_)
    again[order[1:][same]] = True
    again &= ~flat
    if not (flat.any() or again.any()):
        return mesh, np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    drop = again.copy()
    if again.any():
        lonely = _would_open(mesh, flat | again)
        twice = np.zeros(len(faces), dtype=np.bool_)
        twice[order[1:][same]] = True
        twice[order[:-1][same]] = True
        twice &= again | ~_all_over(mesh, twice | flat)
        if _would_open(mesh, flat | twice) < lonely:
            drop = twice & ~flat
    kept = Mesh(mesh.vertices_mm, mesh.faces[~(flat | drop)])
    return kept, np.flatnonzero(flat), np.flatnonzero(drop)


def _all_over(mesh: Mesh, doubled: Flags) -> Flags:
    """(F,) the faces of parts that hold no other faces than doubled ones."""
    label = components(mesh)
    return np.asarray((np.bincount(label, weights=~doubled) == 0)[label])


def _would_open(mesh: Mesh, drop: Flags) -> int:
    """How many edges have other than two faces once some are dropped."""
    return int((edge_table(Mesh(mesh.vertices_mm, mesh.faces[~drop])).count != 2).sum())
