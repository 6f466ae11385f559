"""What is wrong with single faces: repeated, collapsed, without area, thin as a needle."""

from __future__ import annotations

import numpy as np

from firstpull.core.figures import told_number
from firstpull.core.mesh.check.repeats import without_repeats
from firstpull.core.mesh.findings import BOTH, Finding, finding
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import counted
from firstpull.core.mesh.weld import equal_points, welded

NEEDLE = 100.0
"""Longest side over height from which a triangle is a needle. Judgement, no source: beyond,
shading and offsets of a surface begin to suffer."""


def repeats_found(mesh: Mesh) -> tuple[Mesh, list[Finding | None]]:
    """The mesh with equal corners merged, collapsed and repeated faces left out; and why."""
    merged = welded(mesh)
    used = np.unique(mesh.faces)
    doubled = len(used) - len(merged.vertices_mm)
    clean, collapsed, repeated = without_repeats(merged)
    places = np.zeros((0, 3))
    if doubled:
        first, place = equal_points(mesh.vertices_mm[used])
        places = mesh.vertices_mm[used][first[np.bincount(place) > 1]]
    corners = merged.vertices_mm[merged.faces].mean(axis=1)
    return clean, [
        finding(
            "unmerged vertices",
            doubled,
            places,
            f"{doubled} vertices lie exactly on others, so faces that should share them do not.",
            "Mending merges them; nothing to do.",
            ("mould",),
        ),
        finding(
            "degenerate face",
            len(collapsed),
            corners[collapsed],
            f"{counted(len(collapsed), 'triangle')} with two corners in the same place.",
            "Mending drops them; nothing to do.",
            ("mould",),
        ),
        finding(
            "duplicate face",
            len(repeated),
            corners[repeated],
            f"{counted(len(repeated), 'triangle')} lying on another with the same corners.",
            "Mending keeps one of each; look for a part that was exported twice.",
            BOTH,
        ),
    ]


def thin_faces_found(mesh: Mesh) -> list[Finding | None]:
    """Faces without area, and needles: harmless in a solid, told as remarks."""
    corners = mesh.corners_mm
    sides = corners - np.roll(corners, 1, axis=1)
    square = np.einsum("fij,fij->fi", sides, sides).max(axis=1)
    twice = 2.0 * mesh.face_areas_mm2
    flat = np.flatnonzero(twice <= 1e-9 * square)
    needle = np.flatnonzero((NEEDLE * twice < square) & (twice > 1e-9 * square))
    longest = float(np.sqrt(square[needle].max(initial=0.0)))
    return [
        finding(
            "sliver",
            len(flat),
            corners[flat].mean(axis=1),
            f"{counted(len(flat), 'triangle')} without area: three corners in one line.",
            "They do no harm; a remesh in the modelling program removes them.",
            (),
        ),
        finding(
            "needle",
            len(needle),
            corners[needle[np.argsort(-square[needle], kind="stable")]].mean(axis=1),
            f"{counted(len(needle), 'triangle')} over {NEEDLE:g} times as long as high, the"
            f" longest {told_number(longest, 3)} mm.",
            "They do no harm to a print; where a smooth surface shows streaks, remesh it in the"
            " modelling program.",
            (),
            size_mm=longest,
        ),
    ]
