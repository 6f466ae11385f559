"""Fewer triangles within a tolerance, more of them on the same surface."""

from __future__ import annotations

import igl
import numpy as np
import pytest

import menagerie
import shapes
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import NoTriangles
from firstpull.core.mesh.revision.simplify import ToleranceOutOfRange, simplified, with_edges_up_to
from firstpull.core.mesh.revision.within import Within, within
from firstpull.core.mesh.solid import NotASolid
from firstpull.core.mesh.topology import is_closed, open_loops
from firstpull.core.mesh.tree import Tree


def apart(one: Mesh, other: Mesh) -> float:
    """Largest distance found by another library, both ways."""
    return max(one_way(one, other), one_way(other, one))


def one_way(mesh: Mesh, to: Mesh) -> float:
    """The same at corners, middles and random places of one mesh."""
    rng = np.random.default_rng(3)
    face = rng.integers(len(mesh.faces), size=20_000)
    points = (rng.dirichlet([0.7] * 3, size=20_000)[:, :, None] * mesh.corners_mm[face]).sum(1)
    points = np.concatenate([mesh.vertices_mm, mesh.face_centres_mm, points])
    square = igl.point_mesh_squared_distance(points, to.vertices_mm, to.faces.astype(int))[0]
    return float(np.sqrt(square.max()))


def longest_edge(mesh: Mesh) -> float:
    corners = mesh.corners_mm
    return float(np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max())


# The proof


def test_parallel_sheets_lie_as_far_apart_as_they_do() -> None:
    sheet = menagerie.divided(Mesh([[0, 0, 0], [40, 0, 0], [0, 40, 0]], [[0, 1, 2]]), 3)
    above = Mesh([[-5, -5, 2], [90, -5, 2], [-5, 90, 2]], [[0, 1, 2]])
    assert within(sheet, Tree.of(above), limit_mm=2.0) == Within(2.0, 2.0)
    assert within(sheet, Tree.of(above), limit_mm=1.999) is None


def test_a_far_point_between_near_corners_is_noticed() -> None:
    """A flat sheet over a valley: its corners touch the rims, its middle hangs 5 mm above."""
    valley = Mesh(
        [[-10, -9, 0], [-10, 9, 0], [0, -9, -5], [0, 9, -5], [10, -9, 0], [10, 9, 0]],
        [[0, 2, 1], [1, 2, 3], [2, 4, 3], [3, 4, 5]],
    )
    sheet = Mesh([[-10, -9, 0], [10, -9, 0], [10, 9, 0], [-10, 9, 0]], [[0, 1, 2], [0, 2, 3]])
    # the middle line is nearest to both slopes, sqrt(1 / 1.25) of the depth away
    far = 5 / np.sqrt(1.25)
    assert within(sheet, Tree.of(valley), limit_mm=far - 0.01) is None
    proved = within(sheet, Tree.of(valley), limit_mm=far + 0.01)
    assert proved is not None
    assert proved.found_mm <= far + 1e-9 and far - 1e-9 <= proved.most_mm <= far + 0.01


