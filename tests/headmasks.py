"""Masks made from scanned-like heads: real faces, with what real faces bring along.

The heads lie in a folder beside the repository (``shared/meshes``); where it is absent the
tests that need them are skipped and say so. Two of the heads have faces that pass through each
other, so inside and outside come from the winding number.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from skimage.measure import marching_cubes

from firstpull.core.mesh.mesh import Mesh

FOLDER = Path(__file__).resolve().parents[2] / "shared" / "meshes"
HEADS = ("head-535.ply", "head-569.ply", "head-602.ply")

Array = NDArray[np.float64]


def head_path(name: str) -> Path:
    """The path of a test head; skips the calling test, with the reason, where it is absent."""
    path = FOLDER / name
    if not path.is_file():
        pytest.skip(f"HEAD MASKS NOT TESTED: {name} is not in the folder of test heads")
    return path


@lru_cache(maxsize=8)
def head_mask(
    path: Path, *, offset_mm: float = 8.0, wall_mm: float = 3.0, step_mm: float = 1.5
) -> Mesh:
    """A mask of the face: the head grown, cut off wavily before the ears, hollowed, with eyes.

    Args:
        path: a closed head, mm, y up, face toward +z.
        offset_mm: room between face and mask.
        wall_mm: thickness; at least 1.5 steps.
        step_mm: of the distance grid.

    Returns:
        One closed solid in the head's own frame; two eye openings, so genus 2.
    """
    raw = trimesh.load(path, process=False)
    vertices, faces = np.array(raw.vertices, dtype=np.float64), np.array(raw.faces)
    nose = _nose_tip(vertices)
    low = np.array([-1.0, nose[1] - 95, nose[2] - 125])
    high = np.array([1.0, nose[1] + 130, nose[2] + offset_mm + wall_mm + 4])
    reach = np.abs(vertices[vertices[:, 1] > nose[1] - 60, 0]).max() + offset_mm + wall_mm + 4
    low[0], high[0] = -reach, reach
    axes = [np.arange(a, b + step_mm, step_mm) for a, b in zip(low, high, strict=True)]
    away = _distance(vertices, faces, axes, offset_mm + wall_mm + 6)
    # ears and nostrils leave folds that a grown surface keeps: even them out as plaster would
    away = ndimage.gaussian_filter(away, 1.0)
    x, y, z = np.meshgrid(*axes, indexing="ij", sparse=True)
    mask = np.maximum(away - offset_mm - wall_mm, offset_mm - away)
    mask = np.maximum(mask, _cut(x, y - nose[1], z - nose[2]))
    for side in (-1, 1):
        opening = np.hypot((x - side * 32.0) / 17.0, (y - nose[1] - 42.0) / 9.5) - 1
        front = nose[2] - 75 - z
        mask = np.maximum(mask, -np.maximum(9.5 * opening, front))
    return _solid(mask, np.array([a[0] for a in axes]), step_mm)


def _nose_tip(vertices: Array) -> Array:
    """The foremost point near the middle plane."""
    middle = np.abs(vertices[:, 0]) < 15
    tip: Array = vertices[middle][vertices[middle, 2].argmax()]
    return tip


def _cut(x: Array, y: Array, z: Array) -> Array:
    """Above 0 where the mask ends: behind a wavy sheet before the ears, under the chin, over
    the hairline; measured from the tip of the nose."""
    back = -92 + 7 * np.sin((y + 20) / 22) + 0.05 * np.abs(x) - z
    chin = -86 - 0.12 * z - y
    crown = y - 104
    return np.maximum(np.maximum(back, chin), crown)


def _distance(vertices: Array, faces: NDArray[np.int64], axes: list[Array], reach: float) -> Array:
    """Signed distance to the head at each grid point, exact within ``reach``.

    The nearest of many points strewn over the surface finds who is near; libigl then measures
    to the triangles. The sign comes from libigl's winding number, which self-intersections do
    not upset.
    """
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    rough, _ = cKDTree(vertices).query(points, distance_upper_bound=reach + 6, workers=2)
    near = np.isfinite(rough)
    away = np.full(len(points), reach)
    square = igl.point_mesh_squared_distance(points[near], vertices, faces)[0]
    away[near] = np.minimum(np.sqrt(square), reach)
    turns = igl.fast_winding_number(vertices, faces, points)
    away = np.where(turns > 0.5, -away, away)
    return away.reshape([len(a) for a in axes])


def _solid(field: Array, low: Array, step: float) -> Mesh:
    """The largest body of {field < 0}."""
    values = np.pad(field.astype(np.float32), 1, constant_values=np.float32(step))
    slack = np.float32(1e-3 * step)
    np.copyto(values, slack, where=np.abs(values) < slack)
    vertices, faces, _, _ = marching_cubes(values, 0.0, gradient_direction="descent")
    made = trimesh.Trimesh(vertices * step + low - step, faces, process=False)
    body = max(made.split(only_watertight=False), key=lambda part: len(part.faces))
    return Mesh(body.vertices, body.faces)
