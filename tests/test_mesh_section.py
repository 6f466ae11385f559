"""Sections and outlines, against closed forms and three other ways to find them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

import menagerie
import shapes
from firstpull.core.mesh.lines.figure import Figure, NoDirection, Plane
from firstpull.core.mesh.lines.outline import outline
from firstpull.core.mesh.lines.section import NoPlanes, planes_along, section, sections
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import BadCoordinates
from firstpull.core.mesh.solid import solid

directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1)


def as_area(figure: Figure) -> shapely.Geometry:
    """The closed lines as one area: what lies within an odd number of them."""
    area = shapely.Polygon()
    for curve in figure.curves:
        area = area.symmetric_difference(shapely.Polygon(curve.flat_mm).buffer(0))
    return area


def turned_so_that_up_is(plane: Plane) -> np.ndarray:
    """The matrix that puts the plane's frame on x and y, its normal on z."""
    matrix = np.eye(4)
    matrix[:3, :3] = [plane.right, plane.up, plane.normal]
    matrix[:3, 3] = -matrix[:3, :3] @ plane.point_mm
    return matrix


# The plane's own frame


@given(directions)
def test_a_frame_is_right_handed_and_upright(way: tuple[float, float, float]) -> None:
    plane = Plane([1, 2, 3], way)
    frame = np.stack([plane.right, plane.up, plane.normal])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1.0)
    assert plane.up[2] > -1e-9 and abs(plane.right[2]) < 1e-9
    points = plane.in_space([[4.0, -5.0]])
    assert plane.flat(points) == pytest.approx(np.array([[4.0, -5.0]]))


def test_a_plane_without_direction_is_refused() -> None:
    with pytest.raises(NoDirection, match="must not be zero"):
        Plane([0, 0, 0], [0, 0, 0])
    with pytest.raises(NoDirection):
        Plane([np.nan, 0, 0], [0, 0, 1])


# Known answers


def test_a_box_cut_square_is_its_rectangle_to_the_last_digit() -> None:
    cut = section(menagerie.box(size_mm=(60, 50, 40)), Plane.across("z", 10))
    assert (cut.area_mm2, cut.length_mm, cut.size_mm) == (3000.0, 220.0, (60.0, 50.0))
    side = section(menagerie.box(size_mm=(60, 50, 40)), Plane.across("x", 10))
    assert side.bounds_mm.tolist() == [[0, 0], [50, 40]]


@pytest.mark.parametrize("height", [-55.0, -20.0, 0.0, 31.7, 59.0])
def test_a_ball_is_cut_in_a_circle(height: float) -> None:
    # Facets of a ball of 96 rings lie up to R (1 - cos(pi / 192)) = 0.008 mm within it across
    # a ring and as much along it; a radius of the cut changes by that over its slope.
    ball = menagerie.ball(radius_mm=60, rings=96)
    (curve,) = section(ball, Plane.across("z", height)).curves
    radius = np.sqrt(60.0**2 - height**2)
    inside = 2 * 60 * (1 - np.cos(np.pi / 192))
    assert 0 <= radius - np.sqrt(curve.area_mm2 / np.pi) <= inside * 60 / radius
    assert curve.area_mm2 > 0


def test_a_ring_has_an_annulus_and_two_circles() -> None:
    ring = shapes.torus(50, 10, 96)
    level = section(ring, Plane.across("z", float(ring.vertices_mm[:, 2].mean())))
    outer, inner = level.curves
    assert outer.area_mm2 > 0 > inner.area_mm2
    # a regular 96-gon has n / (2 pi) sin(2 pi / n) of the circle's area
    share = 96 / (2 * np.pi) * np.sin(2 * np.pi / 96)
    assert level.area_mm2 == pytest.approx(np.pi * (60**2 - 40**2) * share, rel=1e-9)
    share = 48 / (2 * np.pi) * np.sin(2 * np.pi / 48)  # the tube has 48 sides
    upright = section(ring, Plane.across("y"))
    assert [c.area_mm2 for c in upright.curves] == pytest.approx([np.pi * 100 * share] * 2)


def test_a_cone_is_cut_in_a_similar_polygon_and_not_at_its_tip() -> None:
    cone = shapes.cone(20, 100, 96)
    base = 96 / 2 * np.sin(2 * np.pi / 96) * 400
    assert section(cone, Plane.across("z", 75)).area_mm2 == pytest.approx(base / 16)
    assert section(cone, Plane.across("z", 100)).curves == ()


# What lies in the plane