@pytest.mark.parametrize("seed", range(6))
def test_a_proof_holds_at_every_sampled_point(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ball = menagerie.ball(radius_mm=20, rings=10)
    one = Mesh(ball.vertices_mm + rng.normal(scale=0.8, size=ball.vertices_mm.shape), ball.faces)
    other = menagerie.ball(radius_mm=20, rings=7 + seed)
    sampled = one_way(one, other)
    assert within(one, Tree.of(other), limit_mm=0.99 * sampled) is None
    # what lies between samples: 20 000 of them over faces of 5 mm leave gaps of about 0.3 mm
    proved = within(one, Tree.of(other), limit_mm=sampled + 0.3)
    assert proved is not None
    assert proved.found_mm <= proved.most_mm and sampled <= proved.most_mm + 1e-9


# Fewer


def test_flat_sides_go_back_to_two_triangles_each() -> None:
    block = menagerie.box(size_mm=(64, 32, 16))
    fewer = simplified(menagerie.divided(block, 4), tol_mm=0.01)
    assert len(fewer.mesh.faces) == 12
    assert fewer.mesh.volume_mm3 == pytest.approx(block.volume_mm3, rel=1e-12)
    assert fewer.found_mm <= fewer.deviation_mm <= 0.01


@pytest.mark.parametrize("tol_mm", [0.05, 0.3, 1.0])
def test_a_ball_keeps_its_shape_within_the_tolerance(tol_mm: float) -> None:
    ball = menagerie.ball(radius_mm=60, rings=60)
    fewer = simplified(ball, tol_mm=tol_mm)
    assert len(fewer.mesh.faces) < len(ball.faces)
    assert is_closed(fewer.mesh) and not crosses_itself(fewer.mesh)
    found = apart(ball, fewer.mesh)
    assert found <= fewer.deviation_mm + 1e-9
    assert fewer.found_mm <= fewer.deviation_mm <= tol_mm
    # both lie within the bound of each other, so volumes differ by no more than area times it
    assert abs(fewer.mesh.volume_mm3 - ball.volume_mm3) <= fewer.deviation_mm * ball.area_mm2


def test_a_thin_shell_stays_closed_and_free_of_crossings() -> None:
    shell = shapes.implicit_shell("helmet, two slots", triangles=20_000).mesh
    fewer = simplified(shell, tol_mm=0.5)
    assert len(fewer.mesh.faces) < 0.6 * len(shell.faces)
    assert is_closed(fewer.mesh) and not crosses_itself(fewer.mesh)
    assert apart(shell, fewer.mesh) <= fewer.deviation_mm + 1e-9
    assert fewer.deviation_mm <= 0.5


def test_the_edge_of_an_open_mesh_stays() -> None:
    dome = menagerie.dome(radius_mm=80)
    fewer = simplified(dome, tol_mm=0.2)
    assert len(fewer.mesh.faces) < 0.7 * len(dome.faces)
    assert apart(dome, fewer.mesh) <= 0.2 + 1e-9
    (loop,) = open_loops(fewer.mesh)
    rim = fewer.mesh.vertices_mm[loop]
    assert np.abs(rim[:, 2]).max() <= 0.2
    around = np.linalg.norm(rim - np.roll(rim, 1, axis=0), axis=1).sum()
    # a polygon of n sides whose middles are 0.2 mm within the circle is shorter by 2/3 of that
    # share; from the radius also at most 0.2
    assert around == pytest.approx(2 * np.pi * 80, rel=2 * 0.2 / 80)


def test_an_open_mesh_of_several_openings_stays_open() -> None:
    ball = menagerie.ball(radius_mm=60, rings=40)
    band = ball.with_faces(np.abs(ball.face_centres_mm[:, 2]) < 40)
    fewer = simplified(band, tol_mm=0.3)
    assert len(fewer.mesh.faces) < len(band.faces)
    assert len(open_loops(fewer.mesh)) == 2
    assert apart(band, fewer.mesh) <= 0.3 + 1e-9


def test_what_cannot_be_simplified_comes_back() -> None:
    box = menagerie.box()
    same = simplified(box, tol_mm=0.1)
    assert same.mesh is box and same.deviation_mm == 0.0


def test_refusals() -> None:
    for wrong in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(ToleranceOutOfRange, match="above 0"):
            simplified(menagerie.box(), tol_mm=wrong)
        with pytest.raises(ToleranceOutOfRange):
            with_edges_up_to(menagerie.box(), edge_mm=wrong)
    with pytest.raises(NotASolid, match="mend what it names"):
        simplified(menagerie.twisted_strip(), tol_mm=0.1)
    with pytest.raises(NotASolid):
        simplified(menagerie.with_inner_wall(), tol_mm=0.1)
    with pytest.raises(NoTriangles):
        simplified(Mesh(np.zeros((0, 3)), np.zeros((0, 3))), tol_mm=0.1)
    with pytest.raises(ToleranceOutOfRange, match="longer edges"):
        with_edges_up_to(menagerie.box(), edge_mm=0.001)


# More


@pytest.mark.parametrize("edge_mm", [60.0, 11.0, 2.0])
@pytest.mark.parametrize(
    "mesh",
    [
        menagerie.box(size_mm=(200, 30, 4)),
        shapes.cylinder(50, 100, 24),
        menagerie.dome(rings=8),
        menagerie.twisted_strip(),
        menagerie.hourglass(),
        menagerie.with_inner_wall(),
    ],
    ids=["box", "cylinder", "dome", "strip", "hourglass", "inner wall"],
)
def test_no_edge_is_longer_than_asked(mesh: Mesh, edge_mm: float) -> None:
    finer = with_edges_up_to(mesh, edge_mm=edge_mm)
    assert longest_edge(finer) <= edge_mm
    assert finer.area_mm2 == pytest.approx(mesh.area_mm2, rel=1e-12)
    if is_closed(mesh):
        assert finer.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-9)
    assert is_closed(finer) == is_closed(mesh)
    assert len(open_loops(finer)) == len(open_loops(mesh))
    assert (finer.vertices_mm[: len(mesh.vertices_mm)] == mesh.vertices_mm).all()
    # the reference rounds squares of 200 mm to 16 digits
    assert apart(mesh, finer) <= 200 * 1e-8


def test_a_mesh_that_is_fine_already_comes_back() -> None:
    ball = menagerie.ball()
    assert with_edges_up_to(ball, edge_mm=100.0) is ball
    empty = Mesh(np.zeros((0, 3)), np.zeros((0, 3)))
    assert not len(with_edges_up_to(empty, edge_mm=1.0).faces)
