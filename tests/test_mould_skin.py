"""The skin of convex bodies on the board, against Steiner's formula cut by the board.

A body K stands on the board and goes on below it as an upright prism. The points within t of
it and above the board are, around a prism of base A, outline P and height h,

    h (A + P t + pi t^2)  +  A t + P pi t^2 / 4 + 2 pi t^3 / 3

(upright wall; then slices over the top, each the base grown by sqrt(t^2 - s^2)), for a half
ball 2 pi (R + t)^3 / 3, and for a cone of half angle a and slant L, by Pappus' rule over its
side, a sector of a ball over its tip and a sector of a ring at its foot,

    V + pi L t (R + t cos a) + 2 pi t^3 (1 - sin a) / 3 + 2 pi (R a t^2 / 2 + t^3 sin a / 3).
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

import shapes
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import solid
from firstpull.core.mould.body import Body
from firstpull.core.mould.skin import (
    KEY_FOOT_MM,
    KEY_HEIGHT_MM,
    KEY_SIDE_DEG,
    SkinShape,
    shape_skin,
)
from mould_cases import skin_of, standing_body

ROUND = 360  # corners of a round outline: it lies (pi / 360)^2 / 2 = 0.004 % inside the circle


def prism_grown(base_mm2: float, outline_mm: float, high: float, t: float) -> float:
    wall = high * (base_mm2 + outline_mm * t + np.pi * t**2)
    return wall + base_mm2 * t + outline_mm * np.pi * t**2 / 4 + 2 * np.pi * t**3 / 3


def cone_grown(radius: float, high: float, t: float) -> float:
    slant, a = np.hypot(radius, high), np.arctan2(radius, high)
    side = np.pi * slant * t * (radius + t * np.cos(a))
    tip = 2 * np.pi * t**3 * (1 - np.sin(a)) / 3
    foot = 2 * np.pi * (radius * a * t**2 / 2 + t**3 * np.sin(a) / 3)
    return np.pi * radius**2 * high / 3 + side + tip + foot


CASES = {
    "hemisphere": (
        lambda: shapes.hemisphere(40, ROUND),
        lambda t: 2 / 3 * np.pi * (40 + t) ** 3,
    ),
    "box": (lambda: shapes.box(70, 50, 40), lambda t: prism_grown(3500, 240, 40, t)),
    "cylinder": (
        lambda: shapes.cylinder(35, 40, ROUND),
        lambda t: prism_grown(np.pi * 35**2, 2 * np.pi * 35, 40, t),
    ),
    "cone": (lambda: shapes.cone(40, 60, ROUND), lambda t: cone_grown(40, 60, t)),
}


def without_flange(body: Body, *, thickness_mm: float, step_mm: float) -> SkinShape:
    """The skin with flange and keys sunk below the board."""
    return shape_skin(
        body,
        thickness_mm=thickness_mm,
        flange_width_mm=1.0,
        flange_thickness_mm=-20.0,
        step_mm=step_mm,
        room_mm=10.0,
    )


def above_board_mm3(shape: SkinShape) -> float:
    return float(solid(contour(shape.phi, shape.grid)).trim_by_plane((0, 0, 1), 0).volume())


def test_the_formulas_hold_where_they_meet():
    """A thin skin is area times thickness, and a flat cone's skin is a disc's."""
    for name, (make, grown) in CASES.items():
        mesh = make()
        free = mesh.face_normals[:, 2] > -0.9
        area = mesh.face_areas_mm2[free].sum()
        growth = (grown(1e-4) - grown(0.0)) / 1e-4
        assert growth == pytest.approx(area, rel=2e-4), name
    disc = prism_grown(np.pi * 40**2, 2 * np.pi * 40, 1e-9, 5.0)
    assert cone_grown(40, 1e-9, 5.0) == pytest.approx(disc, rel=1e-6)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("thickness_mm", [6.0, pytest.param(12.0, marks=pytest.mark.long)])
def test_the_skin_holds_what_steiners_formula_says(name, thickness_mm):
    make, grown = CASES[name]
    body = standing_body(make())
    shape = without_flange(body, thickness_mm=thickness_mm, step_mm=1.5)
    found = above_board_mm3(shape) - body.mesh.volume_mm3
    exact = grown(thickness_mm) - grown(0.0)
    assert found == pytest.approx(exact, rel=0.005)


def test_the_skins_error_falls_with_the_square_of_the_step():
    """Twice the step, four times the loss, give or take how the grid falls on the edges."""
    make, grown = CASES["hemisphere"]
    body = standing_body(make())
    lost = []
    for step in (4.0, 2.0):
        shape = without_flange(body, thickness_mm=6.0, step_mm=step)
        lost.append(grown(6.0) - above_board_mm3(shape))
    assert lost[0] > lost[1] > 0
    assert lost[0] / lost[1] == pytest.approx(4, rel=0.25)


def test_flange_and_keys_add_their_own_volume():
    """Around a half ball: a disc on the board to 35 mm beyond it, less the ball of skin that
    stands in it, and a truncated cone for each key."""
    body = standing_body(shapes.hemisphere(40, ROUND))
    shape = skin_of(body, step_mm=1.5)
    ball = 2 / 3 * np.pi * 46**3
    ring = np.pi * 75**2 * 8 - np.pi * (46**2 * 8 - 8**3 / 3)
    top = KEY_FOOT_MM - KEY_HEIGHT_MM * np.tan(np.radians(KEY_SIDE_DEG))
    key = np.pi * KEY_HEIGHT_MM / 3 * (KEY_FOOT_MM**2 + KEY_FOOT_MM * top + top**2)
    exact = ball + ring + len(shape.keys_mm) * key
    assert above_board_mm3(shape) == pytest.approx(exact, rel=0.005)


def test_keys_stand_evenly_along_the_middle_of_the_flange():
    body = standing_body(shapes.hemisphere(40, ROUND))
    keys = skin_of(body, step_mm=1.5).keys_mm
    assert len(keys) >= 4 and len(keys) % 2 == 0
    out = np.linalg.norm(keys[:, :2], axis=1)
    # the outline is read off the grid and smoothed over a step
    np.testing.assert_allclose(out, 40 + 17.5, atol=1.5)
    np.testing.assert_allclose(keys[:, 2], 8.0)
    gaps = np.linalg.norm(keys - np.roll(keys, -1, axis=0), axis=1)
    np.testing.assert_allclose(gaps, gaps.mean(), atol=1.5)


def test_the_skin_of_two_parts_that_touch_nowhere_is_as_thick_everywhere():
    """The field around a body that overlaps itself: no seam where the parts cross."""
    one = trimesh.creation.icosphere(subdivisions=4, radius=25.0)
    parts = [Mesh(one.vertices + np.array([x, 0, 0]), one.faces) for x in (-15, 15)]
    union = solid(parts[0]) + solid(parts[1])
    raw = union.trim_by_plane((0, 0, 1), 0).to_mesh64()
    body = standing_body(Mesh(raw.vert_properties[:, :3], raw.tri_verts))
    shape = without_flange(body, thickness_mm=6.0, step_mm=1.5)
    points = contour(shape.phi, shape.grid).vertices_mm
    points = points[points[:, 2] > 0]
    away = np.min([np.linalg.norm(points - [x, 0, 0], axis=1) for x in (-15, 15)], axis=0) - 25
    # ball facets lie within 0.03 mm of the ball; a vertex on a grid edge is off by h^2 / 8 r,
    # and where the two fronts meet by at most h / 4 times the jump of the slope
    crease = np.abs(points[:, 0]) < 1.5
    assert np.abs(away[~crease] - 6.0).max() < 0.03 + 1.5**2 / (8 * 31)
    assert np.abs(away[crease] - 6.0).max() < 0.03 + 2**0.5 / 4 * 1.5


def test_the_skin_turns_with_its_body():
    """Turned about z and shifted on the board, a skin keeps its volume but for how the grid
    falls: its error is of second order, and two grids differ by no more than it."""
    mesh = shapes.box(70, 50, 40)
    volumes = []
    for angle, shift in ((0.0, 0.0), (27.0, 3.3), (45.0, -0.7)):
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        frame = np.array([[c, -s, 0, shift], [s, c, 0, 2 * shift], [0, 0, 1, 0], [0, 0, 0, 1]])
        shape = without_flange(standing_body(mesh.moved(frame)), thickness_mm=6.0, step_mm=1.5)
        volumes.append(above_board_mm3(shape) - mesh.volume_mm3)
    exact = prism_grown(3500, 240, 40, 6.0) - mesh.volume_mm3
    np.testing.assert_allclose(volumes, exact, rtol=0.005)


def test_the_skin_grows_as_its_body_and_grid_do():
    small = without_flange(standing_body(shapes.hemisphere(30)), thickness_mm=5.0, step_mm=2.0)
    scaled = shapes.hemisphere(30)
    large = standing_body(Mesh(1.5 * scaled.vertices_mm, scaled.faces))
    grown = without_flange(large, thickness_mm=7.5, step_mm=3.0)
    # the grid's margins do not scale, so it falls differently on the body
    assert above_board_mm3(grown) == pytest.approx(1.5**3 * above_board_mm3(small), rel=0.005)


def test_the_board_lies_midway_between_two_layers_of_the_grid():
    grid: Grid = skin_of(standing_body(shapes.box(30, 30, 20)), step_mm=2.0).grid
    assert np.abs(grid.axis(2)).min() == pytest.approx(1.0)
