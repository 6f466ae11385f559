"""The heron half-mask as no maker wants to receive it: every common defect, in a known place.

It stands for a sculpt that went through several programs: seams that were never merged, a
patch that slipped by a hair, rivets pushed in instead of joined, one of them inside out, a
vertex dragged through the wall, holes, scraps, and the whole saved in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.demo.heron import heron_half_mask
from firstpull.core.mesh.mesh import Mesh, joined

METRE_MM = 1000.0
SLIP_MM = 0.02  # of the patch that slipped

# x and y of places on the outside, seen from the front, well apart
SEAM, SLIPPED, FINER = (30.0, 45.0), (-30.0, 45.0), (0.0, 52.0)
HOLES = ((52.0, -8.0), (-52.0, -8.0), (58.0, 20.0))
BLISTER, DRAGGED, WORN = (-58.0, 20.0), (22.0, -22.0), (-45.0, -30.0)
RIVETS = ((40.0, 28.0), (-40.0, 28.0), (47.0, -30.0))
TURNED = ((62.0, 5.0), (-62.0, 5.0), (66.0, 42.0))
DOUBLED, NEEDLES = (-66.0, 42.0), (14.0, 30.0)


@dataclass(frozen=True)
class BrokenDemo:
    """The broken mask, and what was done to it.

    Args:
        mesh: in metres.
        planted: how many of each kind of finding there are; None stands for some.
        places_mm: where each was planted, by kind.
    """

    mesh: Mesh
    planted: dict[str, int | None]
    places_mm: dict[str, list[Floats]]


def broken_heron(*, triangles: int = 60_000) -> BrokenDemo:
    """The broken mask, always the same for the same number of triangles.

    Args:
        triangles: of the whole mask it was made from; see heron_half_mask.

    >>> broken_heron().planted["small hole"]
    3
    """
    bench = _Bench(heron_half_mask(triangles=triangles))
    bench.wear_thin(WORN)
    bench.drag(DRAGGED)
    bench.needles(NEEDLES, 4)
    bench.turn(TURNED)
    for place in HOLES:
        bench.hole(place)
    bench.blister(BLISTER)
    bench.seam(SEAM)
    bench.slip(SLIPPED)
    bench.refine(FINER)
    bench.double(DOUBLED, 5)
    bench.collapse(3)
    bench.rivets(RIVETS)
    bench.scraps(4)
    mesh = Mesh(bench.vertices / METRE_MM, bench.faces)
    return BrokenDemo(mesh, bench.planted, bench.places)


class _Bench:
    """The mask while it is being broken: each method plants one defect."""

    def __init__(self, mesh: Mesh) -> None:
        self.vertices = mesh.vertices_mm.copy()
        self.faces: NDArray[np.int64] = mesh.faces.astype(np.int64)
        self.planted: dict[str, int | None] = {}
        self.places: dict[str, list[Floats]] = {}

    def wear_thin(self, place: tuple[float, float]) -> None:
        """The inner side pushed out until 0.8 mm of the wall are left, over a coin's size."""
        at, normal = self._outside(place)
        inner = at - 3.0 * normal
        away = np.linalg.norm(self.vertices - inner, axis=1)
        own = self._normals() @ normal < -0.7
        push = np.where(own & (away < 7.0), 2.2 * np.clip(1.4 - away / 5.0, 0.0, 1.0), 0.0)
        self.vertices += push[:, None] * normal
        self._note("thin wall", None, at)

    def drag(self, place: tuple[float, float]) -> None:
        """A vertex dragged through the wall and out behind it."""
        vertex, normal = self._vertex(place)
        self.vertices[vertex] -= 4.5 * normal
        self._note("self-crossing", None, self.vertices[vertex])

    def needles(self, place: tuple[float, float], count: int) -> None:
        """Vertices set beside an edge instead of on it: each leaves one needle."""
        for face in self._faces_near(place, count, apart=True):
            a, b, c = self.faces[face]
            weight = np.array([0.4985, 0.4985, 0.003])
            new = self._add(weight @ self.vertices[[a, b, c]])
            self.faces[face] = (a, b, new)
            self.faces = np.concatenate([self.faces, [[b, c, new], [c, a, new]]])
            self._note("needle", 1, self.vertices[new])

    def turn(self, places: tuple[tuple[float, float], ...]) -> None:
        """Faces that look inward."""
        for place in places:
            (face,) = self._faces_near(place, 1)
            self.faces[face] = self.faces[face][::-1]
            self._note("wrong winding", 1, self.vertices[self.faces[face]].mean(axis=0))

    def hole(self, place: tuple[float, float]) -> None:
        """The faces around one vertex missing."""
        vertex, _ = self._vertex(place)
        self.faces = self.faces[~(self.faces == vertex).any(axis=1)]
        self._note("small hole", 1, self.vertices[vertex])

    def blister(self, place: tuple[float, float]) -> None:
        """A second skin over the faces around one vertex: three faces at each edge of it."""
        vertex, normal = self._vertex(place)
        around = self.faces[(self.faces == vertex).any(axis=1)]
        top = self._add(self.vertices[vertex] + 1.5 * normal)
        self.faces = np.concatenate([self.faces, np.where(around == vertex, top, around)])
        self._note("edge of more than two faces", len(around), self.vertices[vertex])

    def seam(self, place: tuple[float, float]) -> None:
        """A patch with vertices of its own along its border: never merged."""
        border = self._part_off(self._patch(place))
        self._note("unmerged vertices", len(border), self.vertices[border].mean(axis=0))

    def slip(self, place: tuple[float, float]) -> None:
        """A patch parted off and shifted by a hair along the surface."""
        patch = self._patch(place)
        _, normal = self._outside(place)
        aside = np.cross(normal, [0.0, 1.0, 0.0])
        border = self._part_off(patch)
        own = np.unique(self.faces[patch])
        self.vertices[own] += SLIP_MM * aside / np.linalg.norm(aside)
        self._note("near vertices", len(border), self.vertices[border].mean(axis=0))

    def refine(self, place: tuple[float, float]) -> None:
        """A patch cut finer than its surroundings: a vertex in the middle of each border edge."""
        patch = self._patch(place)
        chosen = self.faces[patch]
        sides = np.concatenate([chosen[:, [0, 1]], chosen[:, [1, 2]], chosen[:, [2, 0]]])
        ends, number = np.unique(np.sort(sides, axis=1), axis=0, return_inverse=True)
        first = len(self.vertices)
        self.vertices = np.concatenate([self.vertices, self.vertices[ends].mean(axis=1)])
        ab, bc, ca = np.split(number.ravel() + first, 3)
        a, b, c = chosen.T
        rows = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        finer = np.concatenate([np.stack(row, axis=1) for row in rows])
        self.faces = np.concatenate([np.delete(self.faces, patch, axis=0), finer])
        border = int((np.bincount(number.ravel()) == 1).sum())
        self._note("T-joint", border, self._outside(place)[0])

    def double(self, place: tuple[float, float], count: int) -> None:
        """Faces that are there twice."""
        chosen = self._faces_near(place, count)
        self.faces = np.concatenate([self.faces, self.faces[chosen]])
        self._note("duplicate face", count, self.vertices[self.faces[chosen[0]]].mean(axis=0))

    def collapse(self, count: int) -> None:
        """Faces with two corners in one vertex."""
        extra = [[a, a, b] for a, b in pairwise(range(100, 101 + count))]
        self.faces = np.concatenate([self.faces, extra])
        self._note("degenerate face", count, self.vertices[100])

    def rivets(self, places: tuple[tuple[float, float], ...]) -> None:
        """Three rivets pushed into the wall; the second inside out, a ball left in the third."""
        bodies = [Mesh(self.vertices, self.faces)]
        for number, place in enumerate(places):
            at, normal = self._outside(place)
            rivet = _ball(at + 2.0 * normal, 5.0)
            bodies.append(rivet.flipped() if number == 1 else rivet)
            self._note("overlapping bodies", 1, at)
            if number == 1:
                self._note("inside out", 1, at)
            if number == 2:
                bodies.append(_ball(at + 3.0 * normal, 2.6))
                self._note("body inside another", 1, at)
        self._note("overlapping bodies", 1, np.zeros(3))  # the mask itself
        whole = joined(bodies)
        self.vertices, self.faces = whole.vertices_mm.copy(), whole.faces.astype(np.int64)

    def scraps(self, count: int) -> None:
        """Triangles of 2 mm that lie about."""
        for number in range(count):
            corner = np.array([-60.0 + 40.0 * number, -88.0, 60.0])
            a, b, c = (self._add(corner + step) for step in 2.0 * np.eye(3))
            self.faces = np.concatenate([self.faces, [[a, b, c]]])
            self._note("loose bit", 1, corner)

    def _note(self, kind: str, count: int | None, place: Floats) -> None:
        known = self.planted.get(kind, 0)
        self.planted[kind] = None if count is None or known is None else known + count
        self.places.setdefault(kind, []).append(np.array(place))

    def _add(self, point: Floats) -> int:
        self.vertices = np.concatenate([self.vertices, [point]])
        return len(self.vertices) - 1

    def _normals(self) -> Floats:
        mesh = Mesh(self.vertices, self.faces)
        total = np.zeros_like(self.vertices)
        for corner in range(3):
            np.add.at(total, self.faces[:, corner], mesh.face_vectors_mm2)
        length = np.linalg.norm(total, axis=1, keepdims=True)
        return np.asarray(total / np.where(length > 0, length, 1.0))

    def _vertex(self, place: tuple[float, float]) -> tuple[int, Floats]:
        """The vertex on the outside nearest to a place, and the normal there."""
        normals = self._normals()
        away = np.linalg.norm(self.vertices[:, :2] - np.array(place), axis=1)
        near = np.flatnonzero((away < 2.5) & (normals[:, 2] > 0.3))
        outer = near[self.vertices[near, 2] > self.vertices[near, 2].max() - 3.0]
        vertex = int(outer[np.argmin(away[outer])])
        return vertex, normals[vertex]

    def _outside(self, place: tuple[float, float]) -> tuple[Floats, Floats]:
        vertex, normal = self._vertex(place)
        return self.vertices[vertex].copy(), normal

    def _faces_near(
        self, place: tuple[float, float], count: int, *, apart: bool = False
    ) -> NDArray[np.int64]:
        """Faces on the outside near a place; apart from one another if asked."""
        at, normal = self._outside(place)
        mesh = Mesh(self.vertices, self.faces)
        away = np.linalg.norm(mesh.face_centres_mm - at, axis=1)
        order = np.argsort(np.where(mesh.face_normals @ normal > 0.5, away, np.inf), kind="stable")
        if not apart:
            return np.asarray(order[:count])
        chosen: list[int] = []
        used: set[int] = set()
        for face in order:
            corners = set(self.faces[face].tolist())
            if not corners & used:
                chosen.append(int(face))
                used |= corners
            if len(chosen) == count:
                break
        return np.array(chosen)

    def _patch(self, place: tuple[float, float]) -> NDArray[np.int64]:
        """The faces on the outside within 6 mm of a place."""
        at, normal = self._outside(place)
        mesh = Mesh(self.vertices, self.faces)
        near = np.linalg.norm(mesh.face_centres_mm - at, axis=1) < 6.0
        return np.flatnonzero(near & (mesh.face_normals @ normal > 0.5))

    def _part_off(self, patch: NDArray[np.int64]) -> NDArray[np.int64]:
        """Gives a patch vertices of its own; returns the new ones along its border."""
        rest = np.delete(self.faces, patch, axis=0)
        border = np.intersect1d(self.faces[patch], rest)
        number = np.arange(len(self.vertices))
        number[border] = len(self.vertices) + np.arange(len(border))
        self.vertices = np.concatenate([self.vertices, self.vertices[border]])
        self.faces[patch] = number[self.faces[patch]]
        return np.asarray(number[border])


def _ball(centre: Floats, radius_mm: float) -> Mesh:
    """A ball of 16 by 32 patches."""
    polar = np.linspace(0.0, np.pi, 17)[1:-1]
    round_ = np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
    t, p = np.meshgrid(polar, round_, indexing="ij")
    rings = np.stack([np.sin(t) * np.cos(p), np.sin(t) * np.sin(p), np.cos(t)], axis=-1)
    points = np.concatenate([[[0, 0, 1]], rings.reshape(-1, 3), [[0, 0, -1]]])
    i, j = np.meshgrid(np.arange(14), np.arange(32), indexing="ij")
    a, b = 1 + 32 * i + j, 1 + 32 * i + (j + 1) % 32
    k = np.arange(32)
    faces = np.concatenate(
        [
            np.stack([np.zeros(32, dtype=int), 1 + k, 1 + (k + 1) % 32], axis=1),
            np.stack([a, a + 32, b + 32], axis=-1).reshape(-1, 3),
            np.stack([a, b + 32, b], axis=-1).reshape(-1, 3),
            np.stack([449 + k, np.full(32, 481), 449 + (k + 1) % 32], axis=1),
        ]
    )
    return Mesh(centre + radius_mm * points, faces)
