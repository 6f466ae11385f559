"""Distances between surfaces: closed forms, shifted copies, and a bound that holds."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.deviation import deviation
from firstpull.core.mesh.tree import Tree


def test_a_surface_lies_on_itself_also_when_cut_finer() -> None:
    for mesh in (m.ball(), m.box(), m.dome()):
        found = deviation(mesh, Tree.of(mesh))
        assert found.least_mm < 1e-12 and found.most_mm < 1e-12
        # rounding of the new middles only
        assert deviation(m.divided(mesh, 1), Tree.of(mesh)).most_mm < 1e-12


def test_a_single_moved_vertex_is_the_largest_deviation_and_named() -> None:
    box = m.divided(m.box(), 3)
    flat = np.flatnonzero((box.vertices_mm[:, 2] == 40) & (np.abs(box.vertices_mm[:, 0] - 30) < 9))
    chosen = int(flat[0])
    vertices = box.vertices_mm.copy()
    vertices[chosen, 2] += 0.3
    found = deviation(Mesh(vertices, box.faces), Tree.of(box))
    assert found.least_mm == pytest.approx(0.3)
    assert found.most_mm == pytest.approx(0.3)
    assert found.place_mm == pytest.approx(tuple(vertices[chosen]))


def test_a_cube_and_its_ball_both_ways() -> None:
    """Side 2 around radius 1: sqrt(3) - 1 from the cube, 1 - 1 / sqrt(3) from the ball."""
    cube = m.box(size_mm=(2, 2, 2), at=(-1, -1, -1))
    rings = 80
    ball = m.ball(radius_mm=1.0, rings=rings)
    sag = 1.0 - np.cos(np.pi / rings)  # the facets lie inside the ball by less than this
    there = deviation(cube, Tree.of(ball))
    assert there.least_mm <= there.most_mm <= there.least_mm + 0.01 + 1e-9
    assert np.sqrt(3) - 1 - 1e-9 <= there.most_mm and there.least_mm <= np.sqrt(3) - 1 + sag
    back = deviation(ball, Tree.of(cube))
    assert back.most_mm >= 1 - 1 / np.sqrt(3) - 2 * sag
    assert back.least_mm <= 1 - 1 / np.sqrt(3) + 1e-9
    assert back.most_mm <= back.least_mm + 0.01 + 1e-9


@pytest.mark.parametrize("shift", [(0.2, 0, 0), (0.1, -0.3, 0.05)])
def test_a_shifted_copy_deviates_by_no_more_than_the_shift(shift: tuple[float, ...]) -> None:
    mesh = m.ball()
    moved = Mesh(mesh.vertices_mm + np.array(shift), mesh.faces)
    found = deviation(moved, Tree.of(mesh))
    length = float(np.linalg.norm(shift))
    assert found.least_mm <= length + 1e-12
    assert found.most_mm <= length + 1e-9
    # a face square to the shift moves by all of it, to the angle between faces
    assert found.least_mm >= length * np.cos(2 * np.pi / 48)


def test_the_bound_holds_for_points_strewn_over_the_surface() -> None:
    igl = pytest.importorskip("igl")
    rng = np.random.default_rng(7)
    one, other = m.ball(rings=18), m.ball(radius_mm=60.5, rings=13)
    found = deviation(one, Tree.of(other), tol_mm=0.02)
    weights = rng.dirichlet((1, 1, 1), size=(len(one.faces), 60))
    points = np.einsum("fpk,fkj->fpj", weights, one.corners_mm).reshape(-1, 3)
    square, _, _ = igl.point_mesh_squared_distance(
        points, np.array(other.vertices_mm), other.faces.astype(np.int64)
    )
    strewn = float(np.sqrt(square.max()))
    assert strewn <= found.most_mm + 1e-12
    assert found.least_mm <= found.most_mm <= found.least_mm + 0.02 + 1e-12
    assert found.at_vertices_mm == pytest.approx(
        np.sqrt(
            igl.point_mesh_squared_distance(
                np.array(one.vertices_mm), np.array(other.vertices_mm), other.faces.astype(np.int64)
            )[0]
        ),
        abs=1e-9,
    )


def test_with_no_time_to_cut_the_bound_is_wide_but_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    from firstpull.core.mesh.revision import deviation as module

    one, other = m.ball(rings=12), m.ball(radius_mm=60.5, rings=40)
    close = deviation(one, Tree.of(other))
    monkeypatch.setattr(module, "BUDGET", 0)
    wide = deviation(one, Tree.of(other))
    assert wide.most_mm >= close.most_mm > wide.least_mm
