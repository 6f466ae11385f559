"""A new surface for a mesh that is beyond mending: what winds around what, on a grid.

The last resort for faces that cross each other, twists, crowded edges and missing parts. A
point of the grid is inside where the old faces wind around it at least half a turn; the new
surface runs between inside and outside, and its vertices are then laid back onto the old
faces, so that detail much finer than the grid comes through. Where that would fold or cross,
they stay where the grid put them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.grid import Field, Grid, closest, winding
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import (
    FLAT,
    agreeing,
    hollowness,
    inside_out,
    part_volumes_mm3,
    turned,
)
from firstpull.core.mesh.refusals import CannotMend, counted, need_surface
from firstpull.core.mesh.repair.lay import laid
from firstpull.core.mesh.topology import components, edge_table, is_closed
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.turns import Turns
from firstpull.core.mesh.weld import welded

MOST_POINTS = 40_000_000
"""Points a grid may have: about 1 GB while it is worked on."""

USUAL_STEPS = 300
"""Steps along the longest side where nothing else is said: 27 million points at most."""

WALL_STEPS = 4
"""Steps that the thinnest wall must span to come through whole."""

BAND = 2.5  # steps on either side of the surface where the distance counts
BLOCK = 4  # steps between the points where winding is looked at first
UNSURE = 0.15  # of half a turn either way, where all points of a block are looked at
DEBRIS_STEPS = 6  # a part smaller than a cube of that many steps is dropped
SCRAP_SHARE = 1e-3  # of the area, up to which an open part is left as it looks
SHIFTED = np.array([0.137, 0.071, 0.193])  # steps off the corner: no flat face lies on a layer


class GridTooLarge(WorkshopError):
    """A grid as fine as asked would not fit into memory."""

    code = "grid_too_large"


@dataclass(frozen=True)
class Rebuilt:
    """A surface made anew.

    Args:
        mesh: closed, outward, free of crossings.
        step_mm: of the grid it was made on.
        off_mm: how far the new surface strays from the old at the most, holes left aside:
            looked at in the corners and middles of all new faces, and in the old corners
            that lie outside the new surface.
        bridged_mm2: new surface where there was none, across holes.
        held_share: of the vertices, that could not be laid onto the old surface.
        parts_dropped: crumbs and bubbles smaller than a few steps.
        notes: sentences for the maker.
    """

    mesh: Mesh
    step_mm: float
    off_mm: float
    bridged_mm2: float
    held_share: float
    parts_dropped: int
    notes: tuple[str, ...]


def rebuilt(
    mesh: Mesh, *, step_mm: float | None = None, least_wall_mm: float | None = None
) -> Rebuilt:
    """A closed surface around what the faces of any mesh wind around.

    Args:
        mesh: any triangles; parts that hang together are turned to agree and outward first.
        step_mm: of the grid; detail between parts of the surface that is finer than it, such
            as slits, is lost. None takes a quarter of ``least_wall_mm``, and where that is
            None too, a 300th of the longest side.
        least_wall_mm: the thinnest wall that must come through.

    Returns:
        the new surface; its sharp edges and corners are cut off by up to a step.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to rebuild.
        GridTooLarge: the grid would have more than 40 million points; names the step that fits.
        CannotMend: nothing is inside, as for a flat sheet; or no surface without crossings
            came of it.

    >>> from firstpull.core.mesh.mesh import joined
    >>> tetra = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]],
    ...              [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> made = rebuilt(joined([tetra, tetra]), step_mm=0.25)
    >>> bool(abs(made.mesh.volume_mm3 / (9**3 / 6) - 1) < 0.01), is_closed(made.mesh)
    (True, True)
    """
    need_surface(mesh)
    step = _step(mesh, step_mm, least_wall_mm)
    whole = _outward(welded(mesh))
    margin = (BAND + 1.0) * step
    low, high = whole.bounds_mm
    grid = Grid.around(low - margin - SHIFTED * step, high + margin, step_mm=step)
    raw, dropped = _without_debris(contour(_field(whole, grid), grid), step)
    if not len(raw.faces):
        raise _nothing_inside(step)
    if find_crossings(raw).a.size or not is_closed(raw):
        raise _still_crossing(step)
    tree = Tree.of(whole)
    made, held = _laid_back(raw, tree, whole, step)
    off, bridged = _strayed(made, whole, tree, step)
    notes = _notes(step, off, bridged, dropped)
    return Rebuilt(made, step, off, bridged, float(held.mean()), dropped, notes)


def _step(mesh: Mesh, step_mm: float | None, least_wall_mm: float | None) -> float:
    """The step by the stated rule, if the grid is not too large."""
    sides = np.ptp(mesh.corners_mm.reshape(-1, 3), axis=0)
    if step_mm is None:
        usual = float(sides.max()) / USUAL_STEPS
        step_mm = usual if least_wall_mm is None else least_wall_mm / WALL_STEPS
    if not (np.isfinite(step_mm) and step_mm > 0):
        raise GridTooLarge(
            where="Grid step",
            found=f"is {step_mm:g} mm",
            limit="it must be above 0",
            remedy="Leave it away, or give a step such as 0.5 mm.",
        )
    if _points(sides, step_mm) > MOST_POINTS:
        fits = step_mm
        while _points(sides, fits) > MOST_POINTS:
            fits *= 1.01
        raise GridTooLarge(
            where="Rebuilding",
            found=f"on a {told_number(step_mm, 3)} mm grid would take"
            f" {_points(sides, step_mm) / 1e6:,.0f}"
            " million points",
            limit=f"up to {MOST_POINTS / 1e6:.0f} million fit",
            remedy=f"Use a step of {_rounded_up(fits):g} mm or more, or cut the part into pieces.",
        )
    return float(step_mm)


def _points(sides: Floats, step_mm: float) -> float:
    return float(np.prod(sides / step_mm + 2.0 * BAND + 4.0))


def _rounded_up(value: float) -> float:
    """To two digits.

    >>> _rounded_up(0.312), _rounded_up(1.25)
    (0.32, 1.3)
    """
    exponent = int(np.floor(np.log10(value))) - 1
    return float(f"{np.ceil(value / 10.0**exponent - 1e-9) * 10.0**exponent:.2g}")


# Which way the faces look


def _outward(mesh: Mesh) -> Mesh:
    """The parts turned to agree; closed ones outward, open ones away from their hollow."""
    even = turned(mesh, agreeing(mesh).turn)
    patch, closed = _patches(even)
    turn = np.zeros(len(patch), dtype=np.bool_)
    whole = closed[patch]
    if whole.any():
        label = np.unique(patch[whole], return_inverse=True)[1].astype(np.int32)
        alone = Mesh(even.vertices_mm, even.faces[whole])
        turn[whole] = np.isin(label, inside_out(alone, label=label))
    area = np.bincount(patch, weights=even.face_areas_mm2)
    for number in np.flatnonzero(~closed & (area > SCRAP_SHARE * area.sum())):
        chosen = patch == number
        if hollowness(even.with_faces(chosen)) < -FLAT:
            turn |= chosen
    return turned(even, turn)


def _patches(mesh: Mesh) -> tuple[Ints, Flags]:
    """Faces joined across edges of two, numbered; and which such patches have no other edge."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    twin = edge_table(mesh).twin
    side = np.flatnonzero(twin >= 0)
    n = len(mesh.faces)
    link = coo_matrix((np.ones(len(side), dtype=np.int8), (side // 3, twin[side] // 3)), (n, n))
    count, patch = connected_components(link, directed=False)
    closed = np.ones(count, dtype=np.bool_)
    closed[patch[np.flatnonzero(twin < 0) // 3]] = False
    return patch.astype(np.int32), closed


# Inside and outside on the grid


def _field(mesh: Mesh, grid: Grid) -> Field:
    """Distance near the surface, negative inside; across holes, how far from half a turn."""
    away, _ = closest(mesh, grid, reach_mm=BAND * grid.step_mm)
    table = edge_table(mesh)
    if (2 * table.forward == table.count).all():  # no hole: the turns are whole numbers
        np.negative(away, out=away, where=winding(mesh, grid) > 0)
        return away
    return _by_turns(Turns.of(mesh), away, grid)


def _by_turns(turns: Turns, away: Field, grid: Grid) -> Field:
    """The same where there are holes: turns in coarse blocks, in all points where unsure."""
    blocks = [-(-n // BLOCK) for n in grid.shape]
    axes = [grid.low_mm[k] + BLOCK * grid.step_mm * np.arange(blocks[k] + 1) for k in range(3)]
    corners = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    surplus = (turns.at(corners) - 0.5).reshape(corners.shape[:3])
    near = _blockwise(away < np.float32(BAND * grid.step_mm), blocks)
    least, most = _corner_range(surplus)
    unsure = near | ((least < UNSURE) & (most > -UNSURE))
    inside = _spread_out(most > 0, grid.shape)
    at = np.argwhere(_spread_out(unsure, grid.shape))
    field = np.where(inside, -away, away)
    for part in np.array_split(at, len(at) // 2_000_000 + 1):
        i, j, k = part.T
        more = turns.at(np.array(grid.low_mm) + grid.step_mm * part) - 0.5
        size = np.minimum(away[i, j, k], 2.0 * BAND * grid.step_mm * np.abs(more))
        field[i, j, k] = np.where(more > 0, -size, size)
    return field


def _blockwise(flags: Flags, blocks: list[int]) -> Flags:
    """Whether any point of each block is flagged."""
    padded = np.zeros([BLOCK * n for n in blocks], dtype=np.bool_)
    padded[tuple(slice(n) for n in flags.shape)] = flags
    a, b, c = blocks
    return np.asarray(padded.reshape(a, BLOCK, b, BLOCK, c, BLOCK).any(axis=(1, 3, 5)))


def _corner_range(values: Floats) -> tuple[Floats, Floats]:
    """The least and the most of the eight corners of each block."""
    least, most = values, values
    for axis in range(3):
        n = values.shape[axis] - 1
        first = [slice(None)] * 3
        second = [slice(None)] * 3
        first[axis], second[axis] = slice(0, n), slice(1, n + 1)
        least = np.minimum(least[tuple(first)], least[tuple(second)])
        most = np.maximum(most[tuple(first)], most[tuple(second)])
    return least, most


def _spread_out(flags: Flags, shape: tuple[int, int, int]) -> Flags:
    """A flag for each block as one for each of its points."""
    out = flags
    for axis in range(3):
        out = np.repeat(out, BLOCK, axis=axis)
    return np.asarray(out[tuple(slice(n) for n in shape)])


def _without_debris(mesh: Mesh, step: float) -> tuple[Mesh, int]:
    """Without crumbs and bubbles of a few steps, and how many there were."""
    if not len(mesh.faces):
        return mesh, 0
    label = components(mesh)
    size = np.abs(part_volumes_mm3(mesh, label))
    kept = size >= (DEBRIS_STEPS * step) ** 3
    kept[int(np.argmax(size))] = True
    if kept.all():
        return mesh, 0
    return mesh.with_faces(kept[label]), int((~kept).sum())


# Back onto the old faces


def _laid_back(raw: Mesh, tree: Tree, old: Mesh, step: float) -> tuple[Mesh, Flags]:
    """Each vertex on the nearest old face where none folds; and which had to stay behind."""
    _, face, place = tree.closest(raw.vertices_mm, reach_mm=step)
    near = np.asarray(face >= 0)
    near[near] = _on_the_outside(place[near], face[near], old, step)
    way = np.where(near[:, None], place - raw.vertices_mm, 0.0)
    made, share = laid(raw, way)
    return made, np.asarray(near & (share < 1.0))


def _on_the_outside(place_mm: Floats, face: NDArray[np.int32], old: Mesh, step: float) -> Flags:
    """Which places on the old faces border on the outside, not only on more inside."""
    if not find_crossings(old).a.size:
        return np.ones(len(place_mm), dtype=np.bool_)
    lift = 0.02 * step * old.face_normals[face]
    turns = Turns.of(old)
    return np.asarray(np.minimum(turns.at(place_mm + lift), turns.at(place_mm - lift)) < 0.5)


# What became of it


def _strayed(made: Mesh, old: Mesh, tree: Tree, step: float) -> tuple[float, float]:
    """The farthest that both surfaces are apart where both exist, and what is new alone."""
    points = np.concatenate([made.face_centres_mm, made.vertices_mm])
    away = tree.closest(points, reach_mm=2.0 * step)[0]
    bridge = away > step if not is_closed(old) else np.isinf(away)
    off = float(away[~bridge].max(initial=0.0))
    points = old.vertices_mm[np.unique(old.faces)]
    cut, _, _ = Tree.of(made).closest(points, reach_mm=2.0 * step)
    cut = cut[np.isfinite(cut) & ~is_inside(made, points)]
    new_alone = made.face_areas_mm2[bridge[: len(made.faces)]].sum()
    return max(off, float(cut.max(initial=0.0))), float(new_alone)


def _notes(step: float, off: float, bridged: float, dropped: int) -> tuple[str, ...]:
    notes = [
        f"The surface was made anew on a {told_number(step, 3)} mm grid: sharp edges are"
        " rounded, slits"
        f" and walls thinner than {told_number(step, 3)} mm may be gone; off by up to"
        f" {told_number(off, 2)} mm."
    ]
    if bridged > 0:
        notes.append(f"Holes were bridged with {bridged:,.0f} mm2 of new surface.")
    if dropped:
        notes.append(f"{counted(dropped, 'crumb or bubble', 'crumbs and bubbles')} dropped.")
    return tuple(notes)


def _nothing_inside(step: float) -> CannotMend:
    return CannotMend(
        where="Mesh",
        found=f"has no inside on a {told_number(step, 3)} mm grid",
        limit="a surface can only be made anew around what its faces enclose",
        remedy="Give an open sheet a wall instead, or use a finer step for thin walls.",
    )


def _still_crossing(step: float) -> CannotMend:
    return CannotMend(
        where="Mesh",
        found=f"still crosses itself when made anew on a {told_number(step, 3)} mm grid",
        remedy="Try a slightly different step.",
    )
