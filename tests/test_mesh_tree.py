"""The nearest place on a surface, against a reference library and by hand."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.tree import LEAF, Tree

igl = pytest.importorskip("igl")
RNG = np.random.default_rng(11)


@pytest.mark.parametrize(
    "mesh", [m.ball(), m.box(), m.dome(), m.scrap(), m.twisted_strip(), joined([m.box()] * 3)]
)
def test_distances_and_places_agree_with_libigl(mesh: Mesh) -> None:
    points = RNG.normal(size=(800, 3)) * 70.0
    distance, face, place = Tree.of(mesh).closest(points)
    square, _, other = igl.point_mesh_squared_distance(
        points, np.array(mesh.vertices_mm), np.array(mesh.faces, dtype=np.int64)
    )
    assert distance == pytest.approx(np.sqrt(square), abs=1e-9)
    assert np.linalg.norm(place - points, axis=1) == pytest.approx(distance, abs=1e-9)
    # the face named holds the place: its own distance is the same
    for i in range(0, 800, 97):
        alone = Tree.of(mesh.with_faces(np.array([face[i]])))
        assert alone.closest(points[i])[0][0] == pytest.approx(distance[i], abs=1e-9)
    assert np.linalg.norm(other - place, axis=1).max() < 1e-6 or mesh.area_mm2 > 0


def test_a_triangle_without_area_counts_as_a_line() -> None:
    for corners in ([[0, 0, 0], [9, 0, 0], [4, 0, 0]], [[0, 0, 0], [0, 0, 0], [9, 0, 0]]):
        line = Tree.of(Mesh(corners, [[0, 1, 2]]))
        distance, _, place = line.closest([[5, 3, 4], [-3, 0, 4], [12, 4, 0]])
        assert distance == pytest.approx([5, 5, 5])
        assert place == pytest.approx(np.array([[5, 0, 0], [0, 0, 0], [9, 0, 0]]))
    point = Tree.of(Mesh([[1, 1, 1]] * 3, [[0, 1, 2]]))
    assert point.closest([1, 1, 4])[0] == pytest.approx([3.0])


def test_beyond_reach_there_is_no_face() -> None:
    tree = Tree.of(m.ball(radius_mm=10))
    distance, face, _ = tree.closest([[0, 0, 30], [0, 0, 10.5]], reach_mm=1.0)
    assert face[0] == -1 and np.isinf(distance[0])
    assert face[1] >= 0 and distance[1] == pytest.approx(0.5)


def test_each_face_lies_in_one_leaf_and_in_the_boxes_above_it() -> None:
    mesh = m.ball(rings=30)
    tree = Tree.of(mesh)
    assert sorted(tree.order.tolist()) == list(range(len(mesh.faces)))
    leaves = len(tree.start) - 1
    assert np.diff(tree.start).max() <= LEAF
    for leaf in range(leaves):
        corners = mesh.corners_mm[tree.order[tree.start[leaf] : tree.start[leaf + 1]]]
        node = leaves - 1 + leaf
        while True:
            low, high = tree.boxes_mm[node, :3], tree.boxes_mm[node, 3:]
            assert (corners >= low).all() and (corners <= high).all()
            if node == 0:
                break
            node = (node - 1) // 2


def test_facing_leaves_out_the_other_side_of_a_wall() -> None:
    plate = m.box(size_mm=(40, 40, 2))
    above = np.array([[20.0, 20.0, 0.5]])
    tree = Tree.of(plate)
    assert tree.closest(above)[0] == pytest.approx([0.5])
    distance, face, _ = tree.closest(above, facing=[[0, 0, 1]])
    assert distance == pytest.approx([1.5])
    assert plate.face_normals[face[0]] == pytest.approx([0, 0, 1])
    lonely = Tree.of(plate.with_faces(plate.face_normals[:, 2] > 0.5))
    assert lonely.closest(above, facing=[[0, 0, -1]])[1][0] == -1