def test_corners_in_the_plane_never_break_a_line() -> None:
    block = menagerie.divided(menagerie.box(size_mm=(64, 64, 64)), 3)  # corners every 8 mm
    for plane in planes_along(block, "z", every_mm=8):
        cut = section(block, plane)
        if plane.point_mm[2] == 0:
            assert cut.curves == ()  # all of it is on or above
        else:  # the top face included: just below it there is material
            assert cut.is_closed and cut.area_mm2 == 64 * 64
    slanting = section(block, Plane([0, 0, 0], [1, -1, 0]))  # along diagonals of the faces
    assert slanting.is_closed
    assert slanting.area_mm2 == pytest.approx(64 * 64 * np.sqrt(2))


def test_points_in_the_plane_are_kept_exactly() -> None:
    block = menagerie.divided(menagerie.box(size_mm=(3.3, 3.3, 3.3)), 1)
    level = float(np.unique(block.vertices_mm[:, 2])[1])
    cut = section(block, Plane.across("z", level))
    known = {tuple(v) for v in block.vertices_mm.tolist()}
    corners = {tuple(v) for v in cut.curves[0].points_mm.tolist()}
    assert len(corners & known) == 8  # corners and middles of the sides
    assert {z for _, _, z in corners} == {level}


def test_what_only_touches_leaves_nothing() -> None:
    roof = Mesh(
        [[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0], [0, 2, 4], [4, 2, 4]],
        [[0, 2, 1], [0, 3, 2], [0, 1, 5], [0, 5, 4], [2, 3, 4], [2, 4, 5], [1, 2, 5], [3, 0, 4]],
    )
    assert section(roof, Plane.across("z", 4)).curves == ()
    assert section(roof, Plane.across("z", 3)).area_mm2 == pytest.approx(4.0)


def test_parts_that_touch_keep_their_own_lines() -> None:
    two = joined([menagerie.box(), menagerie.box(at=(60, 50, 0))])  # they share an upright edge
    cut = section(two, Plane.across("z", 10))
    assert [curve.area_mm2 for curve in cut.curves] == [3000.0, 3000.0]
    assert all(len(np.unique(c.flat_mm, axis=0)) == len(c.flat_mm) for c in cut.curves)


# Laws


@settings(deadline=None, max_examples=25)
@given(directions)
def test_sections_add_up_to_the_volume(way: tuple[float, float, float]) -> None:
    """Between corners the area is a quadratic in the height: two Gauss points are exact."""
    body = menagerie.ball(radius_mm=30, rings=5)
    normal = np.array(way) / np.linalg.norm(way)
    heights = np.unique((body.vertices_mm @ normal).round(9))
    total = 0.0
    for low, high in pairwise(heights):
        for share in (0.5 - np.sqrt(1 / 12), 0.5 + np.sqrt(1 / 12)):
            at = low + share * (high - low)
            total += 0.5 * (high - low) * section(body, Plane(normal * at, normal)).area_mm2
    assert total == pytest.approx(body.volume_mm3, rel=1e-7)  # heights to 1e-9 of 60 mm


def test_a_plane_seen_from_behind_gives_the_same_lines() -> None:
    shell = shapes.implicit_shell("half-mask").mesh
    middle = shell.bounds_mm.mean(axis=0) + 0.123
    one = section(shell, Plane(middle, [1, 2, 3]))
    other = section(shell, Plane(middle, [-1, -2, -3]))
    assert one.area_mm2 == pytest.approx(other.area_mm2) and one.area_mm2 > 0
    assert one.length_mm == pytest.approx(other.length_mm)


def test_loose_triangles_give_whole_lines() -> None:
    ball = menagerie.ball()
    cut = section(menagerie.soup(ball), Plane([0, 0, 5], [1, 1, 1]))
    whole = section(ball, Plane([0, 0, 5], [1, 1, 1]))
    assert len(cut.curves) == 1 and cut.is_closed
    assert cut.area_mm2 == pytest.approx(whole.area_mm2, rel=1e-12)


def test_lines_of_an_open_mesh_end_at_its_edges() -> None:
    dome = menagerie.dome(radius_mm=80)
    (curve,) = section(dome, Plane.across("y", 3.3)).curves
    assert not curve.is_closed
    ends = curve.points_mm[[0, -1]]
    assert ends[:, 2] == pytest.approx([0, 0], abs=1e-12)
    # the outside is on the right of someone walking along it, seen from the far side of y
    assert curve.flat_mm[0, 0] > curve.flat_mm[-1, 0]
    assert curve.length_mm == pytest.approx(np.pi * np.sqrt(80**2 - 3.3**2), rel=1e-3)


