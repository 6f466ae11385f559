"""Which way is inward at each vertex of an open surface, and how far may its inner side go?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh

GAP_SHARE = 0.45  # of the hollow's width that each of two facing walls may take
MITRE = 2.0  # no corner of the inner sheet goes farther than this many walls
ROUNDS = 24  # of making the wall thinner where it folds
EASINGS = 6  # of spreading the ways around a crease
WORK = 30_000_000  # vertices times rounds that one easing may take


@dataclass(frozen=True)
class Sheet:
    """An open surface with what is asked of it again and again.

    Args:
        surface: the mesh itself, looking away from the hollow.
        vectors_mm2: (F, 3) area times unit normal of each face.
        normals: (F, 3) unit normals; zero for a face without area.
        angles: (F, 3) corner angles; zero for a face without area.
        link: sparse (V, V), averages over a vertex's neighbours.
        edge_mm: the usual length of an edge.
    """

    surface: Mesh
    vectors_mm2: Floats
    normals: Floats
    angles: Floats
    link: Any
    edge_mm: float

    @staticmethod
    def of(surface: Mesh) -> Sheet:
        """Everything measured once."""
        corners = surface.corners_mm
        vectors = surface.face_vectors_mm2
        normals = _unit(vectors)
        flat = np.linalg.norm(normals, axis=1) == 0.0
        edge = np.median(np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1))
        return Sheet(
            surface=surface,
            vectors_mm2=vectors,
            normals=normals,
            angles=np.where(flat[:, None], 0.0, _corner_angles(corners)),
            link=_neighbours(surface),
            edge_mm=float(max(edge, 1e-9)),
        )

    def vertex_areas_mm2(self) -> Floats:
        """(V,) a third of the faces around each vertex."""
        areas = np.linalg.norm(self.vectors_mm2, axis=1) / 3.0
        return self.gathered(np.broadcast_to(areas[:, None], self.angles.shape))

    def gathered(self, values: Floats) -> Floats:
        """(V,) sum over the corners at each vertex of (F, 3) values."""
        n = len(self.surface.vertices_mm)
        total = np.bincount(self.surface.faces.ravel(), weights=values.ravel(), minlength=n)
        return total.astype(np.float64)

    def vertex_normals(self) -> Floats:
        """(V, 3) unit normals, each face counting by its angle at the vertex."""
        axes = [self.gathered(self.angles * self.normals[:, axis, None]) for axis in range(3)]
        return _unit(np.stack(axes, axis=1))


def inner_side(sheet: Sheet, *, wall_mm: float) -> tuple[Floats, Floats, Floats]:
    """Where the inner side of a wall goes.

    Returns:
        (V, 3) unit ways inward; (V,) how far a full wall reaches along them; (V,) how far it
        may go without meeting the other side of a tight hollow or folding over itself.
    """
    way = _eased(sheet, _inward(sheet, wall_mm), wall_mm)
    reach = _reach(sheet, way, wall_mm)
    depth = np.minimum(reach, GAP_SHARE * _free_depth(sheet.surface, way))
    return way, reach, _unfolded(sheet, way, depth, wall_mm)


def _inward(sheet: Sheet, wall_mm: float) -> Floats:
    """(V, 3) unit ways inward, lightly smoothed."""
    normals = sheet.vertex_normals()
    smooth = normals
    for _ in range(min(_rounds(sheet, 0.25 * wall_mm), 20)):
        smooth = _unit(smooth + sheet.link @ smooth)
    lost = np.einsum("ij,ij->i", smooth, normals) <= 0.2
    return -np.where(lost[:, None], normals, smooth)


def _eased(sheet: Sheet, way: Floats, wall_mm: float) -> Floats:
    """The ways, spread wider around places where a full wall would fold.

    Around a sharp crease the ways must turn over about one and a half walls for the inner
    sheet to keep its order; elsewhere they are better left alone.
    """
    grow = int(np.clip(np.ceil(2.0 * wall_mm / sheet.edge_mm), 1, 40))
    for _ in range(EASINGS):
        folded = _folded(sheet, way, _reach(sheet, way, wall_mm))
        if not folded.any():
            break
        near = np.zeros(len(way))
        near[sheet.surface.faces[folded].ravel()] = 1.0
        for _ in range(grow):
            near = np.maximum(near, (sheet.link @ near) > 0)
        region = np.flatnonzero(near)
        rows = sheet.link[region]
        rounds = int(np.clip(_rounds(sheet, wall_mm), 1, WORK // len(region) + 1))
        way = way.copy()
        for _ in range(rounds):
            way[region] = _unit(way[region] + rows @ way)
    return way


def _reach(sheet: Sheet, way: Floats, wall_mm: float) -> Floats:
    """(V,) how far to go along each way so that the wall is square to the faces."""
    cosine = -np.einsum("fj,fkj->fk", sheet.normals, way[sheet.surface.faces])
    total = sheet.gathered(sheet.angles * cosine)
    weight = sheet.gathered(sheet.angles)
    square = np.divide(total, weight, out=np.ones(len(way)), where=weight > 0)
    return np.asarray(wall_mm / np.clip(square, 1.0 / MITRE, 1.0))


def _rounds(sheet: Sheet, spread_mm: float) -> int:
    """Rounds of averaging with the neighbours that spread over a given length."""
    return int(4.0 * (spread_mm / sheet.edge_mm) ** 2)


def _free_depth(surface: Mesh, way: Floats) -> Floats:
    """(V,) length of the way inward to the next piece of the surface."""
    from firstpull.core.mesh.rays import RayScene

    low, high = surface.bounds_mm
    # far enough off the surface for 32-bit rays not to meet the faces they start from
    lift = 1e-5 * float(np.linalg.norm(high - low))
    return RayScene(surface).distance(surface.vertices_mm + lift * way, way) + lift


def _unfolded(sheet: Sheet, way: Floats, depth: Floats, wall_mm: float) -> Floats:
    """The depth, made less where a face of the inner sheet would turn over."""
    steps = int(np.clip(np.ceil(wall_mm / sheet.edge_mm), 2, 30))
    faces = sheet.surface.faces
    a, b = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    depth = depth.copy()
    for _ in range(ROUNDS):
        folded = _folded(sheet, way, depth)
        if not folded.any():
            break
        touched = np.zeros(len(depth))
        touched[faces[folded].ravel()] = 1.0
        for _ in range(steps):  # a step in depth would fold the next face: ease off over a wall
            reached = touched.copy()
            np.maximum.at(reached, a, touched[b] - 1.0 / steps)
            np.maximum.at(reached, b, touched[a] - 1.0 / steps)
            touched = np.maximum(reached, 0.0)
        depth *= 1.0 - 0.15 * touched
    return depth


def _folded(sheet: Sheet, way: Floats, depth: Floats) -> Flags:
    """(F,) whether each face of the inner sheet looks against its outer face."""
    inner = (sheet.surface.vertices_mm + way * depth[:, None])[sheet.surface.faces]
    twice = np.cross(inner[:, 1] - inner[:, 0], inner[:, 2] - inner[:, 0])
    size = np.einsum("ij,ij->i", sheet.vectors_mm2, sheet.vectors_mm2)
    along = 0.5 * np.einsum("ij,ij->i", twice, sheet.vectors_mm2)
    return np.asarray((along < -1e-9 * size) & (size > 0))


def _corner_angles(corners: Floats) -> Floats:
    after = _unit(np.roll(corners, -1, axis=1) - corners)
    before = _unit(np.roll(corners, 1, axis=1) - corners)
    cosine = np.einsum("fij,fij->fi", after, before)
    angles: Floats = np.arccos(np.clip(cosine, -1.0, 1.0))
    return angles


def _neighbours(surface: Mesh) -> Any:
    """Sparse matrix that averages over a vertex's neighbours."""
    from scipy.sparse import coo_matrix, diags

    n = len(surface.vertices_mm)
    a, b = surface.faces.ravel(), surface.faces[:, [1, 2, 0]].ravel()
    link = coo_matrix((np.ones(len(a)), (a, b)), shape=(n, n)).tocsr()
    link = link + link.T
    link.data[:] = 1.0
    valence = np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)
    return (diags(1.0 / valence) @ link).tocsr()


def _unit(vectors: Floats) -> Floats:
    length = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)
