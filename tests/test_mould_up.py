"""Which way is up: hollows of shells whose up is known by build, flat bases, and refusals."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

import shapes
from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.place import stand_on_board, turn_up
from firstpull.core.mould.up import UpUnclear, find_up

# a wavy rim of +-18 mm over a span of 150 mm has no one right lid: a few degrees are its own
SLANT_DEG = 3.0


def apart_deg(one, other) -> float:
    return float(np.degrees(np.arccos(np.clip(np.dot(one, other), -1.0, 1.0))))


def turned(mesh: Mesh, turn: Rotation) -> Mesh:
    return Mesh(mesh.vertices_mm @ turn.as_matrix().T, mesh.faces)


@pytest.mark.parametrize("kind", shapes.KINDS)
@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(seed, marks=pytest.mark.long) for seed in (0, 2))]
)
def test_up_is_opposite_the_hollow(kind, seed):
    shell = shapes.implicit_shell(kind, seed, 15_000)
    up = find_up(shell.mesh)
    assert up.found_by == "hollow"
    assert apart_deg(up.direction, shell.up) < SLANT_DEG


def test_the_hollow_of_a_dome_is_as_large_as_its_ball():
    """Half a ball of the inner radius, seen through its lid: depth is sampled at four points
    of each lid face, so the volume is a cubature of low order and only its size is asked."""
    shell = shapes.implicit_shell("dome", 0, 15_000)
    inner = np.linalg.norm(shell.mesh.vertices_mm, axis=1).min()
    exact = 2 / 3 * np.pi * inner**3 / 1000
    assert find_up(shell.mesh).hollow_cm3 == pytest.approx(exact, rel=0.25)


@pytest.mark.long
def test_the_demo_faces_up():
    assert apart_deg(find_up(heron_half_mask(triangles=50_000)).direction, [0, 0, 1]) < SLANT_DEG


@pytest.mark.parametrize(
    "kind",
    [
        "bracer",
        *(pytest.param(k, marks=pytest.mark.long) for k in ("half-mask", "helmet, two slots")),
    ],
)
def test_up_turns_with_the_mesh(kind):
    """The samples on hull faces turn too, but a flat part of the hull may be cut otherwise."""
    mesh = shapes.implicit_shell(kind, 0, 15_000).mesh
    first = np.array(find_up(mesh).direction)
    for turn in Rotation.random(4, random_state=8):
        assert apart_deg(find_up(turned(mesh, turn)).direction, turn.apply(first)) < 1.0


SOLIDS = {
    "box": lambda: shapes.box(80, 60, 30),
    "cube": lambda: shapes.box(40, 40, 40),
    "cone": lambda: shapes.cone(30, 60),
    "slim cone": lambda: shapes.cone(20, 90, 300),
    "cylinder": lambda: shapes.cylinder(30, 20),
    "hemisphere": lambda: shapes.hemisphere(40),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_a_solid_stands_on_its_flat_base(name):
    """Of two equal sides, the one it was drawn on."""
    up = find_up(SOLIDS[name]())
    assert up.found_by == "flat base"
    assert up.hollow_cm3 == 0.0
    assert apart_deg(up.direction, [0, 0, 1]) < 0.1


@pytest.mark.parametrize("name", ["cone", "hemisphere"])
def test_a_flat_base_is_found_however_it_lies(name):
    mesh = SOLIDS[name]()
    for turn in Rotation.random(4, random_state=2):
        up = find_up(turned(mesh, turn))
        assert up.found_by == "flat base"
        assert apart_deg(up.direction, turn.apply([0.0, 0.0, 1.0])) < 0.1


def ball() -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=4, radius=40.0)
    return Mesh(made.vertices, made.faces)


def capsule() -> Mesh:
    made = trimesh.creation.capsule(height=40.0, radius=20.0)
    return Mesh(made.vertices, made.faces)


@pytest.mark.parametrize("made", [ball, capsule, lambda: shapes.torus(40, 10)])
def test_a_shape_without_hollow_or_base_is_refused(made):
    """A ring's hull is flat over its hole, but there is nothing to stand on."""
    with pytest.raises(UpUnclear, match="no hollow and no flat base") as refusal:
        find_up(made())
    assert "--up" in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_given_direction_is_taken_at_any_length():
    up = find_up(ball(), given=(0.0, -3.0, 4.0))
    assert up.found_by == "given"
    assert up.direction == pytest.approx((0.0, -0.6, 0.8))


@pytest.mark.parametrize(
    "given", [(0.0, 0.0, 0.0), (np.nan, 0.0, 1.0), (0.0, np.inf, 0.0), (0.0, 1.0)]
)
def test_a_given_direction_without_length_is_refused(given):
    with pytest.raises(UpUnclear, match="no direction"):
        find_up(ball(), given=given)


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 0, -1), (0.6, 0, -0.8), (-1, 0, 0), (3, 4, 12)])
def test_turning_up_brings_a_direction_to_z(up):
    turn = turn_up(up)[:3, :3]
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    np.testing.assert_allclose(turn @ np.array(up) / np.linalg.norm(up), [0, 0, 1], atol=1e-12)


def test_the_lowest_point_of_the_rim_stands_over_the_board():
    shell = shapes.implicit_shell("half-mask", 2, 15_000)
    standing = stand_on_board(shell.mesh, find_up(shell.mesh), below_rim_mm=13.0)
    rim = standing.master.vertices_mm[standing.show.loops[0]]
    assert rim[:, 2].min() == pytest.approx(13.0)
    again = shell.mesh.moved(standing.frame)
    np.testing.assert_allclose(again.vertices_mm, standing.master.vertices_mm, atol=1e-9)
