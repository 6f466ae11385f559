"""What does each ray of a picture meet, and how bright is it there?

Rays run parallel, in batches, through Embree scenes that are built once and serve every
view. Embree works in 32-bit floats, about 1e-5 of the size of the part: far under a pixel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.packet.camera import Frame, View

Floats32 = NDArray[np.float32]

CREASE_COS = 0.766  # 40 degrees: a face that leans further than this keeps its own normal
AO_STRIDE = 2  # every second pixel is asked how much sky it sees
AO_PATTERN = 4  # neighbouring pixels share out a 4 x 4 pattern of directions


@dataclass(frozen=True)
class Plane:
    """A cut: what lies on the side of the normal is taken away.

    Args:
        point_mm: (x, y, z) on the plane.
        normal: unit vector toward the part that is taken away.
    """

    point_mm: tuple[float, float, float]
    normal: tuple[float, float, float]


@dataclass
class Hits:
    """What the rays of one picture met; arrays are (H, W) on the sub-pixel grid.

    `solid` is -1 where there is nothing; `cut` marks cut faces of a section.
    """

    depth: Floats32
    solid: NDArray[np.int16]
    cut: NDArray[np.bool_]
    normal: Floats32 = field(default_factory=lambda: np.zeros((0, 0, 3), np.float32))


class Embree:
    """One mesh in Embree, with normals for soft shading."""

    def __init__(self, mesh: Mesh) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self.mesh = mesh
        self.faces = mesh.faces
        self._scene: Any = EmbreeScene()
        self._shape: Any = None
        if len(mesh.faces):
            vertices = np.ascontiguousarray(mesh.vertices_mm, np.float32)
            self._shape = TriangleMesh(self._scene, vertices, np.ascontiguousarray(mesh.faces))

    @cached_property
    def _face_vectors(self) -> Floats32:
        """(F, 3) twice the area times the unit normal, in the 32 bits that pictures need."""
        corners = (self.mesh.vertices_mm - self.mesh.bounds_mm[0]).astype(np.float32)[self.faces]
        first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        return np.cross(first, second)

    @cached_property
    def face_normals(self) -> Floats32:
        """(F, 3) unit normals."""
        return _unit(self._face_vectors)

    @cached_property
    def corner_normals(self) -> Floats32:
        """(F, 3, 3) a normal per corner: smooth over gentle turns, sharp over creases."""
        count = len(self.mesh.vertices_mm)
        sums = np.zeros((count, 3), np.float32)
        for axis in range(3):
            weight = np.repeat(self._face_vectors[:, axis], 3)
            sums[:, axis] = np.bincount(self.faces.ravel(), weight, count)
        smooth = _unit(sums)[self.faces]
        flat = self.face_normals[:, None, :]
        gentle = np.einsum("fkc,fkc->fk", smooth, np.broadcast_to(flat, smooth.shape))
        return np.where((gentle > CREASE_COS)[..., None], smooth, flat)

    def first_hit(self, origins: Floats32, way: Floats32) -> dict[str, NDArray[Any]]:
        """Nearest face on each ray: primID, tfar, u, v."""
        return self._scene.run(origins, _ways(way, len(origins)), output=True)

    def blocked(self, origins: Floats32, ways: Floats32, reach_mm: float) -> NDArray[np.bool_]:
        """(N,) whether anything stands within reach on each ray."""
        if not len(origins):
            return np.zeros(0, bool)
        reach = np.full(len(origins), reach_mm, np.float32)
        found = self._scene.run(origins, _ways(ways, len(origins)), dists=reach, query="OCCLUDED")
        return found == 0

    def normal_at(self, face: NDArray[Any], u: NDArray[Any], v: NDArray[Any]) -> Floats32:
        """(N, 3) unit shading normals at barycentric places on faces."""
        n = self.corner_normals[face]
        weight = np.stack([1 - u - v, u, v], axis=1).astype(np.float32)
        return _unit(np.einsum("nk,nkc->nc", weight, n))


class Stage:
    """Coloured solids, ready to be looked at from any side.

    Args:
        meshes: the solids; in a section, where two claim a place the first one wins.
    """

    def __init__(self, meshes: Sequence[Mesh]) -> None:
        self.meshes = list(meshes)
        ends = np.cumsum([len(m.faces) for m in self.meshes])
        self._solid_of_face = np.repeat(
            np.arange(len(ends), dtype=np.int16), np.diff(ends, prepend=0)
        )
        corners = [m.bounds_mm for m in self.meshes if len(m.faces)]
        low = np.min([c[0] for c in corners], axis=0)
        high = np.max([c[1] for c in corners], axis=0)
        self.middle_mm = (low + high) / 2
        self.reach_mm = float(np.linalg.norm(high - low)) or 1.0

    @cached_property
    def whole(self) -> Embree:
        """All solids as one scene."""
        return Embree(joined(self.meshes))

    @cached_property
    def single(self) -> list[Embree]:
        """One scene per solid, which sections need."""
        return [Embree(m) for m in self.meshes]

    def look(self, *, view: View, frame: Frame, samples: int, cut: Plane | None) -> Hits:
        """Send one ray through every sub-pixel of the frame."""
        right, up = frame.column_mm(samples), frame.row_mm(samples)
        shape = (len(up), len(right))
        hits = Hits(
            depth=np.full(shape, np.inf, np.float32),
            solid=np.full(shape, -1, np.int16),
            cut=np.zeros(shape, bool),
            normal=np.zeros((*shape, 3), np.float32),
        )
        flats = [view.flat(m.vertices_mm) for m in self.meshes if len(m.faces)]
        low = np.min([f.min(axis=0) for f in flats], axis=0)
        high = np.max([f.max(axis=0) for f in flats], axis=0)
        columns = np.flatnonzero((right >= low[0]) & (right <= high[0]))
        rows = np.flatnonzero((up >= low[1]) & (up <= high[1]))
        if not len(columns) or not len(rows):
            return hits
        box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        origins = self._origins(right[box[1]], up[box[0]], view)
        trace = self._trace_whole if cut is None else self._trace_cut
        depth, solid, on_cut, normal = trace(origins, view, cut)
        part = (rows[-1] - rows[0] + 1, columns[-1] - columns[0] + 1)
        hits.depth[box], hits.solid[box] = depth.reshape(part), solid.reshape(part)
        hits.cut[box], hits.normal[box] = on_cut.reshape(part), normal.reshape(*part, 3)
        return hits

    def _origins(self, right: NDArray[Any], up: NDArray[Any], view: View) -> Floats32:
        # Close to the part: 32-bit depths lose a digit for every factor of ten in distance.
        start = view.eye * (self.middle_mm @ view.eye + self.reach_mm)
        origins = (
            (up[:, None, None] * view.up).astype(np.float32)
            + (right[None, :, None] * view.right).astype(np.float32)
            + start.astype(np.float32)
        )
        return origins.reshape(-1, 3)

    def _trace_whole(self, origins: Floats32, view: View, cut: Plane | None) -> tuple[Any, ...]:
        found = self.whole.first_hit(origins, (-view.eye).astype(np.float32))
        on = found["primID"] >= 0
        face = found["primID"][on]
        solid = np.full(len(origins), -1, np.int16)
        solid[on] = self._solid_of_face[face]
        normal = np.zeros((len(origins), 3), np.float32)
        normal[on] = _toward(self.whole.normal_at(face, found["u"][on], found["v"][on]), view)
        depth = np.where(on, found["tfar"], np.float32(np.inf))
        return depth, solid, np.zeros(len(origins), bool), normal

    def _trace_cut(self, origins: Floats32, view: View, cut: Plane | None) -> tuple[Any, ...]:
        assert cut is not None
        n = np.asarray(cut.normal, np.float32)
        eye = view.eye.astype(np.float32)
        facing = float(n @ eye)
        assert facing > 0.05, "a cut is looked at from the side that is taken away"
        point = np.asarray(cut.point_mm, np.float32)
        to_plane = ((origins - point) @ n / np.float32(facing)).astype(np.float32)
        starts = origins - to_plane[:, None] * eye
        depth = np.full(len(origins), np.inf, np.float32)
        solid = np.full(len(origins), -1, np.int16)
        on_cut = np.zeros(len(origins), bool)
        normal = np.zeros((len(origins), 3), np.float32)
        for index, scene in enumerate(self.single):
            rays = np.flatnonzero(~on_cut & self._near(index, starts, view))
            if not len(rays):
                continue
            found = scene.first_hit(starts[rays], -eye)
            met = np.flatnonzero(found["primID"] >= 0)
            face, far = found["primID"][met], found["tfar"][met]
            # Where the first face is met from within, the plane cuts this solid.
            leaving = (scene.face_normals @ eye)[face] < 0
            inside = rays[met[leaving]]
            solid[inside], depth[inside], normal[inside], on_cut[inside] = index, 0.0, n, True
            nearer = ~leaving & (far < depth[rays[met]])
            at, hit = rays[met[nearer]], met[nearer]
            solid[at], depth[at] = index, far[nearer]
            bent = scene.normal_at(face[nearer], found["u"][hit], found["v"][hit])
            normal[at] = _toward(bent, view)
        return depth + to_plane, solid, on_cut, normal

    def _near(self, index: int, starts: Floats32, view: View) -> NDArray[np.bool_]:
        """(N,) whether a ray runs through the outline box of one solid."""
        vertices = self.meshes[index].vertices_mm
        near = np.full(len(starts), len(vertices) > 0)
        for axis in (view.right, view.up):
            if len(vertices):
                along, place = vertices @ axis, starts @ axis.astype(np.float32)
                near &= (place >= along.min()) & (place <= along.max())
        return near

    def openness(
        self, hits: Hits, *, view: View, frame: Frame, samples: int, rays: int
    ) -> Floats32:
        """(h, w) how much of the sky each pixel sees, 0 to 1, at one sample per pixel.

        Every second pixel is looked at. The directions are cosine-weighted and spread over
        4 x 4 of these, then averaged over such a block where depth and normal agree; the
        pixels between take the neighbour nearest to them in depth.
        """
        stride = AO_STRIDE * samples
        depth, normal = hits.depth[::stride, ::stride], hits.normal[::stride, ::stride]
        on = np.isfinite(depth)
        rows, columns = np.nonzero(on)
        share = np.ones(depth.shape, np.float32)
        if not len(rows):
            return np.ones(hits.depth[::samples, ::samples].shape, np.float32)
        right = frame.column_mm(samples)[::stride][columns]
        up = frame.row_mm(samples)[::stride][rows]
        along = self.middle_mm @ view.eye + self.reach_mm - depth[on]
        place = np.outer(right, view.right) + np.outer(up, view.up) + np.outer(along, view.eye)
        slot = rows % AO_PATTERN * AO_PATTERN + columns % AO_PATTERN
        share[on] = self._sky_share(place.astype(np.float32), normal[on], slot, rays)
        even = _smoothed(share, depth, normal, on, step_mm=6 * AO_STRIDE * frame.mm_per_px)
        return _between(even, depth, hits.depth[::samples, ::samples])

    def _sky_share(self, place: Floats32, n: Floats32, slot: NDArray[Any], rays: int) -> Floats32:
        """(N,) share of unblocked directions at places with normals."""
        starts = place + n * np.float32(1e-3 * self.reach_mm)
        sky = _directions(rays * AO_PATTERN**2).reshape(rays, AO_PATTERN**2, 3)
        first, second = _tangents(n)
        free = np.zeros(len(place), np.float32)
        for ray in range(rays):
            d = sky[ray][slot]
            way = first * d[:, :1] + second * d[:, 1:2] + n * d[:, 2:]
            free += ~self.whole.blocked(starts, way, 0.3 * self.reach_mm)
        return free / rays


def _ways(way: Floats32, count: int) -> Floats32:
    return np.ascontiguousarray(np.broadcast_to(way, (count, 3)), np.float32)


def _unit(vectors: Floats32) -> Floats32:
    length = np.sqrt(np.einsum("...c,...c->...", vectors, vectors))[..., None]
    return vectors / np.maximum(length, np.float32(1e-20))


def _toward(normal: Floats32, view: View) -> Floats32:
    """Normals turned to the eye, so that the inside of an open surface is shaded too."""
    away = normal @ view.eye.astype(np.float32) < 0
    normal[away] *= -1
    return normal


def _directions(count: int) -> Floats32:
    """(count, 3) cosine-weighted directions around +z; the same in every run."""
    order = np.random.Generator(np.random.PCG64(7)).permutation(count)
    share = (np.arange(count) + 0.5) / count
    turn = 2 * np.pi * ((np.arange(count) * 0.6180339887498949) % 1.0)
    flat = np.sqrt(share)
    d = np.stack([flat * np.cos(turn), flat * np.sin(turn), np.sqrt(1 - share)], axis=1)
    return d[order].astype(np.float32)


def _tangents(n: Floats32) -> tuple[Floats32, Floats32]:
    """Two unit vectors across each normal."""
    helper = np.where(np.abs(n[:, 2:]) < 0.9, np.float32([0, 0, 1]), np.float32([1, 0, 0]))
    first = _unit(np.cross(n, helper).astype(np.float32))
    return first, np.cross(n, first).astype(np.float32)


def _smoothed(
    share: Floats32, depth: Floats32, normal: Floats32, on: NDArray[np.bool_], *, step_mm: float
) -> Floats32:
    """Average over a block of the pattern, along rows then columns, not across edges."""
    for axis in (0, 1):
        total = np.zeros_like(share)
        weight = np.zeros_like(share)
        for shift in range(-2, 3):
            near = on & np.roll(on, shift, axis)
            with np.errstate(invalid="ignore"):
                near &= np.abs(depth - np.roll(depth, shift, axis)) < step_mm
            near &= np.einsum("ijk,ijk->ij", normal, np.roll(normal, shift, axis)) > 0.8
            w = near * np.float32(0.5 if abs(shift) == 2 else 1.0)
            total += w * np.roll(share, shift, axis)
            weight += w
        share = np.where(weight > 0, total / np.maximum(weight, 1e-6), share)
    return share


def _between(even: Floats32, depth: Floats32, fine_depth: Floats32) -> Floats32:
    """Values at every pixel from those at every second one, by the nearest depth."""
    rows, columns = np.indices(fine_depth.shape, sparse=True)
    best = np.full(fine_depth.shape, np.inf, np.float32)
    out = np.ones(fine_depth.shape, np.float32)
    for down in (0, 1):
        for over in (0, 1):
            r = np.minimum((rows + down) // AO_STRIDE, depth.shape[0] - 1)
            c = np.minimum((columns + over) // AO_STRIDE, depth.shape[1] - 1)
            with np.errstate(invalid="ignore"):
                gap = np.abs(depth[r, c] - fine_depth)
            closer = gap < best
            out[closer], best[closer] = even[r, c][closer], gap[closer]
    return out
