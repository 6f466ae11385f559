"""How thick is the wall at each place? By the largest ball that fits under the surface there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import DEPTH, Tree, square_to_box, square_to_face

MOST_MM = 50.0
SPACING_MM = 2.0
FINEST = 48  # parts that a side of one large face is cut into at most
AGAINST = -0.5
"""Two faces bound a wall where the cosine between their normals is below this. A wedge of
less than 60 degrees is a wall that runs out; the two sides of a square edge are not a wall."""

BLOCK = 512  # places worked on one after the other
_TURNS = 40  # of shrinking a ball onto one face; five are usual


@dataclass(frozen=True)
class Thickness:
    """Wall thickness over the faces of a closed mesh.

    Args:
        wall_mm: (F,) diameter of the ball at the thinnest place looked at on each face; the
            most that was asked for where the wall is thicker.
        places_mm: (F, 3) that place, on the surface.
        across: (F,) the face on the other side of the wall, -1 where none is near enough.
    """

    wall_mm: Floats
    places_mm: Floats
    across: NDArray[np.int32]


@dataclass(frozen=True)
class ThinWall:
    """Faces side by side where the wall is thinner than a limit.

    Args:
        faces: their numbers.
        area_mm2: how much surface they have, on both sides of the wall.
        least_mm: the thinnest place.
        place_mm: where that is.
    """

    faces: NDArray[np.int32]
    area_mm2: float
    least_mm: float
    place_mm: tuple[float, float, float]


def wall_thickness(
    mesh: Mesh,
    *,
    most_mm: float = MOST_MM,
    spacing_mm: float = SPACING_MM,
    tree: Tree | None = None,
) -> Thickness:
    """Thickness of the wall under each face, by inscribed balls.

    The ball touches the surface at a place from inside and grows until it meets a face that
    looks the other way; its diameter is the thickness. On a flat wall that is the plain
    distance to the other side, and it is never more than that.

    Args:
        mesh: closed and outward.
        most_mm: thickness up to which to look.
        spacing_mm: faces longer than this are looked at in several places, this far apart.
        tree: of the mesh, where it is known already.

    Source: the shrinking ball of Ma, Bae and Choi, 3D medial axis point approximation using
    nearest neighbors and the normal field (2012), here against triangles, not points.

    >>> from firstpull.core.mesh.mesh import Mesh
    >>> plate = Mesh([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 2)],
    ...     [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    ...      [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]])
    >>> thick = wall_thickness(plate)
    >>> sorted(set(thick.wall_mm.round(6).tolist()))
    [2.0, 9.0]
    """
    tree = tree or Tree.of(mesh)
    points, owner = _samples(mesh, spacing_mm)
    radius, found = _radii(
        points,
        mesh.face_normals[owner],
        0.5 * most_mm,
        tree.boxes_mm,
        tree.start,
        tree.corners_mm,
        mesh.face_normals[tree.order],
    )
    chosen = _thinnest(radius, owner, len(mesh.faces))
    across = np.append(tree.order, np.int32(-1))[found[chosen]]
    return Thickness(2.0 * radius[chosen], points[chosen], across)


def thin_walls(
    mesh: Mesh, thickness: Thickness, *, under_mm: float, least_area_mm2: float = 1.0
) -> tuple[ThinWall, ...]:
    """Where the wall is thinner than a limit, the largest place first.

    Args:
        least_area_mm2: patches with less surface are left out: they are the tip of an edge.
    """
    from firstpull.core.mesh.adjacency import face_pairs

    thin: Flags = np.asarray(thickness.wall_mm < under_mm)
    if not thin.any():
        return ()
    label = _patches(face_pairs(mesh), thickness, thin)
    areas = mesh.face_areas_mm2
    found = []
    for patch in np.unique(label[thin]):
        faces = np.flatnonzero(thin & (label == patch)).astype(np.int32)
        area = float(areas[faces].sum())
        if area < least_area_mm2:
            continue
        worst = faces[int(np.argmin(thickness.wall_mm[faces]))]
        x, y, z = thickness.places_mm[worst]
        found.append(
            ThinWall(faces, area, float(thickness.wall_mm[worst]), (float(x), float(y), float(z)))
        )
    return tuple(sorted(found, key=lambda wall: -wall.area_mm2))


def _patches(pairs: Any, thickness: Thickness, thin: Flags) -> NDArray[np.int32]:
    """(F,) number of the thin place, faces across a wall from each other counting as one."""
    beside = thin[pairs.a] & thin[pairs.b]
    over = np.flatnonzero(thin & (thickness.across >= 0))
    over = over[thin[thickness.across[over]]]
    a = np.concatenate([pairs.a[beside], over])
    b = np.concatenate([pairs.b[beside], thickness.across[over]])
    return grouped(a, b, len(thin))


def _samples(mesh: Mesh, spacing_mm: float) -> tuple[Floats, NDArray[np.int32]]:
    """Places on the faces with an area, no farther apart than the spacing, and their faces."""
    corners = mesh.corners_mm
    sides = corners - np.roll(corners, 1, axis=1)
    longest = np.sqrt(np.einsum("fij,fij->fi", sides, sides).max(axis=1))
    parts = np.clip(np.ceil(longest / spacing_mm), 1, FINEST).astype(np.int64)
    points, owner = [], []
    for count in np.unique(parts):
        faces = np.flatnonzero(parts == count).astype(np.int32)
        weights = _centres_of_parts(int(count))
        spots = np.einsum("pk,fkj->fpj", weights, corners[faces])
        points.append(spots.reshape(-1, 3))
        owner.append(np.repeat(faces, len(weights)))
    return np.concatenate(points), np.concatenate(owner)


def _centres_of_parts(count: int) -> Floats:
    """(count^2, 3) weights of the centres of the equal parts a triangle is cut into."""
    up = [(i, j) for i in range(count) for j in range(count - i)]
    down = [(i, j) for i in range(count - 1) for j in range(count - 1 - i)]
    a = np.array(
        [(i + 1 / 3, j + 1 / 3) for i, j in up] + [(i + 2 / 3, j + 2 / 3) for i, j in down]
    )
    a = a / count
    return np.column_stack([a, 1.0 - a.sum(axis=1)])


@njit(cache=True, parallel=True)
def _radii(
    points: Any,
    ways: Any,
    most: float,
    boxes: Any,
    start: Any,
    corners: Any,
    normals: Any,
) -> Any:
    """The radius at each place and what stops the ball there: a face of the tree, or -1.

    A ball starts half as large again as the one before, which lay close by, and twice as
    large once more until something stops it.
    """
    n = len(points)
    radius = np.empty(n)
    across = np.full(n, -1, dtype=np.int32)
    for block in prange((n + BLOCK - 1) // BLOCK):
        nodes = np.empty(2 * DEPTH, dtype=np.int32)
        spot = np.empty(3)
        before, likely = most, -1
        for i in range(BLOCK * block, min(n, BLOCK * block + BLOCK)):
            r = min(most, 1.5 * before)
            while True:
                r, across[i] = _shrunk(
                    i, r, likely, points, ways, boxes, start, corners, normals, nodes, spot
                )
                if across[i] >= 0 or r >= most:
                    break
                r = min(2.0 * r, most)
            radius[i], likely = r, across[i]
            if r > 0.0:
                before = r
    return radius, across


@njit(cache=True)
def _shrunk(
    i: int,
    r: float,
    likely: int,
    points: Any,
    ways: Any,
    boxes: Any,
    start: Any,
    corners: Any,
    normals: Any,
    nodes: Any,
    spot: Any,
) -> Any:
    """A ball made smaller until no face that looks against its own reaches into it."""
    leaves = len(start) - 1
    nx, ny, nz = ways[i, 0], ways[i, 1], ways[i, 2]
    px, py, pz = points[i, 0], points[i, 1], points[i, 2]
    found = -1
    if (
        likely >= 0
        and nx * normals[likely, 0] + ny * normals[likely, 1] + nz * normals[likely, 2] < AGAINST
    ):
        less = _beside(likely, r, px, py, pz, nx, ny, nz, corners, spot)
        if less < r:
            r, found = less, likely
    nodes[0] = 0
    top = 1
    while top:
        top -= 1
        node = nodes[top]
        if square_to_box(px - r * nx, py - r * ny, pz - r * nz, boxes, node) >= r * r:
            continue
        if node < leaves - 1:
            nodes[top], nodes[top + 1] = 2 * node + 1, 2 * node + 2
            top += 2
            continue
        leaf = node - leaves + 1
        for face in range(start[leaf], start[leaf + 1]):
            if nx * normals[face, 0] + ny * normals[face, 1] + nz * normals[face, 2] >= AGAINST:
                continue
            less = _beside(face, r, px, py, pz, nx, ny, nz, corners, spot)
            if less < r:
                r, found = less, face
    return r, found


@njit(cache=True)
def _beside(face, r, px, py, pz, nx, ny, nz, corners, spot):  # type: ignore[no-untyped-def]
    """The radius at which a face that looks against the ball's own no longer reaches into it."""
    for _ in range(_TURNS):
        cx, cy, cz = px - r * nx, py - r * ny, pz - r * nz
        if square_to_face(cx, cy, cz, corners, face, spot) >= r * r * (1.0 - 1e-9):
            break
        dx, dy, dz = px - spot[0], py - spot[1], pz - spot[2]
        depth = dx * nx + dy * ny + dz * nz
        if depth <= 0.0:
            break
        r = min(r, 0.5 * (dx * dx + dy * dy + dz * dz) / depth)
    return r


@njit(cache=True)
def _thinnest(wall: Any, owner: Any, faces: int) -> Any:
    """(F,) the sample with the thinnest wall of each face."""
    chosen = np.full(faces, -1, dtype=np.int64)
    for i in range(len(wall)):
        known = chosen[owner[i]]
        if known < 0 or wall[i] < wall[known]:
            chosen[owner[i]] = i
    return chosen