def test_faces_turned_over_do_not_break_lines() -> None:
    ball = menagerie.ball()
    mixed = menagerie.with_turned(ball, *range(0, len(ball.faces), 7))
    cut, whole = (section(m, Plane([0, 0, 5], [1, 2, 3])) for m in (mixed, ball))
    assert [c.is_closed for c in cut.curves] == [True]
    assert abs(cut.area_mm2) == pytest.approx(whole.area_mm2)


def test_nothing_gives_nothing() -> None:
    empty = Mesh(np.zeros((0, 3)), np.zeros((0, 3)))
    assert section(empty, Plane.across("z")).curves == ()
    assert section(menagerie.box(), Plane.across("z", 99)).size_mm == (0.0, 0.0)
    assert not section(empty, Plane.across("z")).is_closed


def test_a_row_of_planes_stands_at_whole_multiples() -> None:
    cuts = sections(menagerie.box(), planes_along(menagerie.box(), "z", every_mm=15))
    assert [cut.area_mm2 for cut in cuts] == [0.0, 3000.0, 3000.0]
    for wrong in (0.0, -1.0, np.nan, 1e-6):
        with pytest.raises(NoPlanes, match="Choose a larger distance"):
            planes_along(menagerie.box(), "z", every_mm=wrong)


# Other ways to the same lines


@pytest.mark.parametrize("kind", ["helmet, two slots", "snout"])
def test_sections_agree_with_other_libraries(kind: str) -> None:
    shell = shapes.implicit_shell(kind, triangles=20_000).mesh
    rng = np.random.default_rng(5)
    low, high = shell.bounds_mm
    for _ in range(6):
        plane = Plane(low + rng.uniform(0.3, 0.7, 3) * (high - low), rng.normal(size=3))
        cut = section(shell, plane)
        area = as_area(cut)
        assert cut.is_closed and area.is_valid
        assert area.area == pytest.approx(cut.area_mm2, rel=1e-9)
        upright = solid(shell.moved(turned_so_that_up_is(plane)))
        assert upright.slice(0.0).area() == pytest.approx(cut.area_mm2, rel=1e-6)
        path = trimesh.Trimesh(shell.vertices_mm, shell.faces, process=False).section(
            plane_origin=plane.point_mm, plane_normal=plane.normal
        )
        assert path.length == pytest.approx(cut.length_mm, rel=1e-6)


# Outlines


def shadow(mesh: Mesh, plane: Plane) -> shapely.Geometry:
    """All triangles laid flat and joined."""
    flat = plane.flat(mesh.vertices_mm)[mesh.faces]
    return shapely.unary_union([p for p in shapely.polygons(flat) if p.area > 0])


def test_a_box_seen_square_on_is_its_rectangle() -> None:
    seen = outline(menagerie.box(size_mm=(60, 50, 40)), [0, 0, 1])
    assert seen.area_mm2 == pytest.approx(3000.0, rel=1e-12)
    assert seen.size_mm == (60.0, 50.0)
    assert len(seen.curves) == 1 and len(seen.curves[0].flat_mm) == 4


@given(directions)
def test_a_box_has_the_area_of_its_three_visible_sides(way: tuple[float, float, float]) -> None:
    seen = outline(menagerie.box(size_mm=(60, 50, 40)), way)
    x, y, z = np.abs(way) / np.linalg.norm(way)
    assert seen.area_mm2 == pytest.approx(2000 * x + 2400 * y + 3000 * z)


def test_a_ring_seen_along_its_axis_has_a_hole() -> None:
    seen = outline(shapes.torus(50, 10, 96), [0, 0, 1])
    outer, hole = seen.curves
    share = 96 / (2 * np.pi) * np.sin(2 * np.pi / 96)
    assert outer.area_mm2 == pytest.approx(np.pi * 60**2 * share)
    assert hole.area_mm2 == pytest.approx(-np.pi * 40**2 * share)


def test_which_way_faces_look_does_not_matter() -> None:
    ball = menagerie.ball()
    mixed = menagerie.with_turned(ball, *range(0, len(ball.faces), 5))
    whole = outline(ball, [1, 2, 3]).area_mm2
    for other in (mixed, ball.flipped(), menagerie.soup(ball)):
        assert outline(other, [1, 2, 3]).area_mm2 == pytest.approx(whole)


def test_a_sheet_seen_edge_on_casts_no_shadow() -> None:
    sheet = Mesh([[0, 0, 0], [4, 0, 0], [4, 3, 0], [0, 3, 0]], [[0, 1, 2], [0, 2, 3]])
    assert outline(sheet, [1, 0, 0]).curves == ()
    assert outline(Mesh(np.zeros((0, 3)), np.zeros((0, 3))), [1, 0, 0]).curves == ()
    with pytest.raises(NoDirection):
        outline(sheet, [0, 0, 0])


