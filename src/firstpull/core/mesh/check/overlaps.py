"""Which bodies reach into others, lie within others, or cross themselves?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.crossings import Crossings
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import part_volumes_mm3


@dataclass(frozen=True)
class CrossedPlace:
    """Faces that cross or touch each other in one place of one part.

    Args:
        faces: their numbers.
        pairs: how many pairs meet there.
        through: how many of them pass through each other.
        middle_mm: its middle.
        across_mm: diagonal of the box around where they meet.
    """

    faces: NDArray[np.int32]
    pairs: int
    through: int
    middle_mm: tuple[float, float, float]
    across_mm: float


def meeting_bodies(crossings: Crossings, label: Ints, closed: Flags) -> NDArray[np.int32]:
    """(N, 2) pairs of different parts, one of them closed, whose surfaces meet, each once."""
    one, other = label[crossings.a], label[crossings.b]
    chosen = (one != other) & (closed[one] | closed[other])
    pairs = np.stack([np.minimum(one, other), np.maximum(one, other)], axis=1)[chosen]
    return np.unique(pairs, axis=0).astype(np.int32).reshape(-1, 2)


def nested_bodies(mesh: Mesh, label: Ints, closed: Flags, meeting: Ints) -> dict[int, int]:
    """Outward parts that lie in the material of another, with that other.

    A part within a hollow of another lies in no material and is not among them.

    Args:
        meeting: (N, 2) the pairs of parts whose surfaces meet; they are no matter of nesting.
    """
    from firstpull.core.mesh.inside import is_inside

    volumes = part_volumes_mm3(mesh, label)
    names = np.flatnonzero(closed)
    boxes = {int(p): _box(mesh, label == p) for p in names} if len(names) > 1 else {}
    meets = {(int(a), int(b)) for a, b in meeting}
    alone: dict[int, Mesh] = {}
    found: dict[int, int] = {}
    for part in boxes:
        if volumes[part] <= 0:
            continue
        point = mesh.vertices_mm[mesh.faces[label == part][0]].mean(axis=0)
        depth, owner = 0, None
        for other in boxes:
            low, high = boxes[other]
            if other == part or not ((point > low) & (point < high)).all():
                continue
            if other not in alone:
                chosen = mesh.with_faces(label == other)
                alone[other] = chosen if volumes[other] > 0 else chosen.flipped()
            if not is_inside(alone[other], point[None])[0]:
                continue
            depth += 1 if volumes[other] > 0 else -1
            if volumes[other] > abs(volumes[part]):
                owner = other if owner is None or volumes[other] < volumes[owner] else owner
        if depth > 0 and owner is not None and tuple(sorted((part, owner))) not in meets:
            found[part] = owner
    return found


def crossed_places(mesh: Mesh, crossings: Crossings, chosen: Flags) -> tuple[CrossedPlace, ...]:
    """Chosen pairs of faces gathered into places, the widest first."""
    a, b = crossings.a[chosen], crossings.b[chosen]
    if not len(a):
        return ()
    faces, number = np.unique(np.concatenate([a, b]), return_inverse=True)
    # faces are joined by meeting and by sharing a corner
    corner = mesh.faces[faces].ravel()
    face = np.repeat(np.arange(len(faces)), 3)
    n, v = len(faces), len(mesh.vertices_mm)
    rows = np.concatenate([number[: len(a)], face])
    columns = np.concatenate([number[len(a) :], n + corner])
    place = grouped(rows, columns, n + v)[:n]
    through, spots = crossings.through[chosen], crossings.places_mm[chosen]
    of_pair = place[number[: len(a)]]
    found = []
    for name in np.unique(place):
        here = of_pair == name
        low, high = spots[here].min(axis=0), spots[here].max(axis=0)
        x, y, z = (float(c) for c in 0.5 * (low + high))
        found.append(
            CrossedPlace(
                faces=faces[place == name].astype(np.int32),
                pairs=int(here.sum()),
                through=int(through[here].sum()),
                middle_mm=(x, y, z),
                across_mm=float(np.linalg.norm(high - low)),
            )
        )
    return tuple(sorted(found, key=lambda p: (-p.across_mm, p.middle_mm)))


def _box(mesh: Mesh, chosen: Flags) -> tuple[Floats, Floats]:
    points = mesh.vertices_mm[mesh.faces[chosen]].reshape(-1, 3)
    return points.min(axis=0), points.max(axis=0)
