"""Small holes closed; eye openings and rims never."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Floats, Ints
from firstpull.core.mesh.mesh import Mesh

SMALL_HOLE_MM = 15.0
"""Length around a hole up to which it counts as damage: 15 mm is a hole 5 mm across. The eye
opening of a mask is 80 mm around and more, a breathing hole 20 mm. Common practice, no
source."""

SMALL_SHARE = 0.15
"""And never more than this share of the mesh's diagonal, so that a mesh read in the wrong
unit keeps its openings."""

TRIANGLE_TIMES = 4.0
"""How much longer a hole of three edges may be: a coarse mesh that lost a single triangle."""

CRACK_SHARE = 2e-3
"""A loop whose lid has less than this share of the area of a disc with the same perimeter is
a crack: two edges that lie on each other."""


def loop_lengths_mm(mesh: Mesh, loops: list[Ints]) -> Floats:
    """(L,) length around each loop."""
    return np.array(
        [
            np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum()
            for ring in (mesh.vertices_mm[loop] for loop in loops)
        ]
    )


def small_loops(
    mesh: Mesh, loops: list[Ints], *, small_hole_mm: float = SMALL_HOLE_MM
) -> list[bool]:
    """Whether each loop is a small hole or a crack, which may be closed."""
    low, high = mesh.bounds_mm
    limit = min(small_hole_mm, SMALL_SHARE * float(np.linalg.norm(high - low)))
    lengths = loop_lengths_mm(mesh, loops)
    return [
        length <= (TRIANGLE_TIMES * limit if len(loop) == 3 else limit)
        or _is_crack(mesh.vertices_mm[loop], float(length))
        for loop, length in zip(loops, lengths, strict=True)
    ]


def _is_crack(ring: Floats, length: float) -> bool:
    if not 3 <= len(ring) <= 400:
        return False
    corners = ring[np.array(_zip_up(ring))]
    lid = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    ).sum()
    return bool(0.5 * lid < CRACK_SHARE * length * length / (4.0 * np.pi))


def close_loops(mesh: Mesh, loops: list[Ints]) -> Mesh:
    """The mesh with a lid on each given loop.

    A triangle closes three edges, a fan around a new middle vertex closes more; a crack is
    zipped up between its own vertices.
    """
    vertices, faces = [mesh.vertices_mm], [mesh.faces]
    next_free = len(mesh.vertices_mm)
    taken = _sides_taken(mesh, loops)
    for loop in loops:
        ring = mesh.vertices_mm[loop]
        length = float(loop_lengths_mm(mesh, [loop])[0])
        if len(loop) == 3 or (_is_crack(ring, length) and _is_free(loop, _zip_up(ring), taken)):
            lid = loop[np.array(_zip_up(ring))]
        else:
            middle = np.full(len(loop), next_free, dtype=np.int64)
            lid = np.stack([np.roll(loop, -1), loop, middle], axis=1)
            vertices.append(ring.mean(axis=0)[None])
            next_free += 1
        faces.append(lid.astype(np.int32))
    return Mesh(np.concatenate(vertices), np.concatenate(faces))


def _zip_up(ring: Floats) -> list[tuple[int, int, int]]:
    """Triangles over a loop that run against it, the shortest new edge first."""
    left = list(range(len(ring)))
    made = []
    while len(left) > 3:
        spots = ring[left]
        across = np.linalg.norm(np.roll(spots, 1, axis=0) - np.roll(spots, -1, axis=0), axis=1)
        i = int(np.argmin(across))
        made.append((left[(i + 1) % len(left)], left[i], left[i - 1]))
        del left[i]
    made.append((left[2], left[1], left[0]))
    return made


def _sides_taken(mesh: Mesh, loops: list[Ints]) -> set[tuple[int, int]]:
    """The edges between loop vertices that the mesh has already."""
    if not loops:
        return set()
    on_loop = np.zeros(len(mesh.vertices_mm), dtype=np.bool_)
    on_loop[np.concatenate(loops)] = True
    sides = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    sides = np.sort(sides[on_loop[sides].all(axis=1)], axis=1)
    return {(low, high) for low, high in sides.tolist()}


def _is_free(loop: Ints, lid: list[tuple[int, int, int]], taken: set[tuple[int, int]]) -> bool:
    """Whether a lid's inner edges are all new to the mesh."""
    n = len(loop)
    for triangle in lid:
        for a, b in zip(triangle, triangle[1:] + triangle[:1], strict=True):
            if (a - b) % n in (1, n - 1):
                continue
            low, high = sorted((int(loop[a]), int(loop[b])))
            if (low, high) in taken:
                return False
    return True
