"""From which two sides are most of the marked places seen?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.camera import View
from firstpull.packet.raycast import Stage

# The first that sees as much as any wins, so the usual quarter views come first.
CANDIDATES: tuple[View, ...] = (
    *(View("", azimuth, 24) for azimuth in (-58, -122, 58, 122)),
    *(View("", azimuth, 24) for azimuth in (-90, 90, 0, 180)),
    *(View("", azimuth, 6) for azimuth in (-90, 90)),
    View("", -90, 90),
    View("", 90, -90),
    *(View("", azimuth, 62) for azimuth in range(-180, 180, 45)),
    *(View("", azimuth, -40) for azimuth in range(-180, 180, 45)),
)
OTHER_SIDE = -0.2  # cosine between the two views, at most
SEEN_AREA = 0.12  # of all marks' worth and one more, for a view that shows the largest outline
ON_BOARD = 1e-3  # of the height, that the lowest point may lie off z = 0
LONGER = 1.1  # times the length along z, for y to be up
ASKEW = 3.0  # marks' worth that a view loses where neither y nor z runs up in its picture

Seen = NDArray[np.bool_]


def visible(stage: Stage, points_mm: Floats, view: View) -> Seen:
    """(N,) whether nothing stands between each point and the eye."""
    points = np.asarray(points_mm, float).reshape(-1, 3)
    # Start a little outside: the places themselves lie on the surface.
    start = (points + view.eye * 0.004 * stage.reach_mm).astype(np.float32)
    ways = np.broadcast_to(view.eye, points.shape).astype(np.float32)
    return ~stage.whole.blocked(start, ways, 4 * stage.reach_mm)


def upright(mesh: Mesh) -> Floats:
    """(3, 3) the turn that stands a part up in its picture, whose z axis is up.

    Files have either y or z up and do not say which. What stands on z = 0 is taken to have z
    up; for the rest the longer of the two is taken.

    >>> mask = Mesh([[-60, -70, 10], [60, -70, 10], [0, 90, 40]], [[0, 1, 2]])
    >>> (upright(mask) @ [0, 1, 0]).tolist()
    [0.0, 0.0, 1.0]
    """
    low, high = mesh.bounds_mm
    _, deep, tall = (high - low).tolist()
    stands = abs(low[2]) <= ON_BOARD * tall
    if stands or deep <= LONGER * tall:
        return np.eye(3)
    return np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def two_views(stage: Stage, marks_mm: Sequence[Floats]) -> tuple[View, View]:
    """The view that shows most marks, and the one from another side that shows most others.

    Args:
        stage: the solids.
        marks_mm: the places of each mark, (N, 3); a mark is seen where one of them is.
    """
    seen = np.array([_shown(stage, marks_mm, view) for view in CANDIDATES])
    # flat parts are often seen from above: they should not stand on their heads there
    askew = np.array([max(0.7 - max(view.up[1:]), 0.0) for view in CANDIDATES])
    liking = SEEN_AREA * (1 + len(marks_mm)) * _outlines(stage) - ASKEW * askew
    first = int(np.argmax(seen.sum(axis=1) + liking))
    eyes = np.array([view.eye for view in CANDIDATES])
    others = np.flatnonzero(eyes @ eyes[first] < OTHER_SIDE)
    new = np.maximum(seen[others] - seen[first], 0.0).sum(axis=1)
    opposite = eyes[others] @ -eyes[first]
    second = int(others[np.argmax(new + liking[others] + 0.5 * opposite)])
    return CANDIDATES[first], CANDIDATES[second]


def _shown(stage: Stage, marks_mm: Sequence[Floats], view: View) -> Floats:
    """(M,) share of each mark that a view shows: mostly whether it shows it at all."""
    if not marks_mm:
        return np.zeros(0)
    seen = visible(stage, np.concatenate(marks_mm), view)
    parts = np.split(seen, np.cumsum([len(mark) for mark in marks_mm])[:-1])
    return np.array([0.8 * part.any() + 0.2 * part.mean() if len(part) else 0.0 for part in parts])


def _outlines(stage: Stage) -> Floats:
    """(V,) how much surface each view has turned to it, the largest as 1."""
    areas = np.zeros(len(CANDIDATES))
    for mesh in stage.meshes:
        vectors = mesh.face_vectors_mm2[:: 1 + len(mesh.faces) // 50_000]
        areas += [np.abs(vectors @ view.eye).sum() for view in CANDIDATES]
    return areas / max(float(areas.max()), 1e-300)
