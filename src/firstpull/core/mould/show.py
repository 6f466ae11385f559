"""The show surface: the faces of the master that the mould copies.

Of two faces that are partners across the wall of a shell, the outside is the one that sees
more of the upper half-space. A face without a partner goes by its own view. A minimum cut
that likes sharp edges then draws the border, so that the outer edge of a rim and the back of
an eye opening's edge become clean loops.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.adjacency import FacePairs, face_pairs, patches, smoothed
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene

GREATEST_WALL_MM = 15.0
LOOKS_PER_FACE = 8  # averaged over some hundred neighbouring faces afterwards
SECOND_HOLLOW = 0.25  # of the largest hidden patch: less is the underside of a slim part
RINGS_ASKED = 4
LEAST_RIM = 0.05  # of the area covered seen from above; a neck under a head has 20 % and more
SURE = 0.6  # confidence from which a face is not asked again


class ShowUnclear(WorkshopError):
    """The mesh has no side that a mould could copy."""

    code = "show_unclear"


class RimTouchesItself(WorkshopError):
    """The border of the show surface passes a place twice; ``place_mm`` is there."""

    code = "rim_touches_itself"
    place_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)


def rim_touches_itself(place: tuple[float, float, float], *, frame: str) -> RimTouchesItself:
    """The refusal, with the place named in a frame that the reader knows."""
    refusal = RimTouchesItself(
        where="The rim",
        found=f"touches itself near {told_place(place)} in the {frame}",
        limit="clay is laid along a rim that passes every place once",
        remedy="Part the two edges by a wall's width there, or join them whole, and plan again.",
    )
    refusal.place_mm = place
    return refusal


@dataclass(frozen=True)
class Show:
    """The show surface of a master.

    Args:
        faces: (F,) true where the mould copies the face.
        loops: the borders, each a closed run of vertex numbers with the show surface on its
            left seen from outside; the rim toward the board comes first.
        area_mm2: area of the show surface.
        wall_mm: (F,) thickness behind each face that has a partner, NaN elsewhere.
        is_shell: whether most of the show surface is a wall with an inside.
        unpainted: (F,) what would be copied without the maker's paint; None where nothing
            was painted, or where paint changed nothing.
    """

    faces: Flags
    loops: tuple[NDArray[np.int32], ...]
    area_mm2: float
    wall_mm: Floats
    is_shell: bool
    unpainted: Flags | None = None


def find_show(mesh: Mesh) -> Show:
    """The show surface of a closed master that stands z up.

    Raises:
        ShowUnclear: everything or nothing of it would be copied.
        RimTouchesItself: the border passes a vertex more than once, however it is drawn.
    """
    pairs = face_pairs(mesh)
    scene = RayScene(mesh)
    partner, wall = _partners(mesh, scene)
    sky, areas = _view_of_sky(mesh, scene), mesh.face_areas_mm2
    view = smoothed(pairs, sky, times=16, crease_deg=40.0, weights=areas)
    leaning = _leaning(mesh, pairs, partner, view)
    faces = _cut(mesh, pairs, leaning)
    faces = _without_islands(mesh, pairs, faces, leaning)
    faces = without_pinches(mesh, pairs, faces)
    # opening a pinch may cut single hidden faces off
    faces = _without_islands(mesh, pairs, faces, leaning)
    shown = float(areas[faces].sum())
    if not 0.0 < shown < areas.sum():
        raise ShowUnclear(
            where="The master",
            found="has no border between a side to copy and a side to leave",
            limit="a mould needs an inside, a rim or a base",
            remedy="Give another direction with --up, or cut the model open at the back.",
        )
    is_shell = float(areas[faces & (partner >= 0)].sum()) > 0.5 * shown
    loops = border_loops(mesh, pairs, faces)
    need_wide_rim(mesh, loops[0])
    return Show(faces, loops, shown, wall, is_shell)


def need_wide_rim(mesh: Mesh, rim: NDArray[np.int32]) -> None:
    """A figure copied all around but for an ear stands on no board."""
    from scipy.spatial import ConvexHull

    foot = abs(_plan_area(mesh.vertices_mm[rim]))
    whole = float(ConvexHull(mesh.vertices_mm[:, :2]).volume)  # of a flat hull: its area
    if foot < LEAST_RIM * whole:
        raise ShowUnclear(
            where="The master",
            found=f"would be copied almost all around and stand on {foot / 100:.1f} cm2, "
            f"{100 * foot / whole:.0f} % of what it covers seen from above",
            limit=f"a mould on a board needs a rim or a base of {100 * LEAST_RIM:.0f} %",
            remedy="Give another direction with --up, or cut the model open at the back.",
        )


def _partners(mesh: Mesh, scene: RayScene) -> tuple[NDArray[np.int32], Floats]:
    """The face across the wall from each face, -1 where there is none, and how far it is."""
    normals = mesh.face_normals
    span = float(np.linalg.norm(np.ptp(mesh.vertices_mm, axis=0)))
    inset = 2e-5 * span
    origins = mesh.face_centres_mm - inset * normals
    partner = scene.hit_face(origins, -normals)
    there = partner >= 0
    far = np.full(len(partner), np.inf)
    # the way to the partner's plane along the ray
    p, n = mesh.face_centres_mm[partner[there]], normals[partner[there]]
    across = -normals[there]
    slope = np.einsum("ij,ij->i", across, n)
    far[there] = np.einsum("ij,ij->i", p - origins[there], n) / np.where(slope > 0.1, slope, 0.1)
    facing = np.zeros(len(partner), dtype=bool)
    facing[there] = slope > 0.5
    close = facing & (far < min(GREATEST_WALL_MM, 0.2 * span))
    return np.where(close, partner, -1).astype(np.int32), np.where(close, far + inset, np.nan)


def _view_of_sky(mesh: Mesh, scene: RayScene) -> Floats:
    """(F,) share of the upper half-space each face sees, from a few looks."""
    rng = np.random.Generator(np.random.PCG64(7))
    n = len(mesh.faces)
    normals = mesh.face_normals
    span = float(np.linalg.norm(np.ptp(mesh.vertices_mm, axis=0)))
    origins = mesh.face_centres_mm + 2e-5 * span * normals
    seen = np.zeros(n)
    turn = rng.random(n)
    for look in range(LOOKS_PER_FACE):
        # one look in each band of height, turned differently at each face
        z = (look + rng.random(n)) / LOOKS_PER_FACE
        angle = 2 * np.pi * (turn + look * 0.618034)
        flat = np.sqrt(1 - z * z)
        ways = np.stack([flat * np.cos(angle), flat * np.sin(angle), z], axis=1)
        front = np.flatnonzero(np.einsum("ij,ij->i", ways, normals) > 0)
        seen[front] += ~scene.is_blocked(origins[front], ways[front])
    return seen / LOOKS_PER_FACE


def _leaning(mesh: Mesh, pairs: FacePairs, partner: NDArray[np.int32], view: Floats) -> Floats:
    """(F,) from -1, surely inside, to 1, surely show."""
    alone = np.clip(4.0 * (view - 0.04), -0.2, 0.2)
    there = partner >= 0
    apart = np.zeros(len(view))
    apart[there] = view[there] - view[partner[there]]
    # the difference is small where the whole place sees little; what counts is which is larger
    scale = np.maximum(0.05, 0.5 * (view + np.where(there, view[partner], view)))
    paired = np.clip(apart / scale, -1.0, 1.0)
    paired = smoothed(
        pairs,
        np.where(there, paired, alone),
        times=8,
        crease_deg=40.0,
        weights=mesh.face_areas_mm2,
    )
    return np.where(there, paired, alone)


def _cut(mesh: Mesh, pairs: FacePairs, leaning: Floats) -> Flags:
    """Show or not for each face: the cheapest border that agrees with the sure faces.

    Sure faces that stand among their like are not asked: they are one with show or hidden.
    """
    sure = np.abs(leaning) > SURE
    pull = mesh.face_areas_mm2 * np.where(sure, 50.0, 1.0) * np.abs(leaning)
    return cheapest_border(pairs, leaning >= 0, asked=_in_doubt(pairs, leaning), pull=pull)


def cheapest_border(pairs: FacePairs, shown: Flags, *, asked: Flags, pull: Floats) -> Flags:
    """(F,) show or not: the border that costs least, drawn among the faces that are asked.

    A border costs its length, next to nothing along a sharp edge; a face that changes sides
    costs its pull.

    Args:
        shown: (F,) what each face would rather be; those that are not asked stay so.
        asked: (F,) faces that may change sides.
        pull: (F,) what a change costs, in mm of border through a smooth surface.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order, maximum_flow

    count = int(asked.sum())
    show, hide = count, count + 1
    node = np.where(shown, show, hide)
    node[asked] = np.arange(count)
    a, b = node[pairs.a], node[pairs.b]
    met = (a != b) & ((a < count) | (b < count))
    a, b = a[met], b[met]
    sharp = np.clip(np.abs(pairs.bend_deg[met]) - 8.0, 0.0, None) / 25.0
    border = pairs.length_mm[met] * (0.02 + np.exp(-(sharp**2)))
    unit = 1000.0 / float(np.median(pairs.length_mm))
    top = 2**30 // 64
    sides = np.minimum(border * unit, top).astype(np.int32) + 1
    pulls = np.minimum(pull[asked] * unit, top).astype(np.int32)
    out = np.flatnonzero(shown[asked])
    kept = np.flatnonzero(~shown[asked])
    rows = np.concatenate([a, b, np.full(len(out), show), kept])
    cols = np.concatenate([b, a, out, np.full(len(kept), hide)])
    load = np.concatenate([sides, sides, pulls[out], pulls[kept]])
    forward = (rows != hide) & (cols != show)
    graph = coo_matrix(
        (load[forward], (rows[forward], cols[forward])), shape=(count + 2, count + 2)
    ).tocsr()
    graph.sum_duplicates()
    rest = graph - maximum_flow(graph, show, hide).flow
    rest.data = np.maximum(rest.data, 0)
    rest.eliminate_zeros()
    reached = np.zeros(count + 2, dtype=bool)
    reached[breadth_first_order(rest, show, return_predecessors=False)] = True
    faces = shown.copy()
    faces[asked] = reached[:count]
    return faces


