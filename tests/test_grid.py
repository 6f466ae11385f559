"""Distance, winding and contour on a grid, against closed forms and libigl."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

import shapes
from firstpull.core.mesh.adjacency import face_pairs, patches, smoothed
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid, closest, distance, sample, signed_distance, winding
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.mesh import Mesh, joined

Array = NDArray[np.float64]
ROUNDING_MM = 1e-5  # squares of up to 60 mm held in 32 bits: 60 * 2^-24 = 4e-6
ODD_TURN = Rotation.from_euler("xyz", [17.0, 31.0, 53.0], degrees=True).as_matrix()
CONVEX = {
    "box": lambda: shapes.box(40, 30, 20),
    "cone": lambda: shapes.cone(20, 40),
    "cylinder": lambda: shapes.cylinder(18, 30),
    "hemisphere": lambda: shapes.hemisphere(25),
}


def odd(mesh: Mesh) -> Mesh:
    """The mesh turned so that nothing of it lies along the grid."""
    return Mesh(mesh.vertices_mm @ ODD_TURN.T + [0.3, -0.7, 0.2], mesh.faces)


def grid_around(mesh: Mesh, *, step_mm: float, margin_mm: float = 6.0) -> Grid:
    low, high = mesh.bounds_mm
    return Grid.around(low - margin_mm, high + margin_mm, step_mm=step_mm)


def points_of(grid: Grid) -> Array:
    return np.stack(np.meshgrid(*(grid.axis(a) for a in range(3)), indexing="ij"), axis=-1).reshape(
        -1, 3
    )


def by_libigl(mesh: Mesh, points: Array) -> Array:
    """(N,) distance by libigl's tree of boxes."""
    squares = igl.point_mesh_squared_distance(
        points, np.array(mesh.vertices_mm), mesh.faces.astype(np.int64)
    )[0]
    return np.sqrt(squares)


def turns_by_libigl(mesh: Mesh, points: Array) -> Array:
    """(N,) generalised winding number, summed exactly over all faces."""
    return igl.winding_number(np.array(mesh.vertices_mm), mesh.faces.astype(np.int64), points)


# --- distance ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", CONVEX)
@pytest.mark.parametrize("reach_mm", [None, 4.0])
def test_distance_around_a_convex_solid_is_libigls(name, reach_mm):
    """Seen from outside a convex solid the distance over its surface has one minimum, so
    walking downhill from face to face must end at the closest one."""
    mesh = odd(CONVEX[name]())
    grid = grid_around(mesh, step_mm=1.7)
    points = points_of(grid)
    outside = turns_by_libigl(mesh, points) < 0.5
    exact = by_libigl(mesh, points)[outside]
    exact = exact if reach_mm is None else np.minimum(exact, reach_mm)
    found = distance(mesh, grid, reach_mm=reach_mm).ravel()[outside]
    np.testing.assert_allclose(found, exact, atol=ROUNDING_MM)


@pytest.mark.parametrize(
    "kind", ["snout", *(pytest.param(k, marks=pytest.mark.long) for k in ("half-mask", "plate"))]
)
def test_distance_next_to_a_rippled_shell_is_libigls(kind):
    """Within a step every face in reach is asked."""
    mesh = shapes.implicit_shell(kind, 1, 8_000).mesh
    grid = grid_around(mesh, step_mm=2.5)
    exact = by_libigl(mesh, points_of(grid))
    found = distance(mesh, grid).ravel()
    near = exact < 2.4
    np.testing.assert_allclose(found[near], exact[near], atol=ROUNDING_MM)
    assert (found > exact - ROUNDING_MM).all()