def ball_with_window() -> Mesh:
    ball = menagerie.ball(radius_mm=60, rings=24)
    return ball.with_faces(np.abs(ball.face_centres_mm[:, 2]) < 40)


@pytest.mark.parametrize(
    "mesh",
    [
        menagerie.dome(radius_mm=80, rings=16),
        menagerie.twisted_strip(),
        menagerie.hourglass(),
        ball_with_window(),
        joined([menagerie.box(), menagerie.ball(at=(50, 20, 10), rings=12)]),
        shapes.implicit_shell("half-mask", triangles=3000).mesh,
    ],
    ids=["dome", "strip", "hourglass", "window", "overlapping", "half-mask"],
)
@pytest.mark.parametrize("way", [(0.0, 0.0, 1.0), (0.1, -1.0, 0.2), (1.0, 0.7, -0.4)])
def test_outlines_are_the_union_of_all_triangles(
    mesh: Mesh, way: tuple[float, float, float]
) -> None:
    seen = outline(mesh, way)
    union = shadow(mesh, seen.plane)
    # points are rounded to 1e-8 mm: a band of that width along the lines may differ
    slack = 1e-8 * 4 * sum(curve.length_mm for curve in seen.curves)
    assert as_area(seen).symmetric_difference(union).area <= max(slack, 1e-9 * union.area)


@pytest.mark.parametrize("kind", ["helmet, two slots", "snout"])
def test_outlines_of_solids_agree_with_a_solid_modeller(kind: str) -> None:
    shell = shapes.implicit_shell(kind, triangles=20_000).mesh
    for way in ([0, 1, 0], [1, 2, -1]):
        seen = outline(shell, way)
        upright = solid(shell.moved(turned_so_that_up_is(seen.plane)))
        assert upright.project().area() == pytest.approx(seen.area_mm2, rel=1e-6)


# Whatever comes


BROKEN = {
    "soup": menagerie.soup(menagerie.ball(rings=6)),
    "holes": menagerie.without(menagerie.ball(rings=6), 3, 40),
    "turned": menagerie.with_turned(menagerie.ball(rings=6), 3, 40),
    "repeated": menagerie.with_repeated(menagerie.ball(rings=6), 3, 40),
    "collapsed": menagerie.with_collapsed(menagerie.ball(rings=6)),
    "inner wall": menagerie.with_inner_wall(),
    "touching": menagerie.touching_boxes(),
    "pinched": menagerie.pinched(),
    "strip": menagerie.twisted_strip(),
    "hourglass": menagerie.hourglass(),
    "inside out": menagerie.ball(rings=6).flipped(),
    "line": Mesh([[0, 0, -5], [0, 0, 5], [0, 0, 9]], [[0, 1, 2]]),
}


@pytest.mark.parametrize("name", BROKEN)
@pytest.mark.parametrize("way", [(0, 0, 1), (0.3, -1, 0.2)])
def test_every_crossing_of_a_broken_mesh_is_drawn_once(name: str, way: tuple[float, ...]) -> None:
    """Added up face by face, without stringing them together, the length is the same."""
    mesh = BROKEN[name]
    plane = Plane(mesh.bounds_mm.mean(axis=0) + 0.01, way)
    corners = mesh.corners_mm
    height = (corners - plane.point_mm) @ plane.normal
    total = 0.0
    for triangle, (a, b, c) in zip(corners, height, strict=True):
        ends = [
            triangle[i] + h / (h - k) * (triangle[j] - triangle[i])
            for i, j, h, k in ((0, 1, a, b), (1, 2, b, c), (2, 0, c, a))
            if (h >= 0) != (k >= 0)
        ]
        total += float(np.linalg.norm(ends[0] - ends[1])) if ends else 0.0
    cut = section(mesh, plane)
    assert cut.length_mm == pytest.approx(total, abs=1e-9)
    for curve in cut.curves:
        assert np.abs((curve.points_mm - plane.point_mm) @ plane.normal).max() < 1e-9
        assert plane.in_space(curve.flat_mm) == pytest.approx(curve.points_mm)
    assert as_area(outline(mesh, way)).area == pytest.approx(shadow(mesh, plane).area, abs=1e-5)


def test_coordinates_that_are_no_numbers_are_refused() -> None:
    bad = menagerie.box().vertices_mm.copy()
    bad[3, 1] = np.nan
    with pytest.raises(BadCoordinates):
        section(Mesh(bad, menagerie.box().faces), Plane.across("z", 10))
    with pytest.raises(BadCoordinates):
        outline(Mesh(bad, menagerie.box().faces), [0, 0, 1])
