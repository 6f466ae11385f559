"""Thin places of a shell get material on their inner side; the show side stays as it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import need_surface
from firstpull.core.mesh.repair.lay import laid
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import edge_table
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.wall.inward import Sheet
from firstpull.core.mesh.wall.sides import show_side
from firstpull.core.mesh.wall.thicken import thickened
from firstpull.core.mesh.weld import without_unused

AGAINST = -0.5  # cosine below which a face looks against the show side across the wall
DIVISIONS = 8  # rounds of halving the sides of inner faces that are too long to bend
MOST_FACES = 3_000_000
DEEPENINGS = 6  # rounds of moving corners farther where a face between them comes too near
CLOSE_SHARE = 1e-3  # of the wall, that is near enough
UNITE_SHARE = 0.02  # of the thin surface; where more is left, a whole wall is put behind
SUNK = 0.3  # of the thin wall, how deep the new wall begins
PASSES = 2  # of moving on from where the last one had to stop
THIN_SHARE = 0.98  # of the wall, below which a place still counts as thin


class CannotFatten(WorkshopError):
    """The shell cannot be made thicker from behind."""

    code = "cannot_fatten"


@dataclass(frozen=True)
class Fattened:
    """A shell whose thin places were made thicker.

    Args:
        mesh: closed, free of crossings; the show faces are bit for bit as they were.
        show: (F,) which of its faces are the show side.
        added_mm3: material added.
        thin_mm2: inner surface that was nearer to the show side than the least wall.
        left_mm2: how much of it still is, because moving it would fold or cross.
        least_mm: the thinnest place across from the show side afterwards, from the corners,
            sides and middles of the inner faces.
        notes: sentences for the maker.
    """

    mesh: Mesh
    show: Flags
    added_mm3: float
    thin_mm2: float
    left_mm2: float
    least_mm: float
    notes: tuple[str, ...]


def fattened(mesh: Mesh, *, least_mm: float, show: NDArray[np.bool_] | None = None) -> Fattened:
    """The shell with at least a given wall behind its show side, as far as there is room.

    Inner corners that are too near move straight away from the nearest place of the show
    side, so that nothing closes an opening or grows past the rim. Inner faces that are too
    large to bend are divided first. Where that folds, as in creases, the shell is united with
    a wall made anew behind the show side.

    Args:
        mesh: a closed shell, free of crossings.
        least_mm: the least wall.
        show: (F,) the faces that must not move; None takes the side of the wall that sees
            more of the sky.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to work on.
        NotASolid: the mesh is not closed.
        CannotFatten: it crosses itself, no face shows or all do, or the wall is not above 0.

    Places without a wall across, such as where a solid part ends in an edge, stay thin.

    >>> plate = Mesh([[x, y, z] for x in (0, 30) for y in (0, 30) for z in (0, 2)],
    ...     [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    ...      [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]])
    >>> thicker = fattened(plate, least_mm=3.0, show=plate.face_normals[:, 2] > 0.5)
    >>> round(thicker.added_mm3, 6), thicker.least_mm
    (900.0, 3.0)
    """
    need_surface(mesh)
    chosen, notes = _shown(mesh, least_mm, show)
    sheet = _Sheet.of(mesh, chosen)
    inner = _across(mesh, chosen, sheet, least_mm)
    before = _nearest(mesh, inner, sheet, least_mm)
    thin = float(mesh.face_areas_mm2[inner][before < THIN_SHARE * least_mm].sum())
    if thin == 0.0:
        least = float(before.min(initial=least_mm))
        return Fattened(mesh, chosen, 0.0, 0.0, 0.0, least, (*notes, "No place was too thin."))
    finer, chosen = _divided(mesh, chosen, sheet, least_mm)
    inner = _across(finer, chosen, sheet, least_mm)
    made, left, least = finer, thin, 0.0
    for _ in range(PASSES):
        made, _ = laid(made, _ways(made, chosen, inner, sheet, least_mm))
        before_left = left
        left, least = _left(made, inner, sheet, least_mm)
        if left > 0.9 * before_left or left <= UNITE_SHARE * thin:
            break
    if left > UNITE_SHARE * thin:
        whole, shown = _united(mesh, sheet, least_mm, SUNK * float(np.percentile(before, 2)))
        if len(whole.faces):
            inner = _across(whole, shown, sheet, least_mm)
            less, thickest = _left(whole, inner, sheet, least_mm)
            if less < left:
                made, chosen, left, least = whole, shown, less, thickest
    added = made.volume_mm3 - mesh.volume_mm3
    return Fattened(made, chosen, added, thin, left, least, (*notes, *_told(thin, left, added)))


@dataclass(frozen=True)
class _Sheet:
    """The show side by itself, with its tree and that of its border (None where closed)."""

    mesh: Mesh
    tree: Tree
    rim: Tree | None

    @staticmethod
    def of(mesh: Mesh, show: Flags) -> _Sheet:
        sheet = Mesh(mesh.vertices_mm, mesh.faces[show])
        side = np.flatnonzero(edge_table(sheet).twin < 0)
        start, end = sheet.faces.ravel()[side], np.roll(sheet.faces, -1, axis=1).ravel()[side]
        lines = np.stack([start, end, start], axis=1)
        rim = Tree.of(Mesh(mesh.vertices_mm, lines)) if len(side) else None
        return _Sheet(sheet, Tree.of(sheet), rim)

    def on_rim(self, places_mm: Floats, slack_mm: float) -> Flags:
        """Which places on the sheet lie on its border."""
        if self.rim is None:
            return np.zeros(len(places_mm), dtype=np.bool_)
        return np.asarray(np.isfinite(self.rim.closest(places_mm, reach_mm=slack_mm)[0]))


def _shown(mesh: Mesh, least_mm: float, show: Flags | None) -> tuple[Flags, tuple[str, ...]]:
    """The show faces, with what was assumed; refuses what cannot be worked on."""
    solid(mesh)
    if find_crossings(mesh).a.size:
        raise CannotFatten(
            where="Mesh",
            found="crosses itself",
            limit="only a sound shell can be made thicker",
            remedy="Mend it first.",
        )
    if not least_mm > 0:
        raise CannotFatten(
            where="Least wall",
            found=f"is {least_mm:g} mm",
            limit="it must be above 0",
            remedy="Give one such as 1.2 mm.",
        )
    notes: tuple[str, ...] = ()
    if show is None:
        chosen = show_side(mesh, most_mm=4.0 * least_mm)
        notes = ("The side of the wall that sees more of the sky was taken as the show side.",)
    else:
        chosen = np.asarray(show, dtype=np.bool_).copy()
    if len(chosen) != len(mesh.faces) or not chosen.any() or chosen.all():
        raise CannotFatten(
            where="Show side",
            found=f"has {int(chosen.sum())} of {len(mesh.faces)} faces",
            limit="one side of the wall must stay and the other may move",
            remedy="Choose the faces that are seen on the finished piece.",
        )
    return chosen, notes


def _across(mesh: Mesh, show: Flags, sheet: _Sheet, least_mm: float) -> NDArray[np.int64]:
    """The faces that look against the show side from across the wall, not round its rim."""
    normals = sheet.mesh.face_normals
    others = np.flatnonzero(~show)
    away, face, place = sheet.tree.closest(mesh.face_centres_mm[others], reach_mm=2.0 * least_mm)
    near = np.isfinite(away)
    near[near] = ~sheet.on_rim(place[near], 1e-6 * least_mm)
    others, face = others[near], face[near]
    gap = mesh.face_centres_mm[others] - place[near]
    against = np.einsum("ij,ij->i", mesh.face_normals[others], normals[face]) < AGAINST
    behind = np.einsum("ij,ij->i", gap, normals[face]) < 0.0
    return np.asarray(others[against & behind])


def _nearest(mesh: Mesh, chosen: NDArray[np.int64], sheet: _Sheet, least_mm: float) -> Floats:
    """(C,) how near each chosen face comes to the show side, the least wall at most.

    Looked at in the corners, the middle, and the middles of the sides.
    """
    corners = mesh.corners_mm[chosen]
    spots = [corners.mean(axis=1), *(corners[:, k] for k in range(3))]
    spots += [0.5 * (corners[:, k] + corners[:, (k + 1) % 3]) for k in range(3)]
    away, _, _ = sheet.tree.closest(np.concatenate(spots), reach_mm=least_mm)
    return np.asarray(np.minimum(away, least_mm).reshape(7, -1).min(axis=0))


def _ways(
    mesh: Mesh, show: Flags, inner: NDArray[np.int64], sheet: _Sheet, least_mm: float
) -> Floats:
    """(V, 3) how far each corner of the inner faces goes; those of show faces stay."""
    movable = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    movable[mesh.faces[inner]] = True
    movable[mesh.faces[show]] = False
    away, _, place = sheet.tree.closest(mesh.vertices_mm)
    movable &= away > 1e-6 * least_mm
    outward = np.where(movable[:, None], mesh.vertices_mm - place, 0.0)
    outward /= np.where(movable, away, 1.0)[:, None]
    wanted = np.maximum(away, least_mm)
    for _ in range(DEEPENINGS):
        made = Mesh(mesh.vertices_mm + outward * (wanted - away)[:, None], mesh.faces)
        lacking = least_mm - _nearest(made, inner, sheet, least_mm)
        free = movable[mesh.faces[inner]].all(axis=1)
        if lacking[free].max(initial=0.0) < CLOSE_SHARE * least_mm:
            break
        more = np.zeros(len(wanted))
        np.maximum.at(more, mesh.faces[inner[free]], lacking[free][:, None])
        wanted = np.minimum(wanted + more, 2.0 * np.maximum(away, least_mm))
    return np.asarray(outward * (wanted - away)[:, None])


def _left(
    made: Mesh, inner: NDArray[np.int64], sheet: _Sheet, least_mm: float
) -> tuple[float, float]:
    """How much inner surface is still too near, and how near."""
    after = _nearest(made, inner, sheet, least_mm)
    left = float(made.face_areas_mm2[inner][after < THIN_SHARE * least_mm].sum())
    return left, float(after.min(initial=least_mm))


def _united(mesh: Mesh, sheet: _Sheet, least_mm: float, sunk_mm: float) -> tuple[Mesh, Flags]:
    """The shell together with a whole wall behind its show side; empty where none is sound.

    The wall's own show side is sunk a little into the shell: two that lie on each other come
    out of a union with other triangles.
    """
    none = Mesh(np.zeros((0, 3)), np.zeros((0, 3))), np.zeros(0, dtype=np.bool_)
    if sheet.rim is None or sunk_mm <= 0.0:
        return none
    alone = without_unused(sheet.mesh)
    try:
        wall = thickened(alone, wall_mm=least_mm).mesh
        away, place = cKDTree(alone.vertices_mm).query(wall.vertices_mm)
        inward = -sunk_mm * Sheet.of(alone).vertex_normals()[place]
        points = wall.vertices_mm + np.where((away == 0.0)[:, None], inward, 0.0)
        sunk = Mesh(points, wall.faces)
        if find_crossings(sunk).a.size:
            return none
        whole = mesh_of(solid(mesh) + solid(sunk))
    except WorkshopError:
        return none
    wanted = set(_faces_by_corners(sheet.mesh))
    shown = np.array([face in wanted for face in _faces_by_corners(whole)], dtype=np.bool_)
    if int(shown.sum()) < len(wanted) or find_crossings(whole).a.size:
        return none
    return whole, shown


def _faces_by_corners(mesh: Mesh) -> list[bytes]:
    """Each face as the bytes of its corners in order."""
    corners = mesh.corners_mm + 0.0  # without negative zeros
    order = np.lexsort((corners[:, :, 2], corners[:, :, 1], corners[:, :, 0]), axis=1)
    return [face.tobytes() for face in np.take_along_axis(corners, order[:, :, None], axis=1)]


# Inner faces fine enough to bend


def _divided(mesh: Mesh, show: Flags, sheet: _Sheet, least_mm: float) -> tuple[Mesh, Flags]:
    """Sides between two faces that do not show halved where the wall is thin and they are long."""
    for _ in range(DIVISIONS):
        a, b = mesh.faces, np.roll(mesh.faces, -1, axis=1)
        n = np.int64(len(mesh.vertices_mm))
        key = np.minimum(a, b) * n + np.maximum(a, b)
        name, side = np.unique(key, return_inverse=True)
        side = side.reshape(-1, 3)
        barred = np.zeros(len(name), dtype=np.bool_)
        barred[side[show]] = True
        low, high = name // n, name % n
        middle = 0.5 * (mesh.vertices_mm[low] + mesh.vertices_mm[high])
        span = np.linalg.norm(mesh.vertices_mm[high] - mesh.vertices_mm[low], axis=1)
        long = ~barred & (span > 1.5 * least_mm)
        # a long side is halved where the wall may be thin along it
        reach = least_mm + 0.5 * span[long]
        long[long] = sheet.tree.closest(middle[long])[0] < reach
        if not long.any() or len(mesh.faces) + 2 * int(long.sum()) > MOST_FACES:
            break
        mesh, show = _halved(mesh, show, side, long, middle)
    return mesh, show


def _halved(
    mesh: Mesh, show: Flags, side: NDArray[np.int64], chosen: Flags, middle: Floats
) -> tuple[Mesh, Flags]:
    """Each chosen side gets a corner in its middle; faces are cut into two, three or four."""
    corner = np.full(len(chosen), -1, dtype=np.int64)
    corner[chosen] = len(mesh.vertices_mm) + np.arange(int(chosen.sum()))
    mid = corner[side]
    cut = mid >= 0
    count = cut.sum(axis=1)
    # turned so that the only cut side, or the only whole one, is the first
    first = np.where(count == 1, cut.argmax(axis=1), np.where(count == 2, (~cut).argmax(axis=1), 0))
    turn = (first[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(mesh.faces, turn, axis=1).T.astype(np.int64)
    ab, bc, ca = np.take_along_axis(mid, turn, axis=1).T
    one, two, three = count == 1, count == 2, count == 3
    pieces = [
        (count == 0, (a, b, c)),
        *((one, p) for p in ((a, ab, c), (ab, b, c))),
        *((two, p) for p in ((bc, c, ca), (a, b, bc), (a, bc, ca))),
        *((three, p) for p in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))),
    ]
    faces = np.concatenate([np.stack(p, axis=1)[where] for where, p in pieces])
    shown = np.concatenate([show[where] for where, _ in pieces])
    return Mesh(np.concatenate([mesh.vertices_mm, middle[chosen]]), faces), shown


def _told(thin: float, left: float, added: float) -> tuple[str, ...]:
    notes = [
        f"{thin:,.0f} mm2 of the inner side were too near the show side;"
        f" {told_number(added / 1000.0, 2)} cm3"
        " were added behind it, and the show side did not move."
    ]
    if left > 0.0:
        notes.append(
            f"{left:,.0f} mm2 stay thin: there is no room behind them, or they end in an edge."
        )
    return tuple(notes)