def test_sign_and_distance_of_a_box_follow_its_closed_form():
    half = np.array([20.0, 15.0, 10.0])
    mesh = Mesh(shapes.box(40, 30, 20).vertices_mm - [0, 0, 10], shapes.box(40, 30, 20).faces)
    grid = Grid.around([-26.1, -21.2, -16.3], [26, 21, 16], step_mm=1.3)
    q = np.abs(points_of(grid)) - half
    exact = np.linalg.norm(np.maximum(q, 0), axis=1) + np.minimum(q.max(axis=1), 0)
    np.testing.assert_allclose(signed_distance(mesh, grid).ravel(), exact, atol=ROUNDING_MM)


def test_distance_to_a_fine_ball_is_the_balls():
    """Facets between vertices on the ball lie at most R (1 - cos(a / 2)) inside it."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=30.0)
    mesh = Mesh(ball.vertices, ball.faces)
    longest = ball.edges_unique_length.max()
    # a triangle's circumcircle is no wider than 2 / sqrt 3 of its longest edge
    sag = 30.0 - np.sqrt(30.0**2 - (longest / np.sqrt(3)) ** 2)
    grid = grid_around(mesh, step_mm=2.3)
    found = signed_distance(mesh, grid).ravel()
    exact = np.linalg.norm(points_of(grid), axis=1) - 30.0
    assert (found > exact - ROUNDING_MM).all()
    assert (found < exact + sag + ROUNDING_MM).all()


@pytest.mark.parametrize("corners", [(0, 0, 1), (0, 1, 0), (1, 0, 0), (0, 0, 0), (0, 1, 2)])
def test_faces_without_area_are_segments_and_points(corners):
    """Repeated corners, or three on one line: such a face once ended in a division by zero."""
    places = np.array([[1.0, 2.0, 3.0], [4.0, 3.0, 5.0], [2.5, 2.5, 4.0]])
    mesh = Mesh(places, [corners])
    grid = Grid.around([-2.3, -1.2, 0.1], [7, 6, 8], step_mm=0.9)
    points = points_of(grid)
    ends = places[np.unique(corners)[:2]]
    way = ends[-1] - ends[0]
    t = np.clip((points - ends[0]) @ way / max(way @ way, 1e-9), 0, 1)
    exact = np.linalg.norm(points - ends[0] - t[:, None] * way, axis=1)
    np.testing.assert_allclose(distance(mesh, grid).ravel(), exact, atol=ROUNDING_MM)


def test_the_closest_face_is_told_with_the_distance():
    mesh = odd(shapes.box(40, 30, 20))
    grid = grid_around(mesh, step_mm=2.0)
    away, face = closest(mesh, grid, reach_mm=5.0)
    told = face.ravel() >= 0
    assert (told == (away.ravel() < 5.0)).all()
    for one, point, d in zip(
        face.ravel()[told][::97], points_of(grid)[told][::97], away.ravel()[told][::97], strict=True
    ):
        alone = mesh.with_faces(np.array([one]))
        assert by_libigl(alone, point[None])[0] == pytest.approx(d, abs=ROUNDING_MM)


def test_a_mesh_beyond_the_grids_edge_is_still_measured():
    """A surface that the grid does not reach was once as far as infinity."""
    mesh = shapes.box(40, 40, 40)
    above = Grid.around([-10, -10, 45], [10, 10, 60], step_mm=1.0)
    np.testing.assert_allclose(signed_distance(mesh, above)[3, 4], 5.0 + np.arange(16), atol=1e-5)
    within = Grid.around([-10, -10, 15], [10, 10, 25], step_mm=1.0)
    x, y, z = within.axes()
    away = np.minimum(20 - np.maximum(abs(x), abs(y)), np.minimum(z, 40 - z))
    np.testing.assert_allclose(signed_distance(mesh, within), -away, atol=1e-5)


def test_distance_turns_and_grows_with_the_mesh():
    """The same grid around a mesh twice as large reads twice as much."""
    mesh = shapes.implicit_shell("bowl", 2, 5_000).mesh
    grid = grid_around(mesh, step_mm=4.0)
    twice = Grid(tuple(2 * c for c in grid.low_mm), 8.0, grid.shape)
    np.testing.assert_allclose(
        signed_distance(Mesh(2 * mesh.vertices_mm, mesh.faces), twice),
        2 * signed_distance(mesh, grid),
        rtol=1e-6,
        atol=ROUNDING_MM,
    )


# --- inside or outside -------------------------------------------------------------------


def two_crossing_balls() -> Mesh:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=14.0)
    one = Mesh(ball.vertices, ball.faces)
    return joined([one, Mesh(one.vertices_mm + np.array([9.0, 3.0, 2.0]), one.faces)])


WOUND = {
    "crossing balls": two_crossing_balls,
    "torus": lambda: odd(shapes.torus(20, 7)),
    "shell": lambda: shapes.implicit_shell("helmet, two slots", 3, 5_000).mesh,
    "ball in a ball": lambda: joined(
        [
            Mesh(trimesh.creation.icosphere(3, 16.0).vertices, trimesh.creation.icosphere(3).faces),
            Mesh(
                trimesh.creation.icosphere(3, 9.0).vertices,
                trimesh.creation.icosphere(3).faces[:, ::-1],
            ),
        ]
    ),
}


@pytest.mark.parametrize("name", WOUND)
def test_winding_on_a_grid_is_libigls(name):
    mesh = WOUND[name]()
    grid = grid_around(mesh, step_mm=float(np.ptp(mesh.bounds_mm, axis=0).max()) / 24)
    points = points_of(grid)
    clear = by_libigl(mesh, points) > 1e-3
    turns = np.rint(turns_by_libigl(mesh, points)).astype(int)
    assert set(np.unique(turns)) >= {0, 1}
    np.testing.assert_array_equal(winding(mesh, grid).ravel()[clear], turns[clear])
    np.testing.assert_array_equal(is_inside(mesh, points)[clear], turns[clear] > 0)


def test_winding_counts_columns_that_pass_through_edges_and_corners():
    """A box whose edges and corners lie on grid columns, as a print's straight model does."""
    mesh = Mesh(shapes.box(8, 8, 8).vertices_mm, shapes.box(8, 8, 8).faces)
    grid = Grid.around([-6, -6, -2.5], [6, 6, 10], step_mm=1.0)
    x, y, z = grid.axes()
    inside = np.maximum(abs(x), abs(y)) - 4 < 0
    outside = np.maximum(abs(x), abs(y)) - 4 > 0
    level = (z > 0) & (z < 8)
    assert (winding(mesh, grid)[(inside & level)] == 1).all()
    assert (winding(mesh, grid)[(outside & (z < 99)) | (~level & (x < 99) & (y < 99))] == 0).all()
    points = points_of(grid)
    counted = is_inside(mesh, points).reshape(grid.shape)
    assert counted[inside & level].all()
    assert not counted[(outside & (z < 99)) | (~level & (x < 99) & (y < 99))].any()


