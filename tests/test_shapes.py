"""The test shapes are what they claim to be."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

import shapes
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.rays import RayScene


def checked(mesh: Mesh) -> trimesh.Trimesh:
    made = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert made.is_watertight and made.is_winding_consistent and made.volume > 0
    return made


def test_a_box_is_exact() -> None:
    made = checked(shapes.box(30, 20, 10))
    assert made.volume == pytest.approx(6000)
    assert made.area == pytest.approx(2 * (600 + 300 + 200))


@pytest.mark.parametrize("n", [24, 96])
def test_round_shapes_reach_their_closed_forms(n: int) -> None:
    """Inscribed polygons lose 2/3 (pi/n)^2 of a disc's area; two turns of it for a ball."""
    loss = (np.pi / n) ** 2
    disc = n / 2 * np.sin(2 * np.pi / n)
    prism = checked(shapes.cylinder(20, 50, n))
    assert prism.volume == pytest.approx(disc * 400 * 50)
    pyramid = checked(shapes.cone(20, 50, n))
    assert pyramid.volume == pytest.approx(disc * 400 * 50 / 3)
    half_ball = checked(shapes.hemisphere(20, n))
    exact = 2 / 3 * np.pi * 20**3
    assert exact * (1 - 3 * loss) < half_ball.volume < exact
    ring = checked(shapes.torus(40, 10, n))
    exact = 2 * np.pi**2 * 40 * 10**2
    # the tube has n / 2 sides: four times the loss of the ring
    assert exact * (1 - 5 * loss) < ring.volume < exact
    assert ring.euler_number == 0


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("kind", sorted(shapes.KINDS))
def test_shells_are_closed_and_know_their_sides(kind: str, seed: int) -> None:
    """Closed, one body, one handle per opening; normals agree with the labels."""
    shell = shapes.implicit_shell(kind, seed)
    made = checked(shell.mesh)
    assert made.body_count == 1
    assert made.euler_number == 2 - 2 * shell.openings
    assert len(shell.mesh.faces) > 0.8 * 40_000
    assert len(shell.labels) == len(shell.mesh.faces)
    assert set(np.unique(shell.labels)) == {shapes.OUTSIDE, shapes.INSIDE, shapes.RIM}


@pytest.mark.parametrize("kind", sorted(shapes.KINDS))
def test_through_the_wall_lies_the_other_side(kind: str) -> None:
    """A ray from an outside face through the wall leaves by an inside face or a rim."""
    shell = shapes.implicit_shell(kind, 3)
    mesh, normals = shell.mesh, shell.mesh.face_normals
    scene = RayScene(mesh)
    for here, there in ((shapes.OUTSIDE, shapes.INSIDE), (shapes.INSIDE, shapes.OUTSIDE)):
        faces = np.flatnonzero(shell.labels == here)
        start = mesh.face_centres_mm[faces] - 1e-3 * normals[faces]
        hit = scene.hit_face(start, -normals[faces])
        through = scene.distance(start, -normals[faces])
        assert (hit >= 0).all()
        met = shell.labels[hit]
        straight = met == there
        # by a sharp corner a ray can run along the next wall and out on its own side
        assert (straight | (met == shapes.RIM)).mean() > 0.98
        assert straight.mean() > 0.85
        assert abs(np.median(through[straight]) / shell.wall_mm - 1) < 0.02
        assert (np.abs(through[straight] / shell.wall_mm - 1) < 0.25).mean() > 0.9


@pytest.mark.parametrize("kind", sorted(shapes.KINDS))
def test_up_points_away_from_the_hollow(kind: str) -> None:
    """By area, the outside looks up and the inside looks down."""
    shell = shapes.implicit_shell(kind, 5)
    rise = shell.mesh.face_vectors_mm2 @ shell.up
    assert rise[shell.labels == shapes.OUTSIDE].sum() > 0
    assert rise[shell.labels == shapes.INSIDE].sum() < 0
    assert np.linalg.norm(shell.up) == pytest.approx(1)


def test_the_areas_of_a_dome_follow_closed_forms() -> None:
    """Half spheres of R + w/2 and R - w/2 and the ring between them.

    A mesh edge h long cuts 1 part in 24 of (h / R)^2 from a sphere's area or less, and the
    bevelled cell at each sharp edge shifts at most one step of strip between labels.
    """
    shell = shapes.implicit_shell("dome", 2, 60_000)
    along = shell.mesh.vertices_mm @ shell.up
    outer = along.max()
    inner = outer - shell.wall_mm
    step = np.sqrt(shell.mesh.area_mm2 / len(shell.mesh.faces) * 2)
    areas = [shell.mesh.face_areas_mm2[shell.labels == label].sum() for label in range(3)]
    for area, radius in ((areas[0], outer), (areas[1], inner)):
        assert abs(area - 2 * np.pi * radius**2) < 2 * np.pi * radius * step
    assert abs(areas[2] - np.pi * (outer**2 - inner**2)) < 2 * 2 * np.pi * outer * step
    bevels = step**2 / 2 * 2 * np.pi * (outer + inner)
    exact = 2 / 3 * np.pi * (outer**3 - inner**3)
    assert abs(shell.mesh.volume_mm3 - exact) < bevels


@pytest.mark.parametrize("kind", ["bowl", "helmet, one slot"])
def test_fine_shells_land_near_the_triangle_target(kind: str) -> None:
    shell = shapes.implicit_shell(kind, 1, 150_000)
    assert 0.85 < len(shell.mesh.faces) / 150_000 < 1.15


def test_the_same_seed_gives_the_same_shell() -> None:
    one, two = shapes.implicit_shell("snout", 4, 12_000), shapes.implicit_shell("snout", 4, 12_000)
    assert np.array_equal(one.mesh.vertices_mm, two.mesh.vertices_mm)
    other = shapes.implicit_shell("snout", 5, 12_000)
    assert not np.allclose(one.mesh.bounds_mm, other.mesh.bounds_mm)


def test_crossings_are_counted() -> None:
    """A box alone has none; pushed into another, three edges of each corner pass through."""
    one = shapes.box(10, 10, 10)
    two = Mesh(one.vertices_mm + np.array([3, 4, 5]), one.faces)
    assert shapes.self_crossings(one) == 0
    # each box keeps one corner inside the other; its three edges leave through three sides
    assert shapes.self_crossings(joined([one, two])) >= 6


@pytest.mark.parametrize("kind", sorted(shapes.KINDS))
def test_no_shell_passes_through_itself(kind: str) -> None:
    assert shapes.self_crossings(shapes.implicit_shell(kind, 1).mesh) == 0
