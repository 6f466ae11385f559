"""Which way do the faces look? Made the same within a part, and outward."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import EdgeTable, components, edge_table, open_loops

FLAT = 0.02
"""Hollowness below which a surface has no inside to speak of; a half ball has about 0.7."""


@dataclass(frozen=True)
class Turning:
    """What it takes to make neighbours agree.

    Args:
        turn: (F,) the faces to turn over, the fewer of each part.
        one_sided: the number of edges where a part meets itself turned over (as a strip with
            a half twist does); no turning helps there.
    """

    turn: Flags
    one_sided: int


def agreeing(mesh: Mesh, *, edges: EdgeTable | None = None) -> Turning:
    """Which faces to turn so that neighbours across two-faced edges look the same way."""
    table = edges or edge_table(mesh)
    twin = table.twin
    begin = mesh.faces.ravel()
    against = np.zeros(len(begin), dtype=np.bool_)
    paired = twin >= 0
    against[paired] = begin[paired] == begin[twin[paired]]
    turn, patch, clashes = _flood(twin, against)
    area = mesh.face_areas_mm2
    patches = int(patch.max()) + 1 if len(patch) else 0
    turned = np.bincount(patch, weights=area * turn, minlength=patches)
    whole = np.bincount(patch, weights=area, minlength=patches)
    other_way = turned > 0.5 * whole
    return Turning(turn=turn ^ other_way[patch], one_sided=int(clashes))


@njit(cache=True)
def _flood(twin: Any, against: Any) -> Any:
    n = len(twin) // 3
    patch = np.full(n, -1, dtype=np.int32)
    turn = np.zeros(n, dtype=np.bool_)
    stack = np.empty(n, dtype=np.int32)
    patches = 0
    clashes = 0
    for first in range(n):
        if patch[first] >= 0:
            continue
        patch[first] = patches
        stack[0] = first
        top = 1
        while top:
            top -= 1
            face = stack[top]
            for side in range(3 * face, 3 * face + 3):
                other = twin[side]
                if other < 0:
                    continue
                wanted = turn[face] ^ against[side]
                neighbour = other // 3
                if patch[neighbour] < 0:
                    patch[neighbour] = patches
                    turn[neighbour] = wanted
                    stack[top] = neighbour
                    top += 1
                elif turn[neighbour] != wanted and side < other:
                    clashes += 1
        patches += 1
    return turn, patch, clashes


def turned(mesh: Mesh, chosen: NDArray[Any]) -> Mesh:
    """The mesh with the chosen faces turned over.

    >>> turned(Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]]), np.array([True])).faces
    array([[0, 2, 1]], dtype=int32)
    """
    faces = mesh.faces.copy()
    faces[chosen] = faces[chosen][:, [0, 2, 1]]
    return Mesh(mesh.vertices_mm, faces)


def part_volumes_mm3(mesh: Mesh, label: Ints) -> Floats:
    """(P,) signed volume of each part, meaningful for the closed ones."""
    corners = mesh.corners_mm - mesh.vertices_mm.mean(axis=0)
    six = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    volumes = np.bincount(label, weights=six / 6.0, minlength=int(label.max()) + 1)
    return volumes.astype(np.float64)


def inside_out(mesh: Mesh, *, label: Ints | None = None) -> list[int]:
    """The closed parts whose faces look inward, by number of part.

    A part that lies within an odd number of others is their hollow, and rightly looks
    inward.
    """
    part = components(mesh) if label is None else label
    if part.max() == 0:
        return [0] if mesh.volume_mm3 < 0 else []
    volumes = part_volumes_mm3(mesh, part)
    wrong = [int(p) for p in np.flatnonzero(volumes < 0)]
    return [p for p in wrong if _depth(mesh, part, p, volumes) % 2 == 0]


def _depth(mesh: Mesh, part: Ints, which: int, volumes: Floats) -> int:
    """How many larger parts lie around this one."""
    from firstpull.core.mesh.inside import is_inside

    point = mesh.vertices_mm[mesh.faces[part == which][0]].mean(axis=0)
    depth = 0
    for other in np.flatnonzero(np.abs(volumes) > abs(volumes[which])):
        around = mesh.with_faces(part == other)
        low, high = around.bounds_mm
        if not ((point > low) & (point < high)).all():
            continue
        outward = around if volumes[other] > 0 else around.flipped()
        depth += int(is_inside(outward, point[None])[0])
    return depth


def hollowness(mesh: Mesh, *, edges: EdgeTable | None = None) -> float:
    """How far an open surface bulges toward the side its faces look at.

    The volume between the surface and lids over its loops, against that of the ball with the
    same area: positive where the faces look away from the hollow, near 0 for a flat sheet.

    >>> tent = Mesh([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [.5, .5, 1]],
    ...             [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    >>> hollowness(tent) > FLAT, hollowness(tent.flipped()) < -FLAT
    (True, True)
    """
    volume = mesh.volume_mm3
    origin = mesh.vertices_mm.mean(axis=0)
    for loop in open_loops(mesh, edges=edges):
        ring = mesh.vertices_mm[loop] - origin
        middle = ring.mean(axis=0)
        # the lid runs along the loop the other way
        volume -= float((np.cross(ring, np.roll(ring, -1, axis=0)) @ middle).sum()) / 6.0
    ball = mesh.area_mm2**1.5 / (6.0 * np.sqrt(np.pi))
    return float(volume / ball) if ball else 0.0