def test_nothing_is_inside_far_from_a_mesh():
    assert not is_inside(shapes.box(8, 8, 8), [[99, 0, 4], [0, -99, 4], [0, 0, 99]]).any()
    assert len(is_inside(shapes.box(8, 8, 8), np.zeros((0, 3)))) == 0


# --- contour -----------------------------------------------------------------------------

ROUND = {
    "ball": (lambda x, y, z: np.sqrt(x * x + y * y + z * z) - 15, 4 / 3 * np.pi * 15**3),
    "torus": (lambda x, y, z: np.hypot(np.hypot(x, y) - 12, z) - 6, 2 * np.pi**2 * 12 * 36),
}


@pytest.mark.parametrize("name", ROUND)
def test_a_contours_volume_converges_with_the_square_of_the_step(name):
    field, volume = ROUND[name]
    lost = []
    for step in (2.0, 1.0, 0.5):
        grid = Grid.around([-20.137] * 3, [20] * 3, step_mm=step)
        made = contour(field(*grid.axes()).astype(np.float32), grid)
        lost.append(volume - made.volume_mm3)
    # chords lie inside; halving the step leaves a quarter
    assert min(lost) > 0
    assert lost[0] / lost[1] == pytest.approx(4, rel=0.1)
    assert lost[1] / lost[2] == pytest.approx(4, rel=0.1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_contour_of_anything_is_closed(seed):
    """White noise holds every ambiguous cell there is, and reaches the edge of the grid."""
    grid = Grid((1.0, 2.0, 3.0), 0.7, (20, 21, 22))
    noise = np.random.default_rng(seed).normal(size=grid.shape).astype(np.float32)
    noise[5:9, 5:9, 5:9] = 0.0
    made = contour(noise, grid)
    again = trimesh.Trimesh(made.vertices_mm, made.faces, process=False)
    assert again.is_watertight and again.is_winding_consistent
    assert made.volume_mm3 > 0


def test_a_contour_of_nothing_is_empty():
    grid = Grid.around([0, 0, 0], [3, 3, 3], step_mm=1.0)
    assert len(contour(np.ones(grid.shape, dtype=np.float32), grid).faces) == 0


def test_a_field_is_read_linearly_between_its_points():
    """A linear field is read exactly, and held beyond the edge."""
    grid = Grid.around([-1, 2, 3], [4, 8, 9], step_mm=0.5)
    x, y, z = grid.axes()
    field = (2 * x - 3 * y + 0.5 * z).astype(np.float32)
    points = np.random.default_rng(5).uniform([-1, 2, 3], [4, 8, 9], size=(500, 3))
    exact = points @ [2, -3, 0.5]
    np.testing.assert_allclose(sample(field, grid, points), exact, atol=1e-4)
    assert sample(field, grid, [[-9, 2, 3]])[0] == pytest.approx(-2 - 6 + 1.5)


# --- neighbours --------------------------------------------------------------------------


def test_faces_of_a_box_bend_at_right_angles():
    pairs = face_pairs(shapes.box(4, 4, 4))
    sharp = np.abs(pairs.bend_deg) > 1
    assert pairs.bend_deg[sharp] == pytest.approx(90.0)
    assert pairs.length_mm[sharp].sum() == pytest.approx(12 * 4)
    inner = face_pairs(shapes.box(4, 4, 4).flipped())
    assert inner.bend_deg[np.abs(inner.bend_deg) > 1] == pytest.approx(-90.0)


def test_every_edge_of_a_closed_mesh_pairs_two_faces():
    mesh = shapes.torus(20, 6)
    pairs = face_pairs(mesh)
    assert len(pairs.a) == 3 * len(mesh.faces) // 2
    edges = np.sort(np.stack([pairs.start, pairs.end], axis=1), axis=1)
    assert len(np.unique(edges, axis=0)) == len(edges)
    for side in (pairs.a, pairs.b):
        holds = (mesh.faces[side][:, :, None] == edges[:, None, :]).any(axis=1)
        assert holds.all()


def test_smoothing_keeps_a_constant_and_stops_at_creases():
    mesh = shapes.box(10, 10, 10)
    pairs = face_pairs(mesh)
    level = mesh.face_centres_mm[:, 2]
    flat = smoothed(
        pairs, np.full(len(mesh.faces), 3.0), times=5, crease_deg=40, weights=mesh.face_areas_mm2
    )
    assert flat == pytest.approx(3.0)
    kept = smoothed(pairs, level, times=50, crease_deg=40, weights=mesh.face_areas_mm2)
    top = mesh.face_normals[:, 2] > 0.9
    assert kept[top] == pytest.approx(10.0)


def test_patches_of_a_box_are_its_labels_connected_parts():
    mesh = shapes.box(10, 10, 10)
    ends = np.abs(mesh.face_normals[:, 2]) > 0.9
    found = patches(face_pairs(mesh), ends)
    assert len(np.unique(found[ends])) == 2
    assert len(np.unique(found[~ends])) == 1
