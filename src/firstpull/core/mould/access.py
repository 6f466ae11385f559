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
FACES_A_CELL = 1.0
MARGIN = 1e-3  # of a cell
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
        seen, looks = vertices @ frame, normals @ frame
        _free_along(seen, faces, looks, lean, span, out[d])
    return out


@njit(cache=True)
def _frame_along(way):  # type: ignore[no-untyped-def]
    """Three axes as columns, of which the third is the pull."""
    frame = np.empty((3, 3))
    side = np.zeros(3)
    side[np.argmin(np.abs(way))] = 1.0
    across = np.cross(way, side)
    across /= np.sqrt((across * across).sum())
    frame[:, 0] = across
    frame[:, 1] = np.cross(way, across)
    frame[:, 2] = way
    return frame


@njit(cache=True)
def _free_along(seen, faces, looks, lean, span, out):  # type: ignore[no-untyped-def]
    away = _looking_away(seen, faces, looks)
    start, held, tops, highest, low_x, low_y, cell = _sorted_into_cells(away)
    nx, ny = highest.shape
    off, eps = OFF_SPAN * span, EPS_SPAN * span
    for f in range(len(faces)):
        if looks[f, 2] < lean or (looks[f, 0] == 0.0 and looks[f, 1] == 0.0 and looks[f, 2] == 0.0):
            continue
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        for quarter in range(4):
            u = 1 / 3 if quarter == 0 else (2 / 3 if quarter == 1 else 1 / 6)
            v = 1 / 3 if quarter == 0 else (2 / 3 if quarter == 2 else 1 / 6)
            w = 1.0 - u - v
            x = u * seen[a, 0] + v * seen[b, 0] + w * seen[c, 0] + off * looks[f, 0]
            y = u * seen[a, 1] + v * seen[b, 1] + w * seen[c, 1] + off * looks[f, 1]
            z = u * seen[a, 2] + v * seen[b, 2] + w * seen[c, 2] + off * looks[f, 2]
            i, j = int((x - low_x) / cell), int((y - low_y) / cell)
            free = True
            if x >= low_x and y >= low_y and i < nx and j < ny and highest[i, j] > z:
                at = i * ny + j
                for n in range(start[at], start[at + 1]):
                    if tops[n] > z and _stands_over(away, held[n], x, y, z, eps):
                        free = False
                        break
            if free:
                out[f] |= 1 << quarter


@njit(cache=True)
def _looking_away(seen, faces, looks):  # type: ignore[no-untyped-def]
    """(N, 10) the faces that look away from the pull: three corners and the highest point."""
    count = 0
    for f in range(len(faces)):
        count += looks[f, 2] < -EPS_LEAN
    away = np.empty((count, 10))
    n = 0
    for f in range(len(faces)):
        if looks[f, 2] < -EPS_LEAN:
            for c in range(3):
                for axis in range(3):
                    away[n, 3 * c + axis] = seen[faces[f, c], axis]
            away[n, 9] = max(away[n, 2], away[n, 5], away[n, 8])
            n += 1
    return away


