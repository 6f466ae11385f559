"""Fewer triangles within a stated deviation, or more of them on the same surface."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.revision.within import Within, within
from firstpull.core.mesh.solid import NotASolid, mesh_of, solid
from firstpull.core.mesh.topology import edge_table, is_closed, open_loops
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.weld import without_unused

SHARES = (1.0, 0.7, 0.5, 0.35, 0.2, 0.1, 0.03)
"""Parts of the tolerance to collapse edges by, tried in turn: collapses add up."""

SLENDER = 0.7
MOST_FACES = 5_000_000


class ToleranceOutOfRange(WorkshopError):
    """A tolerance or edge length that cannot be worked to."""

    code = "tolerance_out_of_range"


@dataclass(frozen=True)
class Simplified:
    """A mesh with fewer triangles.

    Args:
        mesh: the new mesh.
        found_mm: some point of one surface lies this far from the other.
        deviation_mm: no point of either surface lies farther from the other; proved.
    """

    mesh: Mesh
    found_mm: float
    deviation_mm: float


def simplified(mesh: Mesh, *, tol_mm: float) -> Simplified:
    """The mesh with as many edges collapsed as a tolerance allows.

    Closed stays closed, and edges of an open mesh stay where they are within the tolerance.
    What does not cross itself does not do so afterwards. Where no collapse keeps all of that,
    the mesh comes back as it is.

    Args:
        tol_mm: no point of either surface may lie farther from the other.

    Raises:
        ToleranceOutOfRange: the tolerance is not above 0.
        NotASolid: edges with more than two faces, or faces that disagree on their outside.
        NoTriangles, BadCoordinates, NoArea: see ``need_surface``.
    """
    need_surface(mesh)
    _need_length(tol_mm, "Tolerance")
    made, faces = (solid(mesh), None) if is_closed(mesh) else _lidded(mesh)
    tree = Tree.of(mesh)
    crosses = crosses_itself(mesh, tree=tree)
    for share in SHARES:
        fewer = _surface(made.simplify(share * tol_mm), faces)
        if not len(fewer.faces) or len(fewer.faces) >= len(mesh.faces):
            continue
        apart = _apart(mesh, tree, fewer, tol_mm)
        if apart is not None and (crosses or not crosses_itself(fewer)):
            return Simplified(fewer, apart.found_mm, apart.most_mm)
    return Simplified(mesh, 0.0, 0.0)


def _apart(mesh: Mesh, tree: Tree, fewer: Mesh, tol_mm: float) -> Within | None:
    """How far the surfaces lie apart, both ways; none where that is not within the tolerance."""
    one = within(mesh, Tree.of(fewer), limit_mm=tol_mm)
    two = within(fewer, tree, limit_mm=tol_mm) if one else None
    if one is None or two is None:
        return None
    return Within(max(one.found_mm, two.found_mm), max(one.most_mm, two.most_mm))


def _lidded(mesh: Mesh) -> tuple[Any, int]:
    """An open mesh as a solid whose openings lead to far tips, and the mark of its own faces.

    Faces of two marks meet along each opening's edge, which is what keeps it in place.
    """
    import manifold3d

    reach = float(np.linalg.norm(np.ptp(mesh.bounds_mm, axis=0)))
    tips, lids = [], []
    for n, loop in enumerate(open_loops(mesh), start=len(mesh.vertices_mm)):
        rim = mesh.vertices_mm[loop]
        middle = rim.mean(axis=0)
        tips.append(middle + reach * np.linalg.svd(rim - middle, full_matrices=False)[2][-1])
        lids.append(np.stack([np.roll(loop, -1), loop, np.full(len(loop), n)], axis=1))
    faces = np.concatenate([mesh.faces, *lids])
    own = manifold3d.Manifold.reserve_ids(2)
    made = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.concatenate([mesh.vertices_mm, *np.reshape(tips, (-1, 1, 3))]),
            faces.astype(np.uint64),
            run_index=np.array([0, 3 * len(mesh.faces), 3 * len(faces)], dtype=np.uint64),
            run_original_id=np.array([own, own + 1], dtype=np.uint32),
        )
    )
    if made.status() != manifold3d.Error.NoError:
        raise NotASolid(
            where="Mesh",
            found=f"is not a clean surface ({made.status().name})",
            limit="simplifying needs at most two faces at each edge, agreeing on their outside",
            remedy="Run a check on the mesh and mend what it names.",
        )
    return made, own


def _surface(made: Any, own: int | None) -> Mesh:
    """The faces of a solid that have a mark; all of them without one."""
    if own is None:
        return mesh_of(made)
    raw = made.to_mesh64()
    runs = np.asarray(raw.run_index) // 3
    kept = [
        raw.tri_verts[runs[n] : runs[n + 1]] for n, i in enumerate(raw.run_original_id) if i == own
    ]
    faces = np.concatenate([np.zeros((0, 3)), *kept])
    return without_unused(Mesh(raw.vert_properties[:, :3], faces))


def with_edges_up_to(mesh: Mesh, *, edge_mm: float) -> Mesh:
    """The same surface in triangles none of whose edges is longer than asked.

    Longer edges are halved, again and again, each once for all its faces: closed stays closed.
    Works on any mesh; the vertices it had come first. New corners lie on the old triangles to
    the last digit or so.

    Raises:
        ToleranceOutOfRange: the length is not above 0, or would take over 5 million triangles.

    >>> plate = Mesh([[0, 0, 0], [4, 0, 0], [4, 3, 0]], [[0, 1, 2]])
    >>> finer = with_edges_up_to(plate, edge_mm=2.5)
    >>> len(finer.faces), finer.area_mm2
    (4, 6.0)
    """
    _need_length(edge_mm, "Edge length")
    while True:
        ends, side = _edges(mesh)
        span = _span(mesh.vertices_mm, ends[:, 0], ends[:, 1])
        if not (span > edge_mm).any():
            return mesh
        # only what is about the longest of its face: halving all three keeps slivers slender
        longest = span[side].max(axis=1, keepdims=True)
        chosen = np.zeros(len(ends), dtype=np.bool_)
        chosen[side[(span[side] > edge_mm) & (span[side] > SLENDER * longest)]] = True
        _need_few(len(side) + int(chosen[side].sum()), edge_mm)
        mesh = _halved(mesh, ends, side, chosen)


def _edges(mesh: Mesh) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """(E, 2) ends of each edge and (F, 3) the edge along each side."""
    table = edge_table(mesh)
    side = np.empty(3 * len(mesh.faces), dtype=np.int64)
    side[table.sides] = np.repeat(np.arange(len(table.ends)), table.count)
    return table.ends, side.reshape(-1, 3)


def _halved(mesh: Mesh, ends: NDArray[Any], side: NDArray[Any], long: NDArray[np.bool_]) -> Mesh:
    """Every long edge halved; faces become two, three or four."""
    middle = np.full(len(ends), -1, dtype=np.int64)
    middle[long] = len(mesh.vertices_mm) + np.arange(long.sum())
    points = np.concatenate([mesh.vertices_mm, mesh.vertices_mm[ends[long]].mean(axis=1)])
    corner, cut = mesh.faces.astype(np.int64), middle[side]
    count = (cut >= 0).sum(axis=1)
    # turn faces so that the first side is cut, and where two are, the second too
    lead = np.where(count == 2, np.argmin(cut, axis=1) + 1, np.argmax(cut >= 0, axis=1))
    turn = (lead[:, None] + np.arange(3)) % 3
    corner, cut = np.take_along_axis(corner, turn, 1), np.take_along_axis(cut, turn, 1)
    (a, b, c), (ab, bc, ca) = corner.T, cut.T

    def some(which: NDArray[np.bool_], *triangles: tuple[Any, Any, Any]) -> list[NDArray[Any]]:
        return [np.stack(t, axis=1)[which] for t in triangles]

    shorter = _span(points, a, bc) < _span(points, ab, c)
    two = count == 2
    made = [
        *some(count == 0, (a, b, c)),
        *some(count == 1, (a, ab, c), (ab, b, c)),
        *some(two, (ab, b, bc)),
        *some(two & shorter, (a, ab, bc), (a, bc, c)),
        *some(two & ~shorter, (a, ab, c), (ab, bc, c)),
        *some(count == 3, (a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)),
    ]
    return Mesh(points, np.concatenate(made))


def _span(points: Floats, a: NDArray[Any], b: NDArray[Any]) -> Floats:
    return np.asarray(np.linalg.norm(points[b] - points[a], axis=1))


def _need_length(value_mm: float, name: str) -> None:
    if not 0.0 < value_mm < np.inf:
        raise ToleranceOutOfRange(
            where=name,
            found=f"is {value_mm:g} mm",
            limit="it must be above 0",
            remedy="Give a length such as 0.05 mm.",
        )


def _need_few(count: int, edge_mm: float) -> None:
    if count > MOST_FACES:
        raise ToleranceOutOfRange(
            where="Edge length",
            found=f"of {edge_mm:g} mm would take over {MOST_FACES:,} triangles",
            limit="so many do not fit",
            remedy="Choose longer edges.",
        )
