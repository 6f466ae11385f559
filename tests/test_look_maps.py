"""Maps over a surface, against shapes whose answer is known."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

import shapes
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould.surface_maps import (
    LOOKS,
    BadPull,
    Range,
    fill_for_pull,
    range_of,
    shown_at,
    silicone_under,
    thickness_at,
    view_from,
)
from mould_cases import DRAFT_DEG, SKIN_MM, skin_of, standing_body
from run_cases import plain_skin


def fine_box(x: float, y: float, z: float, *, edge: float) -> Mesh:
    """A box on the board, its faces cut small."""
    cube = manifold3d.Manifold.cube((x, y, z)).translate((-x / 2, -y / 2, 0.0))
    return mesh_of(cube.refine_to_length(edge))


def test_a_hollow_box_has_its_wall_all_over() -> None:
    outer = manifold3d.Manifold.cube((60.0, 50.0, 40.0)).refine_to_length(5.0)
    inner = manifold3d.Manifold.cube((54.0, 44.0, 34.0)).refine_to_length(5.0)
    wall = thickness_at(mesh_of(outer - inner.translate((3.0, 3.0, 3.0))))
    assert wall.dtype == np.float32
    assert wall == pytest.approx(3.0, abs=1e-4)


def test_a_vertex_is_shown_where_a_face_around_it_is() -> None:
    box = shapes.box(10, 10, 10)
    shown = shown_at(box, box.face_normals[:, 2] > 0.5)
    assert np.array_equal(shown, (box.vertices_mm[:, 2] == 10).astype(np.float32))


def test_a_cone_sees_by_the_lean_of_its_side() -> None:
    """Two half-spaces whose normals are an angle a apart share 1 - a / 180 degrees of either."""
    radius, high = 30.0, 60.0
    cone = mesh_of(manifold3d.Manifold.cylinder(high, radius, 0.0, 96).refine_to_length(6.0))
    seen = view_from(cone)
    z = cone.vertices_mm[:, 2]
    side = (z > 8) & (z < 50)
    lean = np.degrees(np.arctan2(high, radius))  # of the normal from straight up
    assert side.sum() > 100
    # what one look more or less makes, on either edge of the lune
    assert seen[side] == pytest.approx(1 - lean / 180, abs=3 / LOOKS)
    assert np.mean(seen[side]) == pytest.approx(1 - lean / 180, abs=1 / LOOKS)


def test_a_level_top_sees_all_and_a_floor_nothing() -> None:
    seen = view_from(box := fine_box(60, 60, 20, edge=8.0))
    inside = np.abs(box.vertices_mm[:, :2]).max(axis=1) < 25
    z = box.vertices_mm[:, 2]
    assert (seen[inside & (z > 19)] == 1).all() and (seen[inside & (z < 1)] == 0).all()


def test_the_bottom_of_a_pit_sees_through_its_mouth() -> None:
    """On the axis of a round pit as deep as wide: 1 - cos of the mouth's half angle."""
    block = manifold3d.Manifold.cube((100.0, 100.0, 60.0)).translate((-50.0, -50.0, 0.0))
    pit = manifold3d.Manifold.cylinder(50.0, 25.0, 25.0, 96).translate((0, 0, 10))
    mesh = mesh_of((block - pit).refine_to_length(4.0))
    at = np.argmin(np.linalg.norm(mesh.vertices_mm - [0, 0, 10], axis=1))
    off = float(np.linalg.norm(mesh.vertices_mm[at] - [0, 0, 10]))
    assert off < 4
    share = 1 - np.cos(np.arctan2(25.0, 50.0))
    assert view_from(mesh, looks=1024)[at] == pytest.approx(share, abs=0.02)


@pytest.fixture(scope="module")
def prism():
    """A box 60 mm wide, 50 deep and 40 high as body, its skin and the skin's field."""
    body = standing_body(fine_box(60, 50, 40, edge=10.0))
    shape = skin_of(body, step_mm=2.0)
    return body, shape, plain_skin(body, shape)


