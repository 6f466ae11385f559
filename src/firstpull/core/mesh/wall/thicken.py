"""An open surface becomes a wall: the show side stays, the inner side is new.

The inner sheet is the outer one moved inward along normals that are smoothed over about the
width of the wall, so that fine relief does not fold it; it moves less where the hollow is too
tight for two walls and where it would fold all the same. A band along every loop joins the
two. Where that comes out thin or crosses itself, the wall is carved instead: from the surface
with lids on its openings everything is taken out that lies a wall or more behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.crossings import crosses_itself, find_crossings
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.repair.holes import close_loops
from firstpull.core.mesh.repair.rebuild import rebuilt
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import components, is_closed, open_loops
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.wall.behind import room_behind
from firstpull.core.mesh.wall.inward import GAP_SHARE, MITRE, Sheet, inner_side

THIN_SHARE = 0.9  # of the asked wall, below which a place counts as thin
WALL_STEPS = 3  # steps of the grid in a wall; its corners are then put where they belong
NEAR_SHARE = 0.98  # of the asked wall, up to which nothing is done
SPARED_SHARE = 0.01  # of the wall, by which its inner side may stray for fewer triangles
NARROW = 1.0  # walls; hollow that is nowhere as wide becomes solid
MOST_POINTS = 30_000_000  # of the grid
LIDS_POINTS = 12_000_000  # of the grid, up to which a sheet is made anew because its lids cross


class CannotThicken(WorkshopError):
    """No wall that is sound can be put behind this surface."""

    code = "cannot_thicken"


@dataclass(frozen=True)
class Thickened:
    """A wall made from an open surface.

    Args:
        mesh: the closed wall.
        least_mm: the thinnest place, as the distance from the inner side to the surface.
        tight_share: share of the area where the hollow is too tight for two full walls.
        filled_mm3: about how much is solid through where the hollow is too tight; 0 where
            nothing was carved.
        off_mm: how far the show side strayed; 0 unless the surface had to be made anew.
    """

    mesh: Mesh
    least_mm: float
    tight_share: float
    filled_mm3: float
    off_mm: float = 0.0


def thickened(surface: Mesh, *, wall_mm: float) -> Thickened:
    """A closed wall behind an open surface whose faces look away from the hollow.

    Args:
        surface: open, every edge with one or two faces, all looking the same way.
        wall_mm: thickness measured square to the surface.

    Returns:
        the wall, closed and free of crossings; its outer sheet is the surface itself,
        triangle by triangle, unless that crosses itself or no lid fits over its openings:
        then it is made anew.

    Raises:
        CannotThicken: no such wall was found.

    >>> from firstpull.core.mesh.topology import is_closed
    >>> plate = Mesh([[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]], [[0, 1, 2], [0, 2, 3]])
    >>> wall = thickened(plate, wall_mm=2).mesh
    >>> is_closed(wall), round(wall.volume_mm3)
    (True, 162)
    """
    sheet = Sheet.of(surface)
    way, reach, depth = inner_side(sheet, wall_mm=wall_mm)
    share = depth / reach
    weight = sheet.vertex_areas_mm2()
    tight = float(weight[share < THIN_SHARE].sum() / max(weight.sum(), 1e-300))
    direct, least = _deepened(surface, way, depth, np.asarray(share >= THIN_SHARE), wall_mm)
    clean = not find_crossings(direct).a.size
    if clean and least >= THIN_SHARE * wall_mm:
        return Thickened(direct, least, tight, 0.0)
    off = 0.0
    try:
        lidded = _lidded(surface)
        crossed = crosses_itself(surface)
        if not crossed and grid_points(surface, wall_mm=wall_mm) > LIDS_POINTS:
            _need_lids(lidded)
        if crossed or crosses_itself(lidded):
            wall, off = _anew(lidded, surface, wall_mm)
        else:
            wall = _without_room(lidded, surface, wall_mm)
        _need_sound(wall)
    except WorkshopError:
        if not clean:
            raise
        return Thickened(direct, least, tight, 0.0)
    half_gap = np.minimum(depth / (2.0 * GAP_SHARE), wall_mm)
    filled = float((weight * half_gap)[share < THIN_SHARE].sum())
    return Thickened(wall, wall_mm, tight, filled, off)


def _deepened(
    surface: Mesh, way: Floats, depth: Floats, free: Flags, wall_mm: float
) -> tuple[Mesh, float]:
    """The direct wall, its inner corners moved on where faces come too near; and how near.

    Corners beside creases and on coarse dents lack a little; those in tight places stay.
    """
    tree = Tree.of(surface)
    n = len(surface.vertices_mm)
    inner = surface.faces
    for more in (True, True, True, False):
        direct = _stitched(surface, surface.vertices_mm + way * depth[:, None])
        middles = direct.face_centres_mm[len(inner) : 2 * len(inner)]
        corner, _, _ = tree.closest(direct.vertices_mm[n:])
        middle, _, _ = tree.closest(middles)
        least = float(min(corner.min(), middle.min()))
        if least >= NEAR_SHARE * wall_mm or not more:
            break
        lacking = wall_mm - corner
        np.maximum.at(lacking, inner, (wall_mm - middle)[:, None])
        most = MITRE * wall_mm
        depth = np.where(free, np.minimum(depth + np.maximum(lacking, 0.0), most), depth)
    return direct, least


def _need_sound(wall: Mesh) -> None:
    if not is_closed(wall) or find_crossings(wall).a.size:
        raise CannotThicken(
            where="Open surface",
            found="could not be given a wall that does not cross itself",
            remedy="Give a thinner wall, or thicken the surface in the modelling program.",
        )


def _stitched(surface: Mesh, inner_mm: Floats) -> Mesh:
    """Outer sheet, inner sheet turned over, and a band of two triangles at each open edge."""
    n = len(surface.vertices_mm)
    loops = open_loops(surface)
    start = np.concatenate(loops)
    end = np.concatenate([np.roll(loop, -1) for loop in loops])
    band = np.concatenate(
        [
            np.stack([end, start, start + n], axis=1),
            np.stack([end, start + n, end + n], axis=1),
        ]
    )
    return Mesh(
        np.concatenate([surface.vertices_mm, inner_mm]),
        np.concatenate([surface.faces, surface.faces[:, ::-1] + n, band]),
    )


def grid_points(surface: Mesh, *, wall_mm: float) -> float:
    """How many points the space around a surface has when its wall is carved out of it."""
    return float(np.prod(np.ptp(surface.vertices_mm, axis=0) * WALL_STEPS / wall_mm + 8.0))


def _need_lids(lidded: Mesh) -> None:
    if crosses_itself(lidded):
        raise CannotThicken(
            where="Open surface",
            found="has openings over which no lid fits without crossing it",
            limit="the hollow cannot be told from the outside there",
            remedy="Cut the surface so that its rim lies flatter, or give a thinner wall.",
        )


def _anew(lidded: Mesh, surface: Mesh, wall_mm: float) -> tuple[Mesh, float]:
    """The wall of a surface that crosses itself, which is made anew first; and how far off."""
    least = _step(lidded, wall_mm, WALL_STEPS)
    made = rebuilt(lidded, step_mm=least)
    away, _, _ = Tree.of(surface).closest(made.mesh.face_centres_mm, reach_mm=0.5 * least)
    sheet = _largest(made.mesh.with_faces(np.isfinite(away)))
    return _without_room(made.mesh, sheet, wall_mm), made.off_mm


def _without_room(body: Mesh, sheet: Mesh, wall_mm: float) -> Mesh:
    """The wall that is left of a lidded surface when the room behind it is taken out.

    A surface that was not made anew keeps its own triangles; along its border a lip of the
    lid is left, a grid step wide at the most.
    """
    step = _step(body, wall_mm, WALL_STEPS)
    low, high = body.bounds_mm
    shift = np.array([0.137, 0.071, 0.193]) * step
    grid = Grid.around(low - 3.0 * step - shift, high + 3.0 * step, step_mm=step)
    room = room_behind(
        sheet, grid, wall_mm=wall_mm, past_rim_mm=step, least_wide_mm=NARROW * wall_mm
    )
    if not len(room.faces):
        return body
    whole, hollow = solid(body), solid(room)
    # a grid's triangles are all as small as its step, also where the inner side is flat
    wall = _largest(mesh_of(whole - hollow.simplify(SPARED_SHARE * wall_mm)))
    return wall if not crosses_itself(wall) else _largest(mesh_of(whole - hollow))


def _step(body: Mesh, wall_mm: float, steps: int) -> float:
    """That many steps in a wall; fewer on a large part, not below two."""
    sides = np.ptp(body.vertices_mm, axis=0)
    step = wall_mm / steps
    points = float(np.prod(sides / step + 8.0))
    step *= max(1.0, (points / MOST_POINTS) ** (1.0 / 3.0))
    if step > 0.5 * wall_mm:
        raise CannotThicken(
            where="Open surface",
            found=f"of {sides.max():,.0f} mm is too large for a wall of {wall_mm:g} mm",
            limit=f"a grid of {MOST_POINTS / 1e6:.0f} million points must have two in the wall",
            remedy=f"Give a wall of {told_number(2.05 * step, 2)} mm or more, or cut the part"
            " into pieces.",
        )
    return step


def _largest(mesh: Mesh) -> Mesh:
    """The part with the most surface: without crumbs, and bubbles left in it."""
    label = components(mesh)
    area = np.bincount(label, weights=mesh.face_areas_mm2)
    return mesh if len(area) == 1 else mesh.with_faces(label == int(np.argmax(area)))


def _lidded(surface: Mesh) -> Mesh:
    """The surface with flat lids, or with bulging ones where those would cross it."""
    loops = open_loops(surface)
    flat = close_loops(surface, loops)
    if not crosses_itself(flat):
        return flat
    smooth = close_loops(surface, loops, how="smooth")
    return flat if crosses_itself(smooth) else smooth
