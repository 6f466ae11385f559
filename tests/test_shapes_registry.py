"""The open meshes are there and are what the list says of them."""

from __future__ import annotations

from pathlib import Path

import networkx as nx
import numpy as np
import pytest
import trimesh

import registry_meshes
from registry_meshes import MESHES, OpenMesh


@pytest.mark.parametrize("chosen", MESHES, ids=lambda chosen: chosen.name)
def test_an_open_mesh_is_as_listed(chosen: OpenMesh) -> None:
    mesh = registry_meshes.registry_mesh(chosen)
    made = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert made.is_watertight == chosen.closed
    assert made.extents.max() == pytest.approx(chosen.longest_mm)
    assert (made.volume < 0) == chosen.inside_out
    edges = nx.Graph()
    lonely = trimesh.grouping.group_rows(made.edges_sorted, require_count=1)
    edges.add_edges_from(made.edges_sorted[lonely])
    assert nx.number_connected_components(edges) == chosen.loops
    if chosen.loops == 1:
        # an open shell's faces, summed, look away from its one opening
        looks = mesh.face_vectors_mm2.sum(axis=0)
        assert looks @ np.array(chosen.up) > 0.8 * np.linalg.norm(looks)


def test_an_open_mesh_can_be_had_as_a_file(tmp_path: Path) -> None:
    path = registry_meshes.write_stl(MESHES[0], tmp_path)
    again = trimesh.load(path)
    assert again.extents.max() == pytest.approx(MESHES[0].longest_mm, rel=1e-5)
