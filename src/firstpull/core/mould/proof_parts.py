"""What the proof works with: solids ready for questions, points on them, and its findings.

Inside and outside are told by the first face that a ray meets: a face seen from behind means
that the point lies inside. Three rays in odd directions vote, so that a ray through an edge,
which Embree may miss, is outvoted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene
from firstpull.core.mould.proof_distance import NearestSurface

Place = tuple[float, float, float]

ODD_DIRECTIONS = np.array([[0.313, 0.551, 0.773], [-0.731, 0.227, 0.643], [0.417, -0.811, -0.409]])


@dataclass(frozen=True)
class Check:
    """One thing that was proved, or was not.

    Args:
        name: what was asked and of what, such as "release: piece 1".
        passed: whether the limit was kept.
        found: the measured figure.
        limit: what it was held against.
        where_mm: the worst place in the mould frame, or None.
        sentence: the outcome in words, with the next move where it failed.
    """

    name: str
    passed: bool
    found: float
    limit: float
    where_mm: Place | None
    sentence: str

    def as_json(self) -> dict[str, Any]:
        """The check as plain data; a figure without bound becomes null."""
        return {
            "name": self.name,
            "passed": self.passed,
            "found": round(self.found, 4) if np.isfinite(self.found) else None,
            "limit": round(self.limit, 4),
            "where_mm": None if self.where_mm is None else [round(c, 3) for c in self.where_mm],
            "sentence": self.sentence,
        }


def place(point: Floats) -> Place:
    """A point as three plain numbers."""
    return (float(point[0]), float(point[1]), float(point[2]))


def at(point: Floats) -> str:
    """A point as it stands in a sentence.

    >>> at(np.array([1.26, 0.0, -3.0]))
    '(1.3, 0.0, -3.0)'
    """
    return "({:.1f}, {:.1f}, {:.1f})".format(*point)


def the(name: str) -> str:
    """A part within a sentence; what has a number goes without an article.

    >>> the("skin"), the("piece 1")
    ('the skin', 'piece 1')
    """
    return name if name[-1:].isdigit() else f"the {name}"


def the_first(name: str) -> str:
    """The same where a sentence begins.

    >>> the_first("skin"), the_first("piece 1")
    ('The skin', 'Piece 1')
    """
    told = the(name)
    return told[:1].upper() + told[1:]


@dataclass(frozen=True)
class Samples:
    """Points spread over a surface: (N, 3) places, (N, 3) normals, (N,) areas and faces."""

    points_mm: Floats
    normals: Floats
    areas_mm2: Floats
    faces: Ints

    def only(self, chosen: Flags) -> Samples:
        """The chosen samples."""
        return Samples(
            self.points_mm[chosen], self.normals[chosen], self.areas_mm2[chosen], self.faces[chosen]
        )

    def share(self, chosen: Flags) -> float:
        """Share of the sampled area that is chosen; 0 of nothing."""
        total = float(self.areas_mm2.sum())
        return float(self.areas_mm2[chosen].sum()) / total if total > 0 else 0.0


def sampled(mesh: Mesh, *, spacing_mm: float, faces: Flags | None = None) -> Samples:
    """Points spread over a mesh, one for each ``spacing_mm`` squared and at least one a face.

    The points follow a fixed low-discrepancy sequence within each face, starting at its
    centroid; each stands for an equal part of the area of its face.

    Args:
        faces: (F,) which faces to use; None uses all.
    """
    chosen = np.arange(len(mesh.faces)) if faces is None else np.flatnonzero(faces)
    areas = mesh.face_areas_mm2[chosen]
    chosen, areas = chosen[areas > 0], areas[areas > 0]
    each = np.maximum(np.ceil(areas / spacing_mm**2), 1).astype(np.int64)
    owner = np.repeat(np.arange(len(chosen)), each)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(each) - each, each)
    # Roberts' R2 sequence, shifted to begin at the centroid and folded into the triangle.
    s = (1 / 3 + rank * 0.7548776662466927) % 1.0
    t = (1 / 3 + rank * 0.5698402909980532) % 1.0
    fold = s + t > 1
    s, t = np.where(fold, 1 - s, s), np.where(fold, 1 - t, t)
    c = mesh.corners_mm[chosen][owner]
    points = c[:, 0] + s[:, None] * (c[:, 1] - c[:, 0]) + t[:, None] * (c[:, 2] - c[:, 0])
    return Samples(
        points,
        mesh.face_normals[chosen][owner],
        (areas / each)[owner],
        chosen[owner].astype(np.int32),
    )


class Part:
    """One solid of the mould with what is needed to question it, each made when first asked.

    Args:
        name: as it stands in sentences: "skin", "piece 1".
        mesh: closed and facing outward.
    """

    def __init__(self, name: str, mesh: Mesh) -> None:
        self.name, self.mesh = name, mesh
        self._insets: dict[float, Floats] = {}

    @cached_property
    def manifold(self) -> Any:
        """The solid for Booleans (manifold3d), in double precision."""
        import manifold3d

        return manifold3d.Manifold(
            manifold3d.Mesh64(
                np.array(self.mesh.vertices_mm),  # manifold3d refuses read-only arrays
                np.ascontiguousarray(self.mesh.faces, dtype=np.uint64),
            )
        )

    @cached_property
    def scene(self) -> RayScene:
        """The surface for rays."""
        return RayScene(self.mesh)

    @cached_property
    def surface(self) -> NearestSurface:
        """The surface for distances."""
        return NearestSurface(self.mesh)

    @cached_property
    def bounds_mm(self) -> Floats:
        """(2, 3) lowest and highest corner."""
        return self.mesh.bounds_mm

    @cached_property
    def face_normals(self) -> Floats:
        """(F, 3) unit normals."""
        return self.mesh.face_normals

    def holds(self, points_mm: Floats) -> Flags:
        """(N,) whether each point lies inside, by the vote of three rays."""
        ways = ODD_DIRECTIONS / np.linalg.norm(ODD_DIRECTIONS, axis=1)[:, None]
        inside, second = (self._leaves_by_back(points_mm, way) for way in ways[:2])
        torn = np.flatnonzero(inside != second)
        inside[torn] = self._leaves_by_back(points_mm[torn], ways[2])
        return inside

    def _leaves_by_back(self, points_mm: Floats, way: Floats) -> Flags:
        """(N,) whether the first face on the ray is seen from behind."""
        face = self.scene.hit_face(points_mm, way)
        behind: Flags = (face >= 0) & (self.face_normals @ way > 0)[face]
        return behind

    def inset(self, depth_mm: float) -> Floats:
        """The vertices, drawn into the solid until each of their faces is ``depth_mm`` away.

        On edges sharper than 60 degrees the point stays closer than that to the faces.
        """
        if depth_mm not in self._insets:
            self._insets[depth_mm] = self._drawn_in(depth_mm)
        return self._insets[depth_mm]

    def _drawn_in(self, depth_mm: float) -> Floats:
        faces, normals = self.mesh.faces, self.face_normals
        summed = np.zeros_like(self.mesh.vertices_mm)
        for corner in range(3):
            for axis in range(3):
                summed[:, axis] += np.bincount(
                    faces[:, corner], weights=normals[:, axis], minlength=len(summed)
                )
        length = np.linalg.norm(summed, axis=1, keepdims=True)
        mean = summed / np.maximum(length, 1e-12)
        least = np.ones(len(summed))
        for corner in range(3):
            index = faces[:, corner]
            np.minimum.at(least, index, np.einsum("ij,ij->i", mean[index], normals))
        inward: Floats = self.mesh.vertices_mm - mean * (depth_mm / np.maximum(least, 0.5))[:, None]
        return inward


def solid_fault(part: Part) -> tuple[str, int, Floats] | None:
    """What keeps a mesh from being one solid: (words, how many, place), or None if nothing.

    Every edge must join two faces that run along it in opposite senses, the volume must be
    above 0, all must hang together, and manifold3d must take it.
    """
    mesh = part.mesh
    if not len(mesh.faces):
        return "has no faces", 0, np.zeros(3)
    bad = _odd_edges(mesh)
    if len(bad):
        return "is not closed: edges with a face missing, doubled or turned over", len(bad), bad[0]
    if mesh.volume_mm3 <= 0:
        return "is inside out: its volume is not above 0", 1, mesh.vertices_mm.mean(axis=0)
    label = loose_parts(mesh)
    count = int(label.max()) + 1
    if count > 1:
        smallest = int(np.bincount(label).argmin())
        first = mesh.face_centres_mm[np.flatnonzero(label == smallest)[0]]
        return "falls apart into loose surfaces", count, first
    if part.manifold.status().name != "NoError":
        return f"is refused by manifold3d ({part.manifold.status().name})", 1, mesh.vertices_mm[0]
    return None


def _edge_keys(mesh: Mesh) -> tuple[Floats, Flags]:
    """One number for each side of each face, and whether it runs from low to high index."""
    sides = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
    low, high = sides.min(axis=1), sides.max(axis=1)
    keys: Any = low * len(mesh.vertices_mm) + high
    return keys, sides[:, 0] < sides[:, 1]


def _odd_edges(mesh: Mesh) -> Floats:
    """(N, 3) middles of the edges that are not two faces in opposite senses."""
    keys, up = _edge_keys(mesh)
    order = np.argsort(keys)
    sorted_keys = np.asarray(keys)[order]
    starts = np.flatnonzero(np.r_[True, sorted_keys[1:] != sorted_keys[:-1]])
    uses = np.diff(np.r_[starts, len(keys)])
    ups = np.add.reduceat(up[order].astype(np.int64), starts)
    odd = sorted_keys[starts[(uses != 2) | (ups != 1)]].astype(np.int64)
    ends = mesh.vertices_mm
    return 0.5 * (ends[odd // len(ends)] + ends[odd % len(ends)])


def loose_parts(mesh: Mesh) -> Ints:
    """(F,) which connected surface each face belongs to."""
    count = len(mesh.vertices_mm)
    pairs = mesh.faces[:, [0, 1, 1, 2]].reshape(-1, 2)
    graph = coo_matrix(
        (np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), (count,) * 2
    )
    label = connected_components(graph, directed=False)[1][mesh.faces[:, 0]]
    return np.unique(label, return_inverse=True)[1].astype(np.int32)
