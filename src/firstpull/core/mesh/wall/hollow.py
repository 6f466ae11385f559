"""A solid sculpt becomes a shell with an open back; its outside does not move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import part_volumes_mm3
from firstpull.core.mesh.refusals import CannotMend, need_surface
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import components
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.wall.behind import room_behind

MOST_POINTS = 30_000_000  # of the grid
WALL_STEPS = 4  # steps of the grid in a wall
FEWEST_STEPS = 2  # and where the part is large for its wall
FLAT_COSINE = 0.95  # with the direction of the back, from which a face belongs to a flat back
FLAT_SHARE = 0.5  # of the area seen from the back that must be flat to be taken as the back
SOLID_WALLS = 1.8  # walls from the hollow beyond which material counts as solid; a square
# corner of a box is 1.73 walls thick along its diagonal


class CannotHollow(WorkshopError):
    """The solid leaves no room for a hollow, or no way out of it."""

    code = "cannot_hollow"


@dataclass(frozen=True)
class Hollowed:
    """A shell made from a solid.

    Args:
        mesh: closed and free of crossings; outside the opened back the solid's own triangles.
        removed_mm3: what the hollow took, and what was cut off at the back.
        least_wall_mm: the thinnest wall, from the corners, sides and middles of the hollow's
            faces to the outside.
        solid_mm3: material more than 1.8 walls from the hollow: what was too thin for two
            walls, or lies behind too narrow a neck.
        cut_mm: how deep the back was cut; 0 where it was flat.
        step_mm: of the grid the hollow was made on.
        notes: sentences for the maker.
    """

    mesh: Mesh
    removed_mm3: float
    least_wall_mm: float
    solid_mm3: float
    cut_mm: float
    step_mm: float
    notes: tuple[str, ...]


def hollowed(
    mesh: Mesh,
    *,
    wall_mm: float,
    open_back: Sequence[float] | None = None,
    back_mm: float | None = None,
) -> Hollowed:
    """A shell of a wall's thickness, open at the back.

    Args:
        mesh: one closed solid, free of crossings.
        wall_mm: least thickness everywhere but at the back, which is opened.
        open_back: direction toward the back; None takes that of the largest flat face.
        back_mm: how deep to cut from the extreme in that direction. None cuts nothing where
            the back is flat, and else one wall deep.

    Returns:
        the shell. Hollows that do not reach the back stay solid: nothing could get out.

    Raises:
        NoTriangles, BadCoordinates, NoArea: there is nothing to hollow.
        NotASolid: the mesh is not closed.
        CannotHollow: no room within the wall, no flat back to take by itself, or too large.
        CannotMend: the mesh crosses itself.

    >>> box = [[x, y, z] for x in (0, 60) for y in (0, 50) for z in (0, 40)]
    >>> faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    ...          [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    >>> shell = hollowed(Mesh(box, faces), wall_mm=4, open_back=(0, 0, -1))
    >>> bool(abs(shell.removed_mm3 / (52 * 42 * 36) - 1) < 0.01), shell.cut_mm
    (True, 0.0)
    """
    need_surface(mesh)
    _need_sound(mesh)
    way = _back(mesh) if open_back is None else _unit(open_back)
    body, level, cut = _cut(mesh, way, wall_mm, back_mm)
    back = _back_faces(body, way, level)
    sheet = body.with_faces(~back)
    grid = _grid(body, wall_mm)
    room = room_behind(sheet, grid, wall_mm=wall_mm, past_rim_mm=wall_mm)
    room = _reaching_out(room, way, level)
    shell = mesh_of(solid(body) - solid(room))
    if find_crossings(shell).a.size:
        raise _no_room()
    least = least_wall(room, sheet, body)
    left = _solid_left(shell, room, grid, wall_mm)
    removed = mesh.volume_mm3 - shell.volume_mm3
    notes = _notes(wall_mm, way, cut, left, grid.step_mm)
    return Hollowed(shell, removed, least, left, cut, grid.step_mm, notes)


def _need_sound(mesh: Mesh) -> None:
    solid(mesh)
    if find_crossings(mesh).a.size:
        raise CannotMend(
            where="Mesh",
            found="crosses itself",
            limit="only a sound solid can be hollowed",
            remedy="Mend it first.",
        )
    parts = components(mesh)
    if parts.max() > 0 and (part_volumes_mm3(mesh, parts) < 0).any():
        raise CannotHollow(
            where="Mesh",
            found="is hollow already",
            limit="a closed hollow in it would meet the new one",
            remedy="Delete the inner surface in the modelling program.",
        )


def _unit(direction: Sequence[float]) -> Floats:
    way = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(way))
    if way.shape != (3,) or not np.isfinite(length) or length == 0.0:
        raise CannotHollow(
            where="Direction of the back",
            found=f"is {tuple(direction)}",
            limit="it must have a length",
            remedy="Give one such as (0, 0, -1).",
        )
    return np.asarray(way / length)


def _back(mesh: Mesh) -> Floats:
    """The normal of the largest flat face, on the convex hull so that it can be the back."""
    normals, areas = mesh.face_normals, mesh.face_areas_mm2
    key = np.round(normals * 50.0).astype(int)
    _, place = np.unique(key, axis=0, return_inverse=True)
    weight = np.bincount(place.ravel(), weights=areas)
    for group in np.argsort(weight)[::-1][:8]:
        chosen = place.ravel() == group
        way = np.asarray((normals[chosen] * areas[chosen][:, None]).sum(axis=0))
        way = way / np.linalg.norm(way)
        if weight[group] < 0.05 * areas.sum():
            break
        height = mesh.vertices_mm @ way
        lying = float(height[mesh.faces[chosen]].mean())
        if height.max() - lying < 0.01 * np.ptp(height):
            return np.asarray(way)
    raise CannotHollow(
        where="Mesh",
        found="has no large flat face to open",
        limit="which side is the back is not for the program to guess",
        remedy="Say the direction of the back.",
    )


def _cut(
    mesh: Mesh, way: Floats, wall_mm: float, back_mm: float | None
) -> tuple[Mesh, float, float]:
    """The solid with a flat back, how far that lies along the direction, and how deep it cut."""
    height = mesh.vertices_mm @ way
    top = float(height.max())
    flat = 1e-6 * float(np.ptp(mesh.vertices_mm, axis=0).max())
    depth = _flat_depth(mesh, way, wall_mm) if back_mm is None else back_mm
    if not 0.0 <= depth < np.ptp(height) - wall_mm:
        raise CannotHollow(
            where="Cut at the back",
            found=f"is {depth:g} mm deep",
            limit=f"the part is {told_number(np.ptp(height), 3)} mm deep and needs a wall of"
            f" {wall_mm:g} mm",
            remedy="Give a shallower cut or a thinner wall.",
        )
    if depth <= flat and len(_level_faces(mesh, way, top, flat)):
        return mesh, top, 0.0
    body = mesh_of(solid(mesh).trim_by_plane((-way).tolist(), -(top - depth)))
    return body, top - depth, depth


def _flat_depth(mesh: Mesh, way: Floats, wall_mm: float) -> float:
    """How deep to cut: to the depth of a flat or nearly flat back, else one wall."""
    height = mesh.corners_mm @ way
    top = float(height.max())
    facing = mesh.face_vectors_mm2 @ way
    seen = facing[facing > 0].sum()
    near = (mesh.face_normals @ way > FLAT_COSINE) & (height.min(axis=1) > top - 0.5 * wall_mm)
    if facing[near].sum() < FLAT_SHARE * seen:
        return wall_mm
    return top - float(height[near].min())


def _level_faces(mesh: Mesh, way: Floats, level: float, slack: float) -> Any:
    height = mesh.corners_mm @ way
    level_faces = (np.abs(height - level) <= slack).all(axis=1) & (mesh.face_normals @ way > 0.9)
    return np.flatnonzero(level_faces)


def _back_faces(body: Mesh, way: Floats, level: float) -> Flags:
    back = np.zeros(len(body.faces), dtype=np.bool_)
    slack = 1e-6 * float(np.ptp(body.vertices_mm, axis=0).max())
    back[_level_faces(body, way, level, slack)] = True
    return back


def _grid(body: Mesh, wall_mm: float) -> Grid:
    """Four steps in a wall; fewer on a large part, not below two."""
    low, high = body.bounds_mm
    step = wall_mm / WALL_STEPS
    points = float(np.prod((high - low) / step + 8.0))
    step *= max(1.0, (points / MOST_POINTS) ** (1.0 / 3.0))
    if step > wall_mm / FEWEST_STEPS:
        raise CannotHollow(
            where="Hollowing",
            found=f"a part of {(high - low).max():,.0f} mm to a wall of {wall_mm:g} mm would take"
            f" {points / 1e6:,.0f} million points",
            limit=f"up to {MOST_POINTS / 1e6:.0f} million fit",
            remedy=f"Give a wall of {told_number(FEWEST_STEPS * step, 2)} mm or more, or cut the"
            " part.",
        )
    shift = np.array([0.137, 0.071, 0.193]) * step
    return Grid.around(low - 3.0 * step - shift, high + 3.0 * step, step_mm=step)


def _reaching_out(room: Mesh, way: Floats, level: float) -> Mesh:
    """Only the parts of the hollow that reach through the back."""
    if not len(room.faces):
        raise _no_room()
    label = components(room)
    top = np.full(int(label.max()) + 1, -np.inf)
    low = np.full(len(top), np.inf)
    height = (room.vertices_mm @ way)[room.faces]
    np.maximum.at(top, label, height.max(axis=1))
    np.minimum.at(low, label, height.min(axis=1))
    through = (top > level) & (low < level)
    if not through.any():
        raise _no_room()
    return room.with_faces(through[label])


def least_wall(room: Mesh, sheet: Mesh, body: Mesh) -> float:
    """The least distance to the sheet from the room's faces within the body."""
    corners = room.corners_mm
    sides = 0.5 * (corners + np.roll(corners, 1, axis=1))
    points = np.concatenate([room.vertices_mm, room.face_centres_mm, sides.reshape(-1, 3)])
    inside = is_inside(body, points)
    return float(Tree.of(sheet).closest(points[inside])[0].min(initial=np.inf))


def _solid_left(shell: Mesh, room: Mesh, grid: Grid, wall_mm: float) -> float:
    """Material far from the hollow, by counting every second point of the grid."""
    axes = [grid.axis(k)[::2] for k in range(3)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    points = points[is_inside(shell, points)]
    away, _, _ = Tree.of(room).closest(points, reach_mm=SOLID_WALLS * wall_mm)
    return float(np.isinf(away).sum() * (2.0 * grid.step_mm) ** 3)


def _no_room() -> CannotHollow:
    return CannotHollow(
        where="Mesh",
        found="leaves no room for a hollow that opens at the back",
        limit="between two walls there must be room, from the back on",
        remedy="Give a thinner wall, cut deeper at the back, or leave the part solid.",
    )


def _notes(wall_mm: float, way: Floats, cut: float, left: float, step: float) -> tuple[str, ...]:
    direction = ", ".join(told_number(value, 2) for value in way + 0.0)
    notes = [
        f"The solid was hollowed to a wall of {wall_mm:g} mm, open toward ({direction}); its"
        f" outside did not move. Edges of the hollow are rounded on a {told_number(step, 2)} mm"
        " grid."
    ]
    if cut > 0:
        notes.append(f"The back was not flat: it was cut {told_number(cut, 3)} mm deep.")
    if left > 0.5 * wall_mm**3:
        notes.append(
            f"{told_number(left / 1000.0, 2)} cm3 stayed solid where there is no room for two"
            " walls."
        )
    return tuple(notes)
