"""Which side of a shell's wall is the outside?"""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.adjacency import face_pairs
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene
from firstpull.core.mesh.thickness import wall_thickness

WAYS = 48  # directions in which the sky is looked for
CREASE = 0.7  # cosine between neighbours below which one side of a wall does not run on
ROUNDS = 30  # of letting neighbours agree


def show_side(mesh: Mesh, *, most_mm: float) -> Flags:
    """(F,) the faces on that side of a wall that sees more of the sky than the side across.

    Neighbours are heard as well, but not across creases; faces with no wall under them, such
    as those of a rim, count as not shown unless they run on smoothly from those that are.

    Args:
        mesh: a closed shell.
        most_mm: two faces farther apart than this are no wall.

    >>> from firstpull.core.mesh.mesh import joined
    >>> box = Mesh([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 9)],
    ...     [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    ...      [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]])
    >>> hollow = Mesh(0.8 * (box.vertices_mm - 4.5) + 4.5, box.faces).flipped()
    >>> show_side(joined([box, hollow]), most_mm=2.0).tolist() == [True] * 12 + [False] * 12
    True
    """
    across = wall_thickness(mesh, most_mm=most_mm).across
    sky = _sky(mesh)
    score = np.where(across >= 0, sky - sky[np.maximum(across, 0)], 0.0)
    weight = mesh.face_areas_mm2 * (across >= 0)
    pairs = face_pairs(mesh)
    smooth = np.einsum("ij,ij->i", mesh.face_normals[pairs.a], mesh.face_normals[pairs.b]) > CREASE
    a, b = pairs.a[smooth], pairs.b[smooth]
    n = len(mesh.faces)
    total, size = score * weight, weight + 1e-12
    for _ in range(ROUNDS):
        total = (
            total + np.bincount(a, total[b], minlength=n) + np.bincount(b, total[a], minlength=n)
        )
        size = size + np.bincount(a, size[b], minlength=n) + np.bincount(b, size[a], minlength=n)
        total, size = total / size.max(), size / size.max()
    return np.asarray(total > 1e-6 * size)


def _sky(mesh: Mesh) -> Floats:
    """(F,) share of the sky that each face sees, weighted by the cosine to its normal."""
    scene = RayScene(mesh)
    low, high = mesh.bounds_mm
    lift = 1e-5 * float(np.linalg.norm(high - low))
    start = mesh.face_centres_mm + lift * mesh.face_normals
    seen = np.zeros(len(mesh.faces))
    whole = np.full(len(mesh.faces), 1e-12)
    for way in _all_around(WAYS):
        cosine = mesh.face_normals @ way
        facing = np.flatnonzero(cosine > 0.05)
        free = ~scene.is_blocked(start[facing], np.broadcast_to(way, (len(facing), 3)))
        seen[facing] += cosine[facing] * free
        whole[facing] += cosine[facing]
    return np.asarray(seen / whole)


def _all_around(count: int) -> Floats:
    """(N, 3) unit vectors spread evenly, along a spiral from pole to pole."""
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = np.pi * (1.0 + 5.0**0.5) * k
    r = np.sqrt(1.0 - z * z)
    return np.asarray(np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1))