def _in_doubt(pairs: FacePairs, leaning: Floats) -> Flags:
    """Faces that are unsure, or sure but a few faces away from an unsure or unlike one."""
    doubt = np.abs(leaning) <= SURE
    unlike = (leaning[pairs.a] >= 0) != (leaning[pairs.b] >= 0)
    doubt[pairs.a[unlike]] = True
    doubt[pairs.b[unlike]] = True
    return ringed(pairs, doubt, rings=RINGS_ASKED)


def ringed(pairs: FacePairs, faces: Flags, *, rings: int) -> Flags:
    """(F,) the faces, and those up to so many steps from them across edges."""
    wide = faces.copy()
    for _ in range(rings):
        near = wide[pairs.a] | wide[pairs.b]
        wide[pairs.a[near]] = True
        wide[pairs.b[near]] = True
    return wide


def _without_islands(mesh: Mesh, pairs: FacePairs, faces: Flags, leaning: Floats) -> Flags:
    """One show patch; hidden are the largest patch and such as come near it.

    The underside of a slim solid part, the tip of a bill, has a partner that sees more sky
    too; it is small against the inside of the mask, and it is copied.
    """
    areas = mesh.face_areas_mm2
    patch = patches(pairs, faces)
    size = np.bincount(patch, weights=areas)
    surely = np.bincount(patch, weights=areas * np.where(leaning < -SURE, 1.0, 0.0))
    kind = np.zeros(len(size), dtype=bool)
    kind[patch] = faces
    largest_show = int(np.argmax(np.where(kind, size, -1.0)))
    largest_hide = int(np.argmax(np.where(kind, -1.0, size)))
    hidden = (surely > 0.5 * size) & (size > SECOND_HOLLOW * size[largest_hide]) & ~kind
    hidden[largest_hide] = True
    # a second show patch stands behind the wall: it is not copied
    hidden |= kind & (np.arange(len(size)) != largest_show)
    return ~hidden[patch]


