"""The triangle mesh: a frozen value, replaced and never edited."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Floats, Ints


@dataclass(frozen=True)
class Mesh:
    """Triangles over shared vertices, in millimetres unless its owner says otherwise.

    Args:
        vertices_mm: (V, 3) positions; V may be 0.
        faces: (F, 3) vertex indices, counter-clockwise seen from outside; F may be 0.

    The arrays are copied to float64 and int32 and made read-only.

    >>> Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]]).area_mm2
    0.5
    """

    vertices_mm: Floats
    faces: Ints

    def __init__(self, vertices_mm: ArrayLike, faces: ArrayLike) -> None:
        vertices = np.array(vertices_mm, dtype=np.float64, order="C").reshape(-1, 3)
        triangles = np.array(faces, dtype=np.int32, order="C").reshape(-1, 3)
        vertices.flags.writeable = False
        triangles.flags.writeable = False
        object.__setattr__(self, "vertices_mm", vertices)
        object.__setattr__(self, "faces", triangles)

    @property
    def corners_mm(self) -> Floats:
        """(F, 3, 3) the corner positions of each face."""
        return self.vertices_mm[self.faces]

    @cached_property
    def face_vectors_mm2(self) -> Floats:
        """(F, 3) area times unit normal of each face."""
        c = self.corners_mm
        return _kept(0.5 * np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]))

    @property
    def face_areas_mm2(self) -> Floats:
        """(F,) face areas."""
        areas: Floats = np.linalg.norm(self.face_vectors_mm2, axis=1)
        return areas

    @cached_property
    def face_normals(self) -> Floats:
        """(F, 3) unit normals; a face without area has the zero vector."""
        vectors = self.face_vectors_mm2
        length = np.linalg.norm(vectors, axis=1, keepdims=True)
        return _kept(np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0))

    @property
    def face_centres_mm(self) -> Floats:
        """(F, 3) face centroids."""
        centres: Floats = self.corners_mm.mean(axis=1)
        return centres

    @property
    def area_mm2(self) -> float:
        """Total surface area."""
        return float(self.face_areas_mm2.sum())

    @property
    def volume_mm3(self) -> float:
        """Signed volume by the divergence theorem; meaningful for a closed mesh."""
        c = self.corners_mm
        if not len(c):
            return 0.0
        c = c - self.vertices_mm.mean(axis=0)
        return float(np.einsum("ij,ij->i", c[:, 0], np.cross(c[:, 1], c[:, 2])).sum() / 6.0)

    @property
    def bounds_mm(self) -> Floats:
        """(2, 3) lowest and highest corner; zeros for an empty mesh."""
        if not len(self.vertices_mm):
            return np.zeros((2, 3))
        return np.stack([self.vertices_mm.min(axis=0), self.vertices_mm.max(axis=0)])

    def moved(self, matrix: ArrayLike) -> Mesh:
        """The mesh under a 4x4 matrix; a mirroring matrix also flips the faces."""
        m = np.asarray(matrix, dtype=np.float64)
        faces = self.faces if np.linalg.det(m[:3, :3]) > 0 else self.faces[:, ::-1]
        return Mesh(self.vertices_mm @ m[:3, :3].T + m[:3, 3], faces)

    def flipped(self) -> Mesh:
        """The same surface with every face turned over."""
        return Mesh(self.vertices_mm, self.faces[:, ::-1])

    def with_faces(self, chosen: NDArray[Any]) -> Mesh:
        """Only the chosen faces (mask or indices), with unused vertices dropped."""
        faces = self.faces[chosen]
        used, compact = np.unique(faces, return_inverse=True)
        return Mesh(self.vertices_mm[used], compact.reshape(-1, 3))


def _kept(array: Floats) -> Floats:
    array.flags.writeable = False
    return array


def joined(meshes: Iterable[Mesh]) -> Mesh:
    """All meshes as one, side by side, nothing merged."""
    parts = list(meshes)
    if not parts:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))
    offsets = np.cumsum([0] + [len(m.vertices_mm) for m in parts[:-1]])
    return Mesh(
        np.concatenate([m.vertices_mm for m in parts]),
        np.concatenate([m.faces + o for m, o in zip(parts, offsets, strict=True)]),
    )
