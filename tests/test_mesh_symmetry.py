"""Planes of symmetry: found without being told, and what departs from them."""

from __future__ import annotations

import igl
import numpy as np
import pytest

import menagerie
import shapes
from firstpull.core.mesh.lines.figure import Plane
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import NoTriangles
from firstpull.core.mesh.revision.symmetry import Mirror, find_mirror, mirrored
from firstpull.core.mesh.topology import is_closed
from firstpull.core.mesh.weld import welded


def even_blob(rings: int = 32) -> Mesh:
    """A lump of about 60 mm that mirrors in x = 0 exactly, and in no other plane."""
    ball = menagerie.ball(radius_mm=60, rings=rings)
    x, y, z = ball.vertices_mm.T / 60
    swell = 1 + 0.15 * y - 0.1 * z + 0.2 * y * z + 0.12 * (x**2) * z - 0.15 * z**3 + 0.1 * y**2
    vertices = ball.vertices_mm * swell[:, None]
    vertices[np.abs(vertices[:, 0]) < 1e-9, 0] = 0.0
    half = Mesh(vertices, ball.faces).with_faces(ball.face_centres_mm[:, 0] > 0)
    return welded(joined([half, half.moved(np.diag([-1.0, 1, 1, 1]))]))


def bulged(mesh: Mesh, at: np.ndarray, *, by_mm: float, reach_mm: float) -> Mesh:
    """The mesh with a smooth bulge around one vertex, along that vertex's own direction."""
    away = np.linalg.norm(mesh.vertices_mm - at, axis=1)
    lift = by_mm * np.clip(1 - (away / reach_mm) ** 2, 0, None) ** 2
    return Mesh(mesh.vertices_mm + lift[:, None] * normal_at(mesh, at), mesh.faces)


def normal_at(mesh: Mesh, at: np.ndarray) -> np.ndarray:
    around = (np.linalg.norm(mesh.corners_mm - at, axis=2) < 1e-9).any(axis=1)
    normal = mesh.face_vectors_mm2[around].sum(axis=0)
    return normal / np.linalg.norm(normal)


def angle_deg(found: Mirror, way: np.ndarray) -> float:
    return float(np.degrees(np.arccos(min(1.0, abs(found.plane.normal @ way)))))


def test_mirroring_twice_changes_nothing() -> None:
    points = np.random.default_rng(1).normal(size=(50, 3))
    plane = Plane([1, 2, 3], [1, -2, 0.5])
    assert mirrored(mirrored(points, plane), plane) == pytest.approx(points)
    middle = 0.5 * (points + mirrored(points, plane))
    assert (middle - plane.point_mm) @ plane.normal == pytest.approx(np.zeros(50), abs=1e-12)


@pytest.mark.parametrize("degrees", [0.0, 33.0, 151.0])
def test_the_plane_of_a_turned_lump_is_found(degrees: float) -> None:
    matrix = menagerie.turning(degrees, (1, 2, -1), (300, -40, 7))
    lump = even_blob().moved(matrix)
    found = find_mirror(lump)
    assert is_closed(lump) and found is not None
    way = matrix[:3, 0]
    # steps end below 1e-9 of the size; what is left is how well 6000 places pin the plane down
    assert angle_deg(found, way) < 1e-4
    assert found.plane.point_mm @ found.plane.normal == pytest.approx(
        float(matrix[:3, 3] @ found.plane.normal), abs=1e-4
    )
    assert found.largest_mm < 1e-3
    assert "100 %" in found.in_words()


