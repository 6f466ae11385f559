"""What a format reader hands over, before anything is checked; and helpers they share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.files.refusals import damaged


@dataclass(frozen=True)
class Content:
    """Raw triangles of a file.

    Args:
        vertices: (V, 3) coordinates in the file's unit.
        faces: (F, 3) indices, not yet known to be in range.
        declared_unit: as in MeshFile.
        notes: as in MeshFile.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    declared_unit: str | None = None
    notes: tuple[str, ...] = ()


def numbers(words: list[bytes], where: str, what: str) -> NDArray[np.float64]:
    """Words as numbers; refuses the first word that is none, by name."""
    try:
        return np.array(words, dtype="S").astype(np.float64) if words else np.zeros(0)
    except ValueError:
        for word in words:
            try:
                float(word)
            except ValueError:
                shown = word[:24].decode("ascii", "replace")
                remedy = "Export it again"
                if b"," in word:
                    remedy += " with a point, not a comma, as the decimal mark"
                raise damaged(
                    where, f'has "{shown}" where {what} should be', remedy=remedy + "."
                ) from None
        raise


def triangulated(polygons: list[list[int]], vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    """Polygons of any number of corners as triangles of the same winding.

    A four-sided face is cut along the diagonal that leaves no triangle turned over, the
    shorter where both do; larger ones are cut ear by ear in their own plane. Fewer than three
    corners give nothing.
    """
    out: list[Any] = []
    fours = [p for p in polygons if len(p) == 4]
    threes = [p for p in polygons if len(p) == 3]
    if threes:
        out.append(np.array(threes, dtype=np.int64))
    if fours:
        out.append(_cut_fours(np.array(fours, dtype=np.int64), vertices))
    for polygon in polygons:
        if len(polygon) > 4:
            out.append(_cut_ears(polygon, vertices))
    return np.concatenate(out) if out else np.zeros((0, 3), dtype=np.int64)


def _cut_fours(quads: NDArray[np.int64], vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    if quads.min() < 0 or quads.max() >= len(vertices):
        return quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3)
    p = vertices[quads]
    whole = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])

    def least(a: int, b: int, c: int, d: int) -> NDArray[np.float64]:
        """Smaller of the two triangles' areas along the common normal."""
        one = np.cross(p[:, b] - p[:, a], p[:, c] - p[:, a])
        two = np.cross(p[:, c] - p[:, a], p[:, d] - p[:, a])
        return np.minimum(np.einsum("ij,ij->i", one, whole), np.einsum("ij,ij->i", two, whole))

    first, second = least(0, 1, 2, 3), least(1, 2, 3, 0)
    shorter = np.linalg.norm(p[:, 0] - p[:, 2], axis=1) <= np.linalg.norm(p[:, 1] - p[:, 3], axis=1)
    use_first = np.where((first > 0) & (second > 0), shorter, first >= second)
    cut = np.where(use_first[:, None], quads[:, [0, 1, 2, 0, 2, 3]], quads[:, [1, 2, 3, 1, 3, 0]])
    return cut.reshape(-1, 3)


def _cut_ears(polygon: list[int], vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    n = len(polygon)
    fan = np.array([[polygon[0], polygon[i], polygon[i + 1]] for i in range(1, n - 1)])
    if min(polygon) < 0 or max(polygon) >= len(vertices):
        return fan
    ring = vertices[polygon]
    ring = ring - ring.mean(axis=0)
    normal = np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if not np.isfinite(size) or size == 0.0:
        return fan
    normal = normal / size
    x = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    x = x / np.linalg.norm(x)
    flat = np.stack([ring @ x, ring @ np.cross(normal, x)], axis=1)
    left = list(range(n))
    made = []
    while len(left) > 3:
        ear = _an_ear(flat, left)
        made.append([polygon[left[k % len(left)]] for k in (ear - 1, ear, ear + 1)])
        del left[ear]
    made.append([polygon[k] for k in left])
    return np.array(made, dtype=np.int64)


def _an_ear(flat: NDArray[np.float64], left: list[int]) -> int:
    """Position in ``left`` of a corner that can be cut off; 0 where a crossed ring has none."""
    count = len(left)
    for ear in range(count):
        a, b, c = (flat[left[k % count]] for k in (ear - 1, ear, ear + 1))
        if _side(a, b, c) <= 0.0:
            continue
        others = flat[
            [k for k in left if k not in (left[ear - 1], left[ear], left[(ear + 1) % count])]
        ]
        inside = (
            (_side(a, b, others) >= 0) & (_side(b, c, others) >= 0) & (_side(c, a, others) >= 0)
        )
        if not inside.any():
            return ear
    return 0


def _side(a: Any, b: Any, points: Any) -> Any:
    p = np.asarray(points)
    return (b[0] - a[0]) * (p[..., 1] - a[1]) - (b[1] - a[1]) * (p[..., 0] - a[0])
