"""Vertices moved to where they should be, as far as nothing folds or crosses."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.mesh import Mesh

ROUNDS = 10  # of letting go of vertices that fold or cross


def laid(raw: Mesh, way_mm: Floats) -> tuple[Mesh, Floats]:
    """A mesh with its vertices moved, less where that would fold or cross.

    Args:
        raw: closed, free of crossings.
        way_mm: (V, 3) how far to move each vertex.

    Returns:
        the mesh, free of crossings; and (V,) what share of its way each vertex went.
    """
    share = np.ones(len(way_mm))
    size = np.einsum("ij,ij->i", raw.face_vectors_mm2, raw.face_vectors_mm2)
    for _ in range(ROUNDS):
        made = Mesh(raw.vertices_mm + share[:, None] * way_mm, raw.faces)
        bad = _folded(made, raw, size)
        bad[find_crossings(made).faces] = True
        loose = np.unique(made.faces[bad])
        loose = loose[share[loose] > 0.0]
        if not len(loose):
            return made, share
        share[loose] = np.where(share[loose] > 0.3, 0.5 * share[loose], 0.0)
    return raw, np.zeros(len(way_mm))


def _folded(made: Mesh, raw: Mesh, size: Floats) -> Flags:
    """Faces that turned by more than 80 degrees or shrank to nothing."""
    vectors = made.face_vectors_mm2
    along = np.einsum("ij,ij->i", vectors, raw.face_vectors_mm2)
    new_size = np.einsum("ij,ij->i", vectors, vectors)
    return np.asarray((along < 0.17 * np.sqrt(size * new_size)) | (new_size < 1e-12 * size))