def test_a_bulge_on_one_side_is_measured_in_its_place() -> None:
    lump = even_blob(48)
    at = lump.vertices_mm[np.argmin(np.linalg.norm(lump.vertices_mm - [40, 30, 25], axis=1))]
    assert at[0] > 20
    dented = bulged(lump, at, by_mm=2.0, reach_mm=15.0)
    found = find_mirror(dented)
    assert found is not None
    assert angle_deg(found, np.array([1.0, 0, 0])) < 0.01
    # the image of the tip lies 2 mm over the other side, along the normal of a surface curved
    # outward; facets of 4 mm lie up to 4 * 4 / (8 * 40) = 0.05 mm within it
    assert found.largest_mm == pytest.approx(2.0, abs=0.06)
    assert found.median_mm < 0.01
    # the bulge and the place of its image are within 15 mm of two points: no more area than that
    assert found.share_within(0.06) >= 1 - 2 * np.pi * 17**2 / lump.area_mm2
    one, other = found.spots_off(tol_mm=0.1)
    places = sorted([one.worst_mm, other.worst_mm])
    assert np.abs(np.abs(places) - np.abs(at)).max() < 4.0  # an edge length away at most
    assert places[0][0] < 0 < places[1][0]
    # beyond 0.1 of 2 mm the bulge reaches sqrt(1 - sqrt(0.05)) of 15 mm, give or take an edge
    inner = 15 * np.sqrt(1 - np.sqrt(0.05))
    for spot in (one, other):
        assert np.pi * (inner - 4) ** 2 < spot.area_mm2 < np.pi * (inner + 4) ** 2


def test_a_slightly_uneven_sculpt_keeps_its_plane() -> None:
    lump = even_blob(40)
    rng = np.random.default_rng(7)
    waves = rng.normal(size=(6, 3)) / 25
    phase = rng.uniform(0, 2 * np.pi, 6)
    uneven = 0.5 * np.sin(lump.vertices_mm @ waves.T + phase).sum(axis=1) / np.sqrt(6)
    way = lump.vertices_mm / np.linalg.norm(lump.vertices_mm, axis=1, keepdims=True)
    found = find_mirror(Mesh(lump.vertices_mm + uneven[:, None] * way, lump.faces))
    assert found is not None
    # sides differ by up to twice what was added; a tilt may take out some of it, of that order
    limit = 2 * float(np.abs(uneven).max())
    assert angle_deg(found, np.array([1.0, 0, 0])) < np.degrees(limit / 40)
    assert 0.1 < found.p95_mm < limit


def test_what_is_off_agrees_with_another_library() -> None:
    lump = even_blob()
    at = lump.vertices_mm[np.argmax(lump.vertices_mm @ [1, 1, 0])]
    found = find_mirror(bulged(lump, at, by_mm=3.0, reach_mm=20.0))
    assert found is not None
    image = mirrored(found.mesh.vertices_mm, found.plane)
    square = igl.point_mesh_squared_distance(
        image, found.mesh.vertices_mm, found.mesh.faces.astype(int)
    )[0]
    # the reference rounds squares of 100 mm to 16 digits
    assert np.abs(np.sqrt(square) - found.off_mm).max() < 1e-6
    assert found.weight_mm2.sum() == pytest.approx(found.mesh.area_mm2)
    assert (np.diff([found.off_over_share_mm(s) for s in (0.1, 0.5, 0.9, 1.0)]) >= 0).all()
    assert found.off_over_share_mm(1.0) == found.largest_mm