@njit(cache=True)
def _sorted_into_cells(away):  # type: ignore[no-untyped-def]
    """The faces that look away, by the cells of a plane across the pull.

    Returns where each cell's list starts, the lists, how high each face in them reaches within
    the cell, the most of that for each cell, the corner of the first cell and the side of a
    cell. A face stands in every cell that its box meets, less those that lie wholly beyond one
    of its edges.
    """
    low_x = low_y = np.inf
    high_x = high_y = -np.inf
    for n in range(len(away)):
        for c in (0, 3, 6):
            low_x, high_x = min(low_x, away[n, c]), max(high_x, away[n, c])
            low_y, high_y = min(low_y, away[n, c + 1]), max(high_y, away[n, c + 1])
    if not len(away):
        none = np.zeros(0)
        return np.zeros(2, np.int64), np.zeros(0, np.int32), none, np.zeros((0, 0)), 0.0, 0.0, 1.0
    wide, deep = high_x - low_x, high_y - low_y
    cell = max(np.sqrt(FACES_A_CELL * wide * deep / len(away)), max(wide, deep) / MOST_CELLS)
    # a little more on each side: what is just beside the outermost edge stays inside
    low_x, low_y = low_x - MARGIN * cell, low_y - MARGIN * cell
    nx, ny = int(wide / cell + 2 * MARGIN) + 1, int(deep / cell + 2 * MARGIN) + 1
    highest = np.full((nx, ny), -np.inf)
    start = np.zeros(nx * ny + 1, dtype=np.int64)
    held, tops = np.zeros(0, dtype=np.int32), np.zeros(0)
    for filling in range(2):
        if filling:
            # each list's end, from which it fills down to its start
            start[:] = np.cumsum(start)
            held, tops = np.empty(start[-1], dtype=np.int32), np.empty(start[-1])
        for n in range(len(away)):
            ax, ay, bx, by = away[n, 0], away[n, 1], away[n, 3], away[n, 4]
            cx, cy = away[n, 6], away[n, 7]
            i0 = max(int((min(ax, bx, cx) - low_x) / cell - MARGIN), 0)
            i1 = min(int((max(ax, bx, cx) - low_x) / cell + MARGIN), nx - 1)
            j0 = max(int((min(ay, by, cy) - low_y) / cell - MARGIN), 0)
            j1 = min(int((max(ay, by, cy) - low_y) / cell + MARGIN), ny - 1)
            few = i0 == i1 or j0 == j1
            for i in range(i0, i1 + 1):
                for j in range(j0, j1 + 1):
                    x, y = low_x + i * cell, low_y + j * cell
                    if not few and (
                        _is_beyond(bx, by, ax, ay, x, y, cell)
                        or _is_beyond(cx, cy, bx, by, x, y, cell)
                        or _is_beyond(ax, ay, cx, cy, x, y, cell)
                    ):
                        continue
                    at = i * ny + j
                    if filling:
                        start[at] -= 1
                        held[start[at]] = n
                        top = away[n, 9] if few else _top_in_cell(away, n, x, y, cell)
                        tops[start[at]] = top
                        highest[i, j] = max(highest[i, j], top)
                    else:
                        start[at] += 1
    return start, held, tops, highest, low_x, low_y, cell


@njit(cache=True)
def _is_beyond(px, py, qx, qy, x, y, cell):  # type: ignore[no-untyped-def]
    """Whether a cell, a little larger than it is, lies wholly to the right of p to q."""
    more = MARGIN * cell
    ex, ey = qx - px, qy - py
    left_x = x - more if ey > 0 else x + cell + more
    left_y = y - more if ex < 0 else y + cell + more
    return ex * (left_y - py) - ey * (left_x - px) < 0


@njit(cache=True)
def _top_in_cell(away, n, x, y, cell):  # type: ignore[no-untyped-def]
    """No part of a face within a cell is higher than this: a wide face may slope far down."""
    ux, uy, uz = away[n, 3] - away[n, 0], away[n, 4] - away[n, 1], away[n, 5] - away[n, 2]
    vx, vy, vz = away[n, 6] - away[n, 0], away[n, 7] - away[n, 1], away[n, 8] - away[n, 2]
    area = ux * vy - uy * vx
    if area == 0.0:
        return away[n, 9]
    rise_x, rise_y = (uz * vy - uy * vz) / area, (ux * vz - uz * vx) / area
    # at the corner of the cell toward which the face rises; both a little beyond
    more = MARGIN * cell
    at_x = x + cell + more if rise_x > 0 else x - more
    at_y = y + cell + more if rise_y > 0 else y - more
    top = away[n, 2] + rise_x * (at_x - away[n, 0]) + rise_y * (at_y - away[n, 1])
    return min(top, away[n, 9])


@njit(cache=True)
def _stands_over(away, n, x, y, z, eps):  # type: ignore[no-untyped-def]
    """Whether a face that looks away from the pull stands over a point; a near miss counts."""
    ax, ay = away[n, 0] - x, away[n, 1] - y
    bx, by = away[n, 3] - x, away[n, 4] - y
    # as seen it turns clockwise: each of these is positive for a point within
    w = bx * ay - by * ax
    if w < -eps * (abs(bx - ax) + abs(by - ay)):
        return False
    cx, cy = away[n, 6] - x, away[n, 7] - y
    u = cx * by - cy * bx
    if u < -eps * (abs(cx - bx) + abs(cy - by)):
        return False
    v = ax * cy - ay * cx
    if v < -eps * (abs(ax - cx) + abs(ay - cy)):
        return False
    whole = u + v + w
    if whole <= 0.0:
        return False
    # a near miss must not throw the height beyond the face's own
    over = (u * away[n, 2] + v * away[n, 5] + w * away[n, 8]) / whole
    return min(over, away[n, 9]) > z
