"""Masks cut from heads are sound solids that stand off the face."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh

import headmasks


@pytest.mark.parametrize("name", headmasks.HEADS)
def test_a_head_becomes_a_mask(name: str) -> None:
    """Closed, one body, two eyes, a wall of 3 mm at 8 mm from the face."""
    path = headmasks.head_path(name)
    mask = headmasks.head_mask(path)
    made = trimesh.Trimesh(mask.vertices_mm, mask.faces, process=False)
    assert made.is_watertight and made.is_winding_consistent and made.volume > 0
    assert made.body_count == 1
    assert made.euler_number == 2 - 2 * 2
    head = trimesh.load(path, process=False)
    away = np.sqrt(
        igl.point_mesh_squared_distance(
            mask.vertices_mm, np.array(head.vertices, float), np.array(head.faces)
        )[0]
    )
    # one grid step of 1.5 mm evens out the folds; most of the wall lies where it should
    assert away.min() > 8 - 1.5
    assert np.mean((away > 7.5) & (away < 11.5)) > 0.95
    assert np.ptp(mask.vertices_mm[:, 2]) > 80