def without_pinches(mesh: Mesh, pairs: FacePairs, faces: Flags) -> Flags:
    """The border passes no vertex twice: show grows by the faces at such a vertex."""
    faces = faces.copy()
    for _ in range(20):
        border = faces[pairs.a] != faces[pairs.b]
        ends = np.concatenate([pairs.start[border], pairs.end[border]])
        pinched = np.bincount(ends, minlength=len(mesh.vertices_mm)) > 2
        if not pinched.any():
            break
        faces |= pinched[mesh.faces].any(axis=1)
    return faces


def border_loops(mesh: Mesh, pairs: FacePairs, faces: Flags) -> tuple[NDArray[np.int32], ...]:
    """The border as closed runs, the one that spans the most of the board first."""
    border = np.flatnonzero(faces[pairs.a] != faces[pairs.b])
    inside_a = faces[pairs.a[border]]
    start = np.where(inside_a, pairs.start[border], pairs.end[border])
    end = np.where(inside_a, pairs.end[border], pairs.start[border])
    vertex, passes = np.unique(start, return_counts=True)
    if (passes > 1).any():
        x, y, z = mesh.vertices_mm[vertex[int(np.argmax(passes))]].tolist()
        raise rim_touches_itself((x, y, z), frame="mesh turned upright")
    after = dict(zip(start.tolist(), end.tolist(), strict=True))
    loops = []
    while after:
        first, here = after.popitem()
        run = [first]
        while here != first:
            run.append(here)
            here = after.pop(here)
        loops.append(np.array(run, dtype=np.int32))
    return tuple(sorted(loops, key=lambda run: -abs(_plan_area(mesh.vertices_mm[run]))))


def _plan_area(points_mm: Floats) -> float:
    """Area that a closed run of points encloses seen from above; its sign tells the turn."""
    x, y = points_mm[:, 0], points_mm[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def told_place(place: ArrayLike) -> str:
    """A place in a sentence, in whatever unit, to a thousandth of its largest part.

    >>> told_place((30.04, 1e-17, -0.26)), told_place((0.0211, 0.05, 0))
    ('(30.04, 0, -0.26)', '(0.0211, 0.05, 0)')
    """
    at = np.asarray(place, dtype=np.float64)
    largest = float(np.abs(at).max())
    digits = 3 - int(np.floor(np.log10(largest))) if largest > 0 else 0
    x, y, z = (round(c, digits) + 0.0 for c in at.tolist())
    return f"({x:g}, {y:g}, {z:g})"