def test_an_even_skin_is_as_thick_as_laid(prism) -> None:
    body, _, skin = prism
    under = silicone_under(skin, body.mesh)
    x, y, z = np.abs(skin.vertices_mm).T
    side = (x > 31) & (x < 37) & (y < 24) & (z > 12) & (z < 38)
    flange = (x > 45) & (x < 55) & (z > 7.5) & (z < 8.2) & (y < 10)
    assert side.sum() > 50 and flange.sum() > 5
    assert under[side] == pytest.approx(SKIN_MM, abs=0.02)
    assert under[flange] == pytest.approx(8.0, abs=0.1)
    inside = (x < 30.01) & (y < 25.01) & (z < 40.01)
    assert inside.any() and np.isnan(under[inside]).all()
    assert np.isnan(under[z < 0.01]).all()


def test_straight_up_frees_a_prism_but_for_the_draft(prism) -> None:
    _, shape, skin = prism
    deep = fill_for_pull(skin, shape, (0, 0, 5), draft_deg=0.0)
    x, y, z = np.abs(skin.vertices_mm).T
    side = (x > 35) & (x < 37) & (y < 20) & (z > 12)
    assert side.any() and (deep[side] == 0).all()
    assert np.isnan(deep[(x < 30.01) & (y < 25.01) & (z < 40.01)]).all()


def test_a_draft_asks_for_its_share_of_the_height(prism) -> None:
    _, shape, skin = prism
    deep = fill_for_pull(skin, shape, (0, 0, 1), draft_deg=10.0)
    x, y, z = np.abs(skin.vertices_mm).T
    side = (x > 35.9) & (x < 36.1) & (y < 12) & (z > 12) & (z < 24)
    below_edge = 40.0 - z[side]  # of the upright wall; the skin's top edge is round above it
    assert side.any()
    expected = below_edge * np.sin(np.radians(10.0))
    assert deep[side] == pytest.approx(expected, abs=0.3 * 2.0)


def test_a_pull_at_45_degrees_fills_behind_a_prism_to_its_top(prism) -> None:
    """Behind an upright wall of height H the shadow reaches as far out as it lies below H."""
    _, shape, skin = prism
    deep = fill_for_pull(skin, shape, (1, 0, 1), draft_deg=0.0)
    x, y, z = skin.vertices_mm.T
    flat = np.abs(y) < 12
    behind = (x < -35.9) & (x > -36.1) & flat & (z > 24) & (z < 38)
    ahead = (x > 35.9) & (x < 36.1) & flat & (z > 12) & (z < 38)
    assert behind.sum() > 5 and ahead.sum() > 5
    # the tangent at 45 degrees to the rounded edge of radius 6 lies 6 (1 - tan 22.5) below 46
    top = 46.0 - 6.0 * (2 - np.sqrt(2))
    assert deep[behind] == pytest.approx(top - z[behind], abs=0.5 * 2.0)
    assert (deep[ahead] == 0).all()


@pytest.mark.parametrize("pull", [(0, 0, 0), (1, 0, 0), (0, 1, -1), (np.nan, 0, 1), (1, 2)])
def test_what_is_no_pull_is_refused(prism, pull) -> None:
    with pytest.raises(BadPull):
        fill_for_pull(prism[2], prism[1], pull, draft_deg=DRAFT_DEG)


def test_a_range_holds_what_most_values_are_rounded_outwards() -> None:
    values = np.linspace(0, 10, 1001, dtype=np.float32)
    assert range_of(values) == Range(0.2, 9.8)
    assert range_of(np.float32([3.0, 3.0])) == Range(3.0, 3.0)
    assert range_of(np.float32([np.nan])) == range_of(np.float32([])) == Range(0.0, 0.0)
    assert range_of(np.float32([-120.0, 80.0])) == Range(-120.0, 80.0)