def test_a_box_is_measured_within_its_large_triangles() -> None:
    """Corners alone would say that nothing is off."""
    roof = menagerie.box(size_mm=(100, 60, 40))
    vertices = np.vstack([roof.vertices_mm, [[20.0, 30, 40]]])
    top = [f for f in roof.faces.tolist() if all(roof.vertices_mm[v, 2] == 40 for v in f)]
    rest = [f for f in roof.faces.tolist() if f not in top]
    ring = [1, 5, 7, 3]
    fan = [[a, b, 8] for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    raised = vertices.copy()
    raised[8, 2] = 50.0  # a tip 10 mm high, 30 mm off the middle in x, in the middle in y
    found = find_mirror(Mesh(raised, rest + fan))
    assert found is not None
    assert angle_deg(found, np.array([0, 1.0, 0])) < 1e-6
    assert found.largest_mm < 1e-9
    assert len(found.mesh.vertices_mm) > 9


def test_a_ball_has_a_plane_wherever_one_looks() -> None:
    found = find_mirror(menagerie.ball(radius_mm=60, rings=48))
    assert found is not None
    # facets lie up to R (1 - cos(pi / 96)) inside the ball, across a ring and as much along
    assert found.largest_mm <= 2 * 60 * (1 - np.cos(np.pi / 96)) + 1e-3
    assert abs(found.plane.point_mm @ found.plane.normal) < 0.1


def test_an_open_mask_is_measured_too() -> None:
    lump = even_blob(40)
    mask = lump.with_faces(lump.face_centres_mm[:, 1] > 5)
    found = find_mirror(mask)
    assert found is not None
    assert angle_deg(found, np.array([1.0, 0, 0])) < 1e-3
    assert found.largest_mm < 1e-2


@pytest.mark.parametrize("kind", ["helmet, two slots", "snout"])
def test_shells_drawn_with_a_middle_have_it(kind: str) -> None:
    shell = shapes.implicit_shell(kind, triangles=20_000)
    found = find_mirror(shell.mesh)
    assert found is not None
    assert angle_deg(found, np.array([1.0, 0, 0])) < 0.05
    assert found.median_mm < 0.05


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_random_lumps_have_no_mirror_worth_the_name(seed: int) -> None:
    ball = menagerie.ball(radius_mm=60, rings=24)
    rng = np.random.default_rng(seed)
    waves = rng.normal(size=(8, 3)) / 30
    swell = 1 + 0.15 * np.sin(ball.vertices_mm @ waves.T + rng.uniform(0, 6, 8)).sum(axis=1)
    lump = Mesh(ball.vertices_mm * np.maximum(swell, 0.3)[:, None], ball.faces)
    found = find_mirror(lump)
    assert found is None or found.p95_mm > 2.0


def test_a_limit_of_zero_finds_only_exact_mirrors() -> None:
    assert find_mirror(menagerie.twisted_strip()) is None  # it has axes but no plane
    assert find_mirror(menagerie.box(), limit_share=1e-9) is not None


def test_the_answer_is_the_same_each_time_and_grows_with_the_body() -> None:
    lump = even_blob(24)
    at = lump.vertices_mm[np.argmax(lump.vertices_mm @ [1, 1, 0])]
    body = bulged(lump, at, by_mm=2.0, reach_mm=20.0)
    one, again = find_mirror(body), find_mirror(body)
    twice = find_mirror(Mesh(2 * body.vertices_mm, body.faces))
    assert one is not None and again is not None and twice is not None
    assert (one.off_mm == again.off_mm).all()
    assert (one.plane.normal == again.plane.normal).all()
    assert twice.largest_mm == pytest.approx(2 * one.largest_mm, rel=1e-6)


@pytest.mark.parametrize(
    "mesh",
    [
        menagerie.soup(menagerie.ball(rings=8)),
        menagerie.with_turned(menagerie.box(), 3),
        menagerie.with_repeated(menagerie.box(), 3),
        menagerie.with_collapsed(menagerie.ball(rings=8)),
        menagerie.with_inner_wall(),
        menagerie.touching_boxes(),
        menagerie.pinched(),
        menagerie.box().flipped(),
    ],
    ids=["soup", "turned", "repeated", "collapsed", "inner wall", "touching", "pinched", "inside"],
)
def test_broken_meshes_that_look_even_have_a_mirror(mesh: Mesh) -> None:
    found = find_mirror(mesh)
    assert found is not None
    assert found.median_mm <= 0.01 * float(np.linalg.norm(np.ptp(mesh.bounds_mm, axis=0)))
    assert found.in_words().startswith("Symmetric within")


def test_nothing_is_refused() -> None:
    with pytest.raises(NoTriangles):
        find_mirror(Mesh(np.zeros((0, 3)), np.zeros((0, 3))))
