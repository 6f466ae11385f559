"""Wall thickness on walls whose thickness is known."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
import shapes
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.thickness import thin_walls, wall_thickness


@pytest.mark.parametrize("wall", [0.4, 1.2, 3.0])
def test_a_slab_is_as_thick_as_its_faces_are_apart(wall: float) -> None:
    """Exactly, however coarse its triangles; its edges are no thin walls."""
    for mesh in (m.box(size_mm=(60, 50, wall)), m.divided(m.box(size_mm=(60, 50, wall)), 3)):
        thick = wall_thickness(mesh)
        flat = np.abs(mesh.face_normals[:, 2]) > 0.5
        assert thick.wall_mm[flat] == pytest.approx(wall, abs=1e-9)
        assert thick.wall_mm[~flat].min() > 40.0
        # what lies across a flat face looks the other way
        across = mesh.face_normals[thick.across[flat]]
        assert (np.einsum("ij,ij->i", across, mesh.face_normals[flat]) < -0.99).all()


@pytest.mark.parametrize("wall", [1.2, 4.0])
def test_a_wall_between_two_balls_is_as_thick_as_the_balls_differ(wall: float) -> None:
    rings = 80
    mesh = joined(
        [m.ball(radius_mm=60, rings=rings), m.ball(radius_mm=60 - wall, rings=rings).flipped()]
    )
    thick = wall_thickness(mesh)
    # facets lie up to R (1 - cos(half a step)) inside their ball, the inner ones as well
    sag = 60.0 * (1.0 - np.cos(np.pi / rings / 2.0)) * 2.0
    assert thick.wall_mm.min() > wall - sag
    assert thick.wall_mm.max() < wall + sag


def test_a_rod_a_ring_and_a_ball_are_as_thick_as_their_diameter() -> None:
    for mesh, thin, corners in (
        (shapes.torus(40, 1.5, 200), 3.0, 100),
        (m.ball(radius_mm=10, rings=60), 20.0, 120),
        (shapes.cylinder(5.0, 60.0, 96), 10.0, 96),
    ):
        wall = wall_thickness(mesh).wall_mm
        round_side = np.abs(mesh.face_normals[:, 2]) < 0.99
        # a polygon is narrower across its flats; and where the ball touches a flat beside its
        # middle, by s, the last face that counts, 120 degrees away, stops it 2 s tan(30) sooner
        flats = thin * np.cos(np.pi / corners)
        beside = thin * np.sin(np.pi / corners) / 2.0
        assert wall[round_side].min() > flats - 2.0 * beside * np.tan(np.pi / 6) - 1e-6
        assert wall[round_side].max() < 1.001 * thin


def test_a_wedge_runs_out_linearly() -> None:
    """Between planes that meet at an angle a, at s from the edge the ball measures 2 s tan(a/2)."""
    angle = np.radians(20.0)
    long, wide = 60.0, 30.0
    x, z = long * np.cos(angle / 2), long * np.sin(angle / 2)
    profile = np.array([[0.0, 0.0], [x, -z], [x, z]])
    points = [[px, y, pz] for y in (0.0, wide) for px, pz in profile]
    faces = [[0, 1, 2], [3, 5, 4], [0, 3, 4], [0, 4, 1], [1, 4, 5], [1, 5, 2], [0, 2, 5], [0, 5, 3]]
    mesh = m.divided(Mesh(points, faces), 4)
    assert mesh.volume_mm3 > 0
    thick = wall_thickness(mesh)
    slope = np.abs(mesh.face_normals[:, 2]) > 0.9
    along = np.hypot(thick.places_mm[slope, 0], thick.places_mm[slope, 2])
    expected = 2.0 * along * np.tan(angle / 2)
    near = expected < 0.5 * 2 * z  # beyond, the ball meets the wide end first
    assert thick.wall_mm[slope][near] == pytest.approx(expected[near], rel=1e-6)


def test_a_thin_place_is_found_with_its_size_and_nothing_else() -> None:
    """A plate of 3 mm with a square of 10 mm worn down to 0.8 mm."""
    from firstpull.core.mesh.solid import mesh_of, solid

    plate = solid(m.box(size_mm=(60, 50, 3)))
    pocket = solid(m.box(size_mm=(10, 10, 9), at=(20, 20, 0.8)))
    mesh = m.divided(mesh_of(plate - pocket), 5)
    corners = mesh.corners_mm
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max()
    thick = wall_thickness(mesh)
    (thin,) = thin_walls(mesh, thick, under_mm=1.2)
    assert thin.least_mm == pytest.approx(0.8, abs=1e-9)
    # both sides of the floor; below, faces count that reach within a ball's radius of it
    assert 200.0 - 1e-6 <= thin.area_mm2 <= 200.0 + 44.0 * (0.6 + longest)
    assert 20 <= thin.place_mm[0] <= 30 and 20 <= thin.place_mm[1] <= 30
    assert thin_walls(mesh, thick, under_mm=0.7) == ()
    assert thin_walls(m.ball(), wall_thickness(m.ball()), under_mm=1.2) == ()


def test_turning_shifting_and_renumbering_change_nothing() -> None:
    mesh = joined([m.ball(rings=20), m.ball(radius_mm=57, rings=20).flipped()])
    wall = wall_thickness(mesh).wall_mm
    moved = mesh.moved(m.turning(33, (1, 2, 5), (100, -40, 7)))
    assert wall_thickness(moved).wall_mm == pytest.approx(wall, abs=1e-6)
    order = np.random.default_rng(0).permutation(len(mesh.faces))
    shuffled = Mesh(mesh.vertices_mm, mesh.faces[order])
    assert wall_thickness(shuffled).wall_mm == pytest.approx(wall[order], abs=1e-6)


def test_the_ball_is_the_largest_that_fits_by_brute_force() -> None:
    """No face that looks against it reaches in, and some larger ball would be reached."""
    igl = pytest.importorskip("igl")
    mesh = shapes.torus(30, 4.0, 60)
    thick = wall_thickness(mesh)
    for face in range(0, len(mesh.faces), 131):
        normal = mesh.face_normals[face]
        against = mesh.with_faces(mesh.face_normals @ normal < -0.5)
        for factor, reached in ((0.999, False), (1.001, True)):
            radius = factor * thick.wall_mm[face] / 2
            centre = thick.places_mm[face] - radius * normal
            square, _, _ = igl.point_mesh_squared_distance(
                centre[None], np.array(against.vertices_mm), against.faces.astype(np.int64)
            )
            assert (np.sqrt(square[0]) < radius) == reached
