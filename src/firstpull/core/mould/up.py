"""Which way is up on the board: away from the hollow, or away from a flat base.

The hollow of a mask is the largest pocket that its convex hull bridges with a lid that lies
flat; the hull faces of the lid face the board. A long bill makes a large pocket too, but its
lid is a cone whose faces look all around.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene

LEAST_HOLLOW = 0.12  # of the hull's volume: less is a dent, not the inside of a mask
SURE_HOLLOW = 0.30  # from here a hollow counts more than a flat base
OPPOSED = 0.7  # cosine, 45 degrees: from here a side looks the other way
LEAST_BASE = 0.06  # of the hull's area: a base that stands


class UpUnclear(WorkshopError):
    """Nothing about the shape tells which side lies on the board."""

    code = "up_unclear"


class UpUnderBoard(WorkshopError):
    """The given direction lays the side that would be copied face down on the board."""

    code = "up_under_board"


@dataclass(frozen=True)
class Up:
    """The direction away from the board.

    Args:
        direction: unit vector in the mesh's own frame.
        found_by: "hollow", "flat base" or "given".
        why: one sentence.
        hollow_cm3: volume of the hollow under the hull, 0 where there is none.
    """

    direction: tuple[float, float, float]
    found_by: str
    why: str
    hollow_cm3: float


def find_up(mesh: Mesh, *, given: ArrayLike | None = None) -> Up:
    """Up for this master.

    Args:
        mesh: closed, mm.
        given: a direction the maker chose; it need not have unit length.

    Raises:
        UpUnclear: no hollow and no flat base, or the given direction has no length.
        UpUnderBoard: the given direction turns the open side of a hollow away from the board.
    """
    if given is not None:
        up = _given(np.asarray(given, dtype=np.float64))
        _refuse_under_board(mesh, up)
        return up
    bridges = _hull_pockets(mesh)
    if bridges.is_hollow:
        return Up(
            _as_tuple(-bridges.hollow_normal),
            "hollow",
            f"opposite the hollow of {bridges.hollow_mm3 / 1000:.0f} cm³",
            bridges.hollow_mm3 / 1000.0,
        )
    if bridges.stands:
        return Up(
            _as_tuple(-bridges.base_normal),
            "flat base",
            f"opposite the flat base of {bridges.base_mm2 / 100:.0f} cm²",
            0.0,
        )
    raise UpUnclear(
        where="The shape",
        found="is closed all round, with no hollow and no flat base to lie on the board",
        limit="a one-sided mould needs an open back or a base",
        remedy="Cut the model open at the back or at the neck, or give the direction away from "
        "the board, for example --up 0,0,1.",
    )


def _given(direction: Floats) -> Up:
    length = float(np.linalg.norm(direction)) if direction.shape == (3,) else 0.0
    if not np.isfinite(length) or length < 1e-9:
        raise UpUnclear(
            where="Up",
            found=f"is {direction.tolist()}, which has no direction",
            limit="it needs three numbers that are not all 0",
            remedy="Give for example --up 0,0,1.",
        )
    return Up(_as_tuple(direction / length), "given", "given by the maker", 0.0)


def _refuse_under_board(mesh: Mesh, up: Up) -> None:
    """A mask lying on its face; a dish that stands on a foot of its own may be copied inside."""
    bridges = _hull_pockets(mesh)
    way = np.array(up.direction)
    on_foot = bridges.stands and -bridges.base_normal @ way > OPPOSED
    if not bridges.is_hollow or bridges.hollow_normal @ way < OPPOSED or on_foot:
        return
    x, y, z = (round(-float(c), 2) + 0.0 for c in bridges.hollow_normal)
    raise UpUnderBoard(
        where=f"Up ({', '.join(f'{c:g}' for c in np.round(up.direction, 2) + 0.0)})",
        found=f"turns the open side of the hollow of {bridges.hollow_mm3 / 1000:.0f} cm³ away "
        "from the board, so the show surface would lie under it and the mould copy the inside",
        limit="the open side of a mask lies on the board",
        remedy=f"Give --up {x:g},{y:g},{z:g}, which is opposite the hollow, or leave it out; to "
        "copy the inside, give it a flat base to stand on.",
    )


@dataclass(frozen=True)
class _Pockets:
    hull_mm3: float
    hull_mm2: float
    hollow_mm3: float
    hollow_normal: Floats
    base_mm2: float
    base_normal: Floats

    @property
    def stands(self) -> bool:
        return self.base_mm2 > LEAST_BASE * self.hull_mm2

    @property
    def is_hollow(self) -> bool:
        return self.hollow_mm3 > (SURE_HOLLOW if self.stands else LEAST_HOLLOW) * self.hull_mm3


def _hull_pockets(mesh: Mesh) -> _Pockets:
    """The largest pocket under bridging hull faces, and the largest flat hull side."""
    from scipy.spatial import ConvexHull

    hull = ConvexHull(mesh.vertices_mm)
    corners = mesh.vertices_mm[hull.simplices]
    normals = hull.equations[:, :3]
    areas = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    ways = _ways_below(mesh, corners, normals)
    # a way that meets nothing leads through an opening: no hollow, and no base either
    depth = np.where(np.isfinite(ways), ways, 0.0).mean(axis=1)
    span = float(np.linalg.norm(np.ptp(mesh.vertices_mm, axis=0)))
    # a bridging face has room below it; one that lies on the mesh has none
    bridging = depth > 0.02 * span
    group = _groups(hull.neighbors, bridging, normals)
    room = np.where(bridging, areas * depth, 0.0)
    pocket = np.bincount(group, weights=room)
    lid = np.stack([np.bincount(group, weights=room * normals[:, a]) for a in range(3)])
    flatness = np.linalg.norm(lid, axis=0) / np.maximum(pocket, 1e-9)
    hollow = int(np.argmax(pocket * flatness**4))
    best = bridging & (group == hollow)
    lies_on = (ways < 0.002 * span).all(axis=1)
    base_mm2, base_normal = _largest_flat(normals, np.where(lies_on, areas, 0.0))
    return _Pockets(
        hull_mm3=float(hull.volume),
        hull_mm2=float(hull.area),
        hollow_mm3=float(pocket[hollow]),
        hollow_normal=_lid_normal(normals[best], areas[best]),
        base_mm2=base_mm2,
        base_normal=base_normal,
    )


def _lid_normal(normals: Floats, areas: Floats) -> Floats:
    """Where the lid looks, without such faces as turn far away from the rest.

    The open end of a half tube bridges too, and would tip the lid toward itself.
    """
    look = _unit((normals * areas[:, None]).sum(axis=0))
    for _ in range(10):
        flat = normals @ look > 0.5
        look = _unit((normals[flat] * areas[flat, None]).sum(axis=0))
    return look


def _ways_below(mesh: Mesh, corners: Floats, normals: Floats) -> Floats:
    """(H, 4) ways from points of each hull face inward to the mesh; infinite past it."""
    span = float(np.linalg.norm(np.ptp(mesh.vertices_mm, axis=0)))
    weights = np.array([[1, 1, 1], [4, 1, 1], [1, 4, 1], [1, 1, 4]], dtype=np.float64)
    weights /= weights.sum(axis=1, keepdims=True)
    points = np.einsum("sc,hcd->hsd", weights, corners) + 1e-3 * span * normals[:, None]
    ways = np.broadcast_to(-normals[:, None], points.shape)
    found = RayScene(mesh).distance(points.reshape(-1, 3), ways.reshape(-1, 3))
    below: Floats = np.maximum(found.reshape(len(corners), -1) - 1e-3 * span, 0.0)
    return below


def _groups(
    neighbours: NDArray[np.int32], chosen: NDArray[np.bool_], normals: Floats
) -> NDArray[np.int32]:
    """(H,) labels of chosen hull faces that hang together without a bend of over 60 degrees."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    n = len(chosen)
    a = np.repeat(np.arange(n), 3)
    b = neighbours.ravel()
    both = chosen[a] & chosen[b] & (np.einsum("ij,ij->i", normals[a], normals[b]) > 0.5)
    graph = coo_matrix((np.ones(both.sum()), (a[both], b[both])), shape=(n, n))
    return connected_components(graph, directed=False)[1].astype(np.int32)


def _largest_flat(normals: Floats, areas: Floats) -> tuple[float, Floats]:
    """The largest total area of hull faces that share a normal within half a degree.

    Of equally large sides the one that faces down as the mesh was drawn.
    """
    # a flat side may be cut into many slim faces: gather those of a kind before ranking
    _, kind = np.unique(np.round(normals * 50), axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    candidates = [
        int(np.argmax(np.where(kind == k, areas, -1.0)))
        for k in np.argsort(np.bincount(kind, weights=areas))[::-1][:32]
    ]
    within = normals[candidates] @ normals.T > np.cos(np.radians(0.5))
    totals = within @ areas
    best = int(np.argmax(totals * (1.0 - 1e-3 * normals[candidates, 2])))
    return float(totals[best]), normals[candidates[best]]


def _unit(vector: Floats) -> Floats:
    length = np.linalg.norm(vector)
    return vector / length if length > 0 else np.array([0.0, 0.0, 1.0])


def _as_tuple(vector: Floats) -> tuple[float, float, float]:
    return float(vector[0]), float(vector[1]), float(vector[2])
