"""Is there a plane in which a mesh mirrors onto itself, and how far is it off?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.figures import told_number
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.lines.figure import Plane
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.revision.places import even_places
from firstpull.core.mesh.revision.simplify import with_edges_up_to
from firstpull.core.mesh.tree import Tree

WAYS = 300  # directions looked at, over a half sphere
SAMPLES = 800  # places of the surface for the first look
STARTS = 4  # planes that are fitted roughly
ROUGH = (1500, 12)  # places and rounds for each of them
FINE = (6000, 30)  # and for the best
CELLS = 50  # across the diagonal: triangles are no larger when the surface is measured
LIMIT_SHARE = 0.01
"""Share of the diagonal that half of the surface may be off before there is no mirror."""

BEND_SHARE = 0.1  # of the diagonal: what a normal turned by a radian counts as


@dataclass(frozen=True)
class Mirror:
    """A plane of symmetry and what departs from it.

    The surface's distance from its mirror image is the same both ways, as mirroring twice
    changes nothing.

    Args:
        plane: of symmetry; the first coordinate of its normal that is not 0 is positive.
        mesh: the surface as it was measured: the mesh with its large triangles cut up. The
            mesh's own vertices come first.
        off_mm: (V,) distance of the mirror image of each of its vertices from the surface.
        weight_mm2: (V,) area that belongs to each.
    """

    plane: Plane
    mesh: Mesh
    off_mm: Floats
    weight_mm2: Floats

    @property
    def median_mm(self) -> float:
        """Half of the surface is off by no more."""
        return self.off_over_share_mm(0.5)

    @property
    def p95_mm(self) -> float:
        """95 % of the surface is off by no more."""
        return self.off_over_share_mm(0.95)

    @property
    def largest_mm(self) -> float:
        """What the worst vertex is off."""
        return float(self.off_mm[self.weight_mm2 > 0].max())

    def off_over_share_mm(self, share: float) -> float:
        """What the best ``share`` of the surface, by area, is off at most."""
        order = np.argsort(self.off_mm, kind="stable")
        so_far = np.cumsum(self.weight_mm2[order])
        at = int(np.searchsorted(so_far, share * so_far[-1] * (1.0 - 1e-12)))
        return float(self.off_mm[order[min(at, len(order) - 1)]])

    def share_within(self, tol_mm: float) -> float:
        """Share of the surface, by area, that is off by no more than a tolerance."""
        return float(self.weight_mm2[self.off_mm <= tol_mm].sum() / self.weight_mm2.sum())

    def spots_off(self, *, tol_mm: float) -> list[Spot]:
        """Where the surface is off by more than a tolerance, the worst first.

        A dent on one side shows twice: where it is, and where its image would be.
        """
        off = (self.off_mm > tol_mm) & (self.weight_mm2 > 0)
        found = [self._spot(own) for own in _patches(self.mesh, off)]
        return sorted(found, key=lambda spot: (-spot.largest_mm, *spot.worst_mm))

    def _spot(self, own: NDArray[np.int64]) -> Spot:
        worst = own[np.argmax(self.off_mm[own])]
        x, y, z = self.mesh.vertices_mm[worst].tolist()
        area = float(self.weight_mm2[own].sum())
        return Spot((x, y, z), float(self.off_mm[worst]), area)

    def in_words(self) -> str:
        """How symmetric, and where least, in one sentence."""
        tol_mm = max(self.p95_mm, 0.01)
        said = (
            f"Symmetric within {told_number(tol_mm, 2)} mm over"
            f" {100 * self.share_within(tol_mm):.0f} %"
        )
        spots = self.spots_off(tol_mm=tol_mm)
        if not spots:
            return f"{said} of the surface."
        x, y, z = (f"{v + 0.0:.0f}" for v in spots[0].worst_mm)
        most = told_number(spots[0].largest_mm, 2)
        return f"{said} of the surface; off by {most} mm near x {x}, y {y}, z {z} mm."


@dataclass(frozen=True)
class Spot:
    """A patch of the surface that its mirror image misses.

    Args:
        worst_mm: the place that is off most.
        largest_mm: what it is off.
        area_mm2: area of the patch.
    """

    worst_mm: tuple[float, float, float]
    largest_mm: float
    area_mm2: float


def mirrored(points_mm: Floats, plane: Plane) -> Floats:
    """(N, 3) points mirrored in a plane.

    >>> mirrored(np.array([[3.0, 1.0, 2.0]]), Plane.across("x", 1.0)).tolist()
    [[-1.0, 1.0, 2.0]]
    """
    away = (points_mm - plane.point_mm) @ plane.normal
    return np.asarray(points_mm - 2.0 * away[:, None] * plane.normal)


def find_mirror(mesh: Mesh, *, limit_share: float = LIMIT_SHARE) -> Mirror | None:
    """The plane that mirrors a mesh onto itself best, found without being told where.

    Planes through the middle of the surface are tried in directions all over; the best few are
    fitted by moving each place's image onto the surface, those far off counting for nothing, so
    that a dent on one side does not tilt the plane. Where several fit equally, as on a ball,
    one of them is returned, always the same.

    Args:
        mesh: closed or open.
        limit_share: share of the diagonal that half of the surface may be off.

    Returns:
        the plane and what is off: exact at vertices, not bounded between them; none where half
        of the surface is off by more than the limit.

    Raises:
        NoTriangles, BadCoordinates, NoArea: see ``need_surface``.

    Source: matching a surface to its image by nearest places, after Besl & McKay 1992, with
    distances along normals, after Chen & Medioni 1992.
    """
    need_surface(mesh)
    low, high = mesh.bounds_mm
    diagonal = float(np.linalg.norm(high - low))
    tree = Tree.of(mesh)
    points, normals = even_places(mesh, FINE[0])
    some = slice(None, None, FINE[0] // ROUGH[0])
    rough = [
        _fitted(start, points[some], normals[some], mesh, tree, diagonal, rounds=ROUGH[1])
        for start in _starts(points, normals, diagonal)
    ]
    best = min(rough, key=lambda fit: _misfit(fit, points[some], tree, diagonal))
    plane = _fitted(best, points, normals, mesh, tree, diagonal, rounds=FINE[1])
    measured = with_edges_up_to(mesh, edge_mm=diagonal / CELLS)
    off, _, _ = tree.closest(mirrored(measured.vertices_mm, plane))
    off.flags.writeable = False
    found = Mirror(plane, measured, off, _vertex_areas(measured))
    return found if found.median_mm <= limit_share * diagonal else None


def _starts(points: Floats, normals: Floats, diagonal: float) -> list[Plane]:
    """The most promising planes through the middle, no two alike."""
    from scipy.spatial import cKDTree

    middle = points.mean(axis=0)
    step = max(1, len(points) // SAMPLES)
    few, ways = points[::step] - middle, normals[::step]
    bend = BEND_SHARE * diagonal
    tree = cKDTree(np.column_stack([few, bend * ways]))
    tried = np.concatenate([_axes(few), _axes(ways), _half_sphere(WAYS)])
    scores = np.empty(len(tried))
    for n, way in enumerate(tried):
        image = few - 2.0 * (few @ way)[:, None] * way
        turned = ways - 2.0 * (ways @ way)[:, None] * way
        away, _ = tree.query(np.column_stack([image, bend * turned]))
        scores[n] = np.minimum(away, bend).mean()
    kept: list[Floats] = []
    for n in np.argsort(scores, kind="stable"):
        if all(abs(tried[n] @ other) < np.cos(np.radians(15.0)) for other in kept):
            kept.append(tried[n])
        if len(kept) == STARTS:
            break
    return [Plane(middle, way) for way in kept]


def _axes(vectors: Floats) -> Floats:
    """(3, 3) the principal directions of vectors from the origin."""
    return np.asarray(np.linalg.eigh(vectors.T @ vectors)[1].T)


def _half_sphere(count: int) -> Floats:
    """(count, 3) directions spread evenly over half a sphere, on a spiral."""
    n = np.arange(count)
    up = (n + 0.5) / count
    around = n * np.pi * (3.0 - np.sqrt(5.0))
    flat = np.sqrt(1.0 - up * up)
    return np.stack([flat * np.cos(around), flat * np.sin(around), up], axis=1)


def _fitted(
    plane: Plane,
    points: Floats,
    normals: Floats,
    mesh: Mesh,
    tree: Tree,
    diagonal: float,
    *,
    rounds: int,
) -> Plane:
    """The plane after moving the images of places onto the surface."""
    middle = plane.point_mm
    way, shift = plane.normal, 0.0
    away = points - middle
    reach = 0.1 * diagonal
    for _ in range(rounds):
        height = away @ way - shift
        image = points - 2.0 * height[:, None] * way
        distance, face, place = tree.closest(image)
        facing = mesh.face_normals[face]
        turned = normals - 2.0 * (normals @ way)[:, None] * way
        agree = np.einsum("ij,ij->i", facing, turned) > 0.5
        # distances four spreads off count for nothing (Tukey's biweight)
        spread = 1.4826 * float(np.median(distance[agree])) if agree.any() else reach
        reach = min(reach, max(4.7 * spread, 1e-6 * diagonal))
        weight = np.where(agree, np.maximum(1.0 - (distance / reach) ** 2, 0.0) ** 2, 0.0)
        step = _step(way, away, height, image - place, facing, weight)
        way = way + step[:3]
        way = way / np.linalg.norm(way)
        shift += step[3]
        if np.linalg.norm(step[:3]) * diagonal + abs(step[3]) < 1e-9 * diagonal:
            break
    return _oriented(middle + shift * way, way)


def _step(
    way: Floats, away: Floats, height: Floats, gap: Floats, facing: Floats, weight: Floats
) -> Floats:
    """(4,) change of the normal and of the shift that closes the gaps along the normals best.

    The image of p is p - 2 h n with h = p n - s; its change with n is -2 (p dn) n - 2 h dn,
    with s it is 2 ds n.
    """
    plane = Plane([0, 0, 0], way)
    along = np.einsum("ij,j->i", facing, way)
    columns = [-2.0 * ((away @ t) * along + height * (facing @ t)) for t in (plane.right, plane.up)]
    matrix = np.stack([*columns, 2.0 * along], axis=1)
    off = -np.einsum("ij,ij->i", gap, facing)
    root = np.sqrt(weight)
    # directions in which the surface slides on itself are left alone
    turn_a, turn_b, shift = np.linalg.lstsq(matrix * root[:, None], off * root, rcond=1e-6)[0]
    change = turn_a * plane.right + turn_b * plane.up
    size = float(np.linalg.norm(change))
    if size > 0.2:
        change, shift = change * 0.2 / size, shift * 0.2 / size
    return np.array([*change, shift])


def _misfit(plane: Plane, points: Floats, tree: Tree, diagonal: float) -> float:
    distance, _, _ = tree.closest(mirrored(points, plane))
    return float(np.minimum(distance, 0.02 * diagonal).mean())


def _oriented(point: Floats, way: Floats) -> Plane:
    """The plane with its normal's first coordinate that is not 0 positive."""
    lead = way[np.argmax(np.abs(way) > 1e-9)]
    return Plane(point, way if lead > 0 else -way)


def _patches(mesh: Mesh, chosen: Flags) -> list[NDArray[np.int64]]:
    """Chosen vertices in groups that hang together along edges."""
    a, b = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    link = chosen[a] & chosen[b]
    label = grouped(a[link], b[link], len(chosen))
    own = np.flatnonzero(chosen)
    own = own[np.argsort(label[own], kind="stable")]
    return np.split(own, np.flatnonzero(np.diff(label[own])) + 1) if len(own) else []


def _vertex_areas(mesh: Mesh) -> Floats:
    """(V,) a third of the area of the faces around each vertex."""
    areas = np.repeat(mesh.face_areas_mm2 / 3.0, 3)
    weight = np.bincount(mesh.faces.ravel(), weights=areas, minlength=len(mesh.vertices_mm))
    weight.flags.writeable = False
    return np.asarray(weight, dtype=np.float64)
