"""What can a straight pull reach, and what locks?

A rigid piece that touches a face comes off along d only if the face leans toward d by the
draft at least and nothing of the body stands above it, seen along d. Whether something does is
answered exactly, one direction at a time: the faces that look away from d, which alone can
stand in the way of a point outside a closed body, are sorted into the cells of a plane across
d, and each sample meets only those in its own cell, most of which lie below it altogether.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.solid import NotASolid, mesh_of_largest, solid
from firstpull.core.mesh.topology import is_closed
from firstpull.core.mould.skin import SkinShape

ALL_QUARTERS = 15
EPS_LEAN = 1e-9  # sines this close are the same
EPS_SPAN = 1e-9  # of the body's size: a miss this narrow is a hit
OFF_SPAN = 1e-7  # how far before its face a way begins: sliding along an edge is no hit
MOST_CELLS = 1024  # a side
SPECK_MM2 = 25.0  # 5 x 5 mm: silicone closes a smaller lock unnoticed
PROXY_STEP_MM = 3.0
PROXY_TOL_MM = 0.3  # how far the proxy may leave the contour to save triangles
ON_BOARD_MM = 1e-6


class NoPulls(WorkshopError):
    """There is no direction to pull along."""

    code = "no_pulls"


class DraftOutOfRange(WorkshopError):
    """A draft that no wall can have."""

    code = "draft_out_of_range"


@dataclass(frozen=True)
class LockedPlace:
    """Faces that hang together and that no pull reaches.

    Args:
        faces: (N,) their numbers.
        area_mm2: of all of them.
        at_mm: a point on the surface in the middle of them.
        normal: unit normal of the surface there.
    """

    faces: Ints
    area_mm2: float
    at_mm: tuple[float, float, float]
    normal: tuple[float, float, float]

    @property
    def sentence(self) -> str:
        """How much locks, and where."""
        x, y, z = self.at_mm
        return f"{self.area_mm2 / 100:.1f} cm2 lock near ({x:.0f}, {y:.0f}, {z:.0f})."

    def as_json(self) -> dict[str, Any]:
        """Plain data, without the faces."""
        return {
            "area_cm2": round(self.area_mm2 / 100, 2),
            "at_mm": [round(c, 1) for c in self.at_mm],
            "normal": [round(c, 3) for c in self.normal],
            "sentence": self.sentence,
        }


def pull_directions(*, divisions: int = 9) -> Floats:
    """(D, 3) unit vectors over the whole sphere, to be tried as pulls.

    Args:
        divisions: into how many parts each edge of an octahedron is cut; its faces follow.

    Returns:
        4 n^2 + 2 vectors for n divisions, the axes among them; with an even number also the
        diagonals of a cube's faces, with a multiple of three its space diagonals. Turning or
        mirroring a cube onto itself turns the vectors into each other. No direction is
        farther than asin(2 / n) from one of them, for n of 2 and more.

    >>> ways = pull_directions(divisions=6)
    >>> len(ways), bool((ways == [0, 0, 1]).all(axis=1).any())
    (146, True)
    """
    whole = np.arange(-divisions, divisions + 1)
    x, y, z = np.meshgrid(whole, whole, whole, indexing="ij")
    on = np.abs(x) + np.abs(y) + np.abs(z) == divisions
    ways = np.stack([x[on], y[on], z[on]], axis=1).astype(np.float64)
    return np.asarray(ways / np.linalg.norm(ways, axis=1, keepdims=True))


def off_board(directions: ArrayLike, *, draft_deg: float) -> Flags:
    """(D,) which pulls lift a piece off the board z = 0, by the draft at least."""
    lean = least_lean(draft_deg)
    return np.asarray(unit_directions(directions)[:, 2] >= lean - EPS_LEAN)


def not_on_board(mesh: Mesh) -> Flags:
    """(F,) all faces but those that lie on the board z = 0, which no shell copies."""
    lying = np.abs(mesh.vertices_mm[:, 2]) <= ON_BOARD_MM
    return np.asarray(~lying[mesh.faces].all(axis=1))


def free_quarters(mesh: Mesh, directions: ArrayLike, *, draft_deg: float) -> NDArray[np.uint8]:
    """Which quarters of each face a rigid piece can copy and still leave along each direction.

    Joining the middles of its sides cuts a face into four equal triangles; each is judged by
    its middle.

    Args:
        mesh: closed and outward. Where it overlaps itself, what is buried inside may count as
            reached.
        directions: (D, 3) or one; any length but zero.
        draft_deg: least lean of a face toward the pull, 0 or more and less than 90.

    Returns:
        (D, F) four bits each: the lowest for the quarter in the middle, the next for those at
        the face's three corners in their order. A bit is set where the face's normal leans
        toward the direction by the draft and the way out from the quarter's middle is free.
        A face without area is never reached.

    Raises:
        NotASolid, NoTriangles, BadCoordinates, NoArea: the mesh bounds no volume.
        NoPulls, DraftOutOfRange: nothing to try, or no draft that a wall can have.
    """
    need_surface(mesh, where="The body")
    if not is_closed(mesh):
        raise NotASolid(
            where="The body",
            found="is not closed",
            limit="what stands in the way is only known for a closed body",
            remedy="Run a check on the mesh and mend what it names.",
        )
    lean = least_lean(draft_deg)
    low, high = mesh.bounds_mm
    return _free_quarters(
        mesh.vertices_mm - 0.5 * (low + high),
        mesh.faces,
        mesh.face_normals,
        unit_directions(directions),
        lean - EPS_LEAN,
        float(np.linalg.norm(high - low)),
    )


def reachable(mesh: Mesh, directions: ArrayLike, *, draft_deg: float) -> Flags:
    """(D, F) which faces a rigid piece can copy and still leave along each direction.

    All four quarters of the face must be free: at the edge of a shadow the answer errs, by a
    face at the most, toward locking. Takes and refuses what ``free_quarters`` does.

    >>> from firstpull.core.mesh.solid import mesh_of
    >>> import manifold3d
    >>> cube = mesh_of(manifold3d.Manifold.cube((10, 10, 10)))
    >>> int(reachable(cube, [[1, 1, 1]], draft_deg=35.0).sum())  # three sides of two triangles
    6
    """
    return free_quarters(mesh, directions, draft_deg=draft_deg) == ALL_QUARTERS


def what_locks(
    mesh: Mesh,
    pulls: ArrayLike,
    *,
    draft_deg: float,
    on_board: bool = False,
    speck_mm2: float = SPECK_MM2,
) -> tuple[LockedPlace, ...]:
    """The places that none of the pulls reaches, largest first.

    Args:
        mesh, pulls, draft_deg: as for ``free_quarters``.
        on_board: the body stands on the board z = 0; faces lying there need not be reached.
        speck_mm2: places smaller than this are left out. Faces that share a corner belong
            to one place, so that a scatter of single faces is one place and no specks.
    """
    locked = ~reachable(mesh, pulls, draft_deg=draft_deg).any(axis=0)
    locked &= mesh.face_areas_mm2 > 0
    if on_board:
        locked &= not_on_board(mesh)
    return places_of(mesh, locked, speck_mm2=speck_mm2)


def places_of(mesh: Mesh, marked: Flags, *, speck_mm2: float) -> tuple[LockedPlace, ...]:
    """The marked faces by the places where they hang together, largest first."""
    faces = np.flatnonzero(marked)
    if not len(faces):
        return ()
    corner = mesh.faces[faces].ravel()
    used, compact = np.unique(corner, return_inverse=True)
    face = np.repeat(np.arange(len(faces)), 3)
    group = grouped(face, len(faces) + compact.ravel(), len(faces) + len(used))[: len(faces)]
    areas = np.bincount(group, weights=mesh.face_areas_mm2[faces])
    order = np.argsort(-areas, kind="stable")
    return tuple(_place(mesh, faces[group == g]) for g in order if areas[g] >= speck_mm2)


def proxy_of(shape: SkinShape, *, step_mm: float = PROXY_STEP_MM) -> Mesh:
    """The outside of a skin on its board, coarse enough to try many pulls in a moment.

    Args:
        shape: the skin without fill.
        step_mm: the grid it is drawn on, rounded to a whole number of the skin's own steps.

    Returns:
        A closed mesh over z = 0 and flat there; ``not_on_board`` tells the faces of that floor
        from those that a shell must come off.
    """
    n = max(1, round(step_mm / shape.grid.step_mm))
    phi = np.ascontiguousarray(shape.phi[::n, ::n, ::n])
    points = (phi.shape[0], phi.shape[1], phi.shape[2])
    drawn = contour(phi, Grid(shape.grid.low_mm, n * shape.grid.step_mm, points))
    above = solid(drawn, where="The skin").trim_by_plane((0.0, 0.0, 1.0), 0.0)
    return mesh_of_largest(above.simplify(PROXY_TOL_MM))


def unit_directions(directions: ArrayLike) -> Floats:
    """(D, 3) the directions at length 1.

    Raises:
        NoPulls: there is none, or one has no length or is no number.
    """
    ways = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
    length = np.linalg.norm(ways, axis=1, keepdims=True)
    if not len(ways) or not (np.isfinite(length) & (length > 0)).all():
        raise NoPulls(
            where="The pulls",
            found="have no direction among them" if len(ways) else "are none",
            limit="each needs a length above 0",
            remedy="Give at least one direction, such as (0, 0, 1) for straight up.",
        )
    return np.ascontiguousarray(ways / length)


def least_lean(draft_deg: float) -> float:
    """The sine of the draft.

    Raises:
        DraftOutOfRange: it is below 0 or not below 90 degrees.
    """
    if not 0.0 <= draft_deg < 90.0:
        raise DraftOutOfRange(
            where="The draft",
            found=f"is {draft_deg:g} degrees",
            limit="a wall can lean by 0 to 90",
            remedy="Give 2 for a printed shell or 3 for one laid by hand.",
        )
    return float(np.sin(np.radians(draft_deg)))


def _place(mesh: Mesh, faces: NDArray[Any]) -> LockedPlace:
    areas, centres = mesh.face_areas_mm2[faces], mesh.face_centres_mm[faces]
    middle = areas @ centres / areas.sum()
    nearest = int(np.argmin(((centres - middle) ** 2).sum(axis=1)))
    x, y, z = centres[nearest].tolist()
    nx, ny, nz = mesh.face_normals[faces[nearest]].tolist()
    return LockedPlace(faces.astype(np.int32), float(areas.sum()), (x, y, z), (nx, ny, nz))


@njit(cache=True, parallel=True)
def _free_quarters(vertices, faces, normals, ways, lean, span):  # type: ignore[no-untyped-def]
    out = np.zeros((len(ways), len(faces)), dtype=np.uint8)
    for d in prange(len(ways)):
        frame = _frame_along(ways[d])
        _free_along(vertices @ frame, faces, normals @ frame, lean, span, out[d])
    return out


@njit(cache=True)
def _frame_along(way):  # type: ignore[no-untyped-def]
    """Three axes as columns, of which the third is the pull."""
    frame = np.empty((3, 3))
    least = np.argmin(np.abs(way))
    side = np.zeros(3)
    side[least] = 1.0
    across = np.cross(way, side)
    across /= np.sqrt((across * across).sum())
    frame[:, 0] = across
    frame[:, 1] = np.cross(way, across)
    frame[:, 2] = way
    return frame


@njit(cache=True)
def _free_along(seen, faces, looks, lean, span, out):  # type: ignore[no-untyped-def]
    start, held, highest, low, cell = _sorted_into_cells(seen, faces, looks[:, 2])
    off, eps = OFF_SPAN * span, EPS_SPAN * span
    nx, ny = highest.shape
    for f in range(len(faces)):
        if looks[f, 2] < lean or not looks[f].any():
            continue
        a, b, c = seen[faces[f, 0]], seen[faces[f, 1]], seen[faces[f, 2]]
        for quarter in range(4):
            u = 1 / 3 if quarter == 0 else (2 / 3 if quarter == 1 else 1 / 6)
            v = 1 / 3 if quarter == 0 else (2 / 3 if quarter == 2 else 1 / 6)
            w = 1.0 - u - v
            x = u * a[0] + v * b[0] + w * c[0] + off * looks[f, 0]
            y = u * a[1] + v * b[1] + w * c[1] + off * looks[f, 1]
            z = u * a[2] + v * b[2] + w * c[2] + off * looks[f, 2]
            i = int(np.floor((x - low[0]) / cell))
            j = int(np.floor((y - low[1]) / cell))
            free = True
            if 0 <= i < nx and 0 <= j < ny and highest[i, j] > z:
                at = i * ny + j
                for n in range(start[at], start[at + 1]):
                    if _stands_over(seen, faces[held[n]], x, y, z, eps):
                        free = False
                        break
            if free:
                out[f] |= 1 << quarter


@njit(cache=True)
def _sorted_into_cells(seen, faces, lean_of):  # type: ignore[no-untyped-def]
    """The faces that look away from the pull, by the cells of a plane across it.

    Returns where each cell's list starts, the lists, each cell's highest point, the corner of
    the first cell and the side of a cell. A face stands in every cell that its box meets, less
    those that lie wholly beyond one of its edges.
    """
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    count = 0
    for f in range(len(faces)):
        if lean_of[f] < -EPS_LEAN:
            count += 1
            for c in range(3):
                for axis in range(2):
                    low[axis] = min(low[axis], seen[faces[f, c], axis])
                    high[axis] = max(high[axis], seen[faces[f, c], axis])
    if count == 0:
        return np.zeros(2, np.int64), np.zeros(0, np.int32), np.zeros((0, 0)), low, 1.0
    wide, deep = high[0] - low[0], high[1] - low[1]
    cell = max(np.sqrt(wide * deep / count), max(wide, deep) / MOST_CELLS)
    # half a thousandth of a cell more on each side: a touch at the very edge stays inside
    low -= 5e-4 * cell
    nx, ny = int(wide / cell + 1e-3) + 1, int(deep / cell + 1e-3) + 1
    highest = np.full((nx, ny), -np.inf)
    start = np.zeros(nx * ny + 1, dtype=np.int64)
    held = np.zeros(0, dtype=np.int32)
    for filling in range(2):
        if filling:
            start[1:] = np.cumsum(start[1:])
            held = np.empty(start[-1], dtype=np.int32)
            filled = start[:-1].copy()
        for f in range(len(faces)):
            if lean_of[f] >= -EPS_LEAN:
                continue
            a, b, c = seen[faces[f, 0]], seen[faces[f, 1]], seen[faces[f, 2]]
            top = max(a[2], b[2], c[2])
            i0 = int((min(a[0], b[0], c[0]) - low[0]) / cell - 1e-3)
            i1 = int((max(a[0], b[0], c[0]) - low[0]) / cell + 1e-3)
            j0 = int((min(a[1], b[1], c[1]) - low[1]) / cell - 1e-3)
            j1 = int((max(a[1], b[1], c[1]) - low[1]) / cell + 1e-3)
            slim = i1 - i0 > 1 and j1 - j0 > 1
            for i in range(max(i0, 0), min(i1, nx - 1) + 1):
                for j in range(max(j0, 0), min(j1, ny - 1) + 1):
                    if slim and _is_beyond(a, b, c, low[0] + i * cell, low[1] + j * cell, cell):
                        continue
                    at = i * ny + j
                    if filling:
                        held[filled[at]] = f
                        filled[at] += 1
                        highest[i, j] = max(highest[i, j], top)
                    else:
                        start[at + 1] += 1
    return start, held, highest, low, cell


@njit(cache=True)
def _is_beyond(a, b, c, x, y, cell):  # type: ignore[no-untyped-def]
    """Whether a cell lies wholly beyond an edge of a face that turns clockwise as seen."""
    for p, q in ((b, a), (c, b), (a, c)):
        ex, ey = q[0] - p[0], q[1] - p[1]
        # the corner of the cell, a thousandth larger, that lies farthest to the left of the edge
        cx = x - 1e-3 * cell if ey > 0 else x + 1.001 * cell
        cy = y - 1e-3 * cell if ex < 0 else y + 1.001 * cell
        if ex * (cy - p[1]) - ey * (cx - p[0]) < 0:
            return True
    return False


@njit(cache=True, inline="always")
def _stands_over(seen, face, x, y, z, eps):  # type: ignore[no-untyped-def]
    """Whether a face that looks away from the pull stands over a point; a near miss counts."""
    a, b, c = seen[face[0]], seen[face[1]], seen[face[2]]
    if max(a[2], b[2], c[2]) <= z:
        return False
    ax, ay, bx, by, cx, cy = a[0] - x, a[1] - y, b[0] - x, b[1] - y, c[0] - x, c[1] - y
    # as seen it turns clockwise: each of these is positive for a point within
    u = cx * by - cy * bx
    v = ax * cy - ay * cx
    w = bx * ay - by * ax
    if u < -eps * (abs(cx - bx) + abs(cy - by)):
        return False
    if v < -eps * (abs(ax - cx) + abs(ay - cy)):
        return False
    if w < -eps * (abs(bx - ax) + abs(by - ay)):
        return False
    whole = u + v + w
    if whole <= 0.0:
        return False
    # a near miss must not throw the height beyond the face's own
    over = (u * a[2] + v * b[2] + w * c[2]) / whole
    return min(over, max(a[2], b[2], c[2])) > z
