"""Lids on holes: closed, flat where flat is asked, along the surroundings where smooth is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

import menagerie as m
import shapes
from firstpull.core.mesh.check.loops import SMALL_HOLE_MM, loop_lengths_mm, small_loops
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.repair import lid as lid_module
from firstpull.core.mesh.repair.holes import close_loops, closed_loops
from firstpull.core.mesh.repair.lid import flat_lid
from firstpull.core.mesh.topology import components, edge_table, is_closed, open_loops

HOW = ("flat", "smooth")


def grid(n: int, *, step: float = 1.0) -> Mesh:
    """A flat square of n by n cells on z = 0, looking up."""
    x, y = np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij")
    points = np.stack([x.ravel() * step, y.ravel() * step, 0.0 * x.ravel()], axis=1)
    a = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    b, c, d = a + n + 1, a + n + 2, a + 1
    return Mesh(points, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]))


def cut_ball(angle: float, *, rings: int, radius: float = 60.0) -> tuple[Mesh, Mesh]:
    """A ball, and the ball without the faces whose centres lie within an angle of a slant axis."""
    ball = m.ball(radius_mm=radius, rings=rings)
    axis = np.array([0.3, 0.5, 0.8]) / np.linalg.norm([0.3, 0.5, 0.8])
    centres = ball.face_centres_mm
    return ball, ball.with_faces(centres @ axis < np.cos(angle) * np.linalg.norm(centres, axis=1))


def longest_edge(mesh: Mesh) -> float:
    c = mesh.corners_mm
    return float(np.linalg.norm(c - np.roll(c, 1, axis=1), axis=2).max())


# Lids on rings.


def test_a_convex_ring_is_closed_by_two_triangles_fewer_than_it_has_sides() -> None:
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    made = Mesh(ring, flat_lid(ring))
    assert len(made.faces) == 10
    # the area of a regular twelve-sided polygon of radius 1 is 12 / 2 sin(30 degrees) = 3
    assert made.face_areas_mm2.sum() == pytest.approx(3.0, rel=1e-12)
    assert (made.face_normals[:, 2] == -1.0).all()  # against the ring


@pytest.mark.parametrize("spikes, n", [(3, 24), (5, 60), (5, 400), (9, 1500)])
def test_a_star_in_a_plane_is_covered_once(spikes: int, n: int) -> None:
    """The lid's area is that of the polygon (by shapely) only if no two triangles overlap."""
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    reach = 10 + 6 * np.cos(spikes * turn)
    ring = np.stack([reach * np.cos(turn), reach * np.sin(turn), 0 * turn], axis=1)
    made = Mesh(ring, flat_lid(ring))
    assert made.area_mm2 == pytest.approx(Polygon(ring[:, :2]).area, rel=1e-9)
    assert (made.face_vectors_mm2[:, 2] < 0).all()


def test_sides_in_a_straight_line_leave_no_triangle_without_area() -> None:
    """A square of 4 by 10 points, 8 on each side between the corners."""
    side = np.linspace(0, 9, 10)[:-1]
    zero = np.zeros(9)
    ring = np.concatenate(
        [
            np.stack([side, zero, zero], 1),
            np.stack([zero + 9, side, zero], 1),
            np.stack([9 - side, zero + 9, zero], 1),
            np.stack([zero, 9 - side, zero], 1),
        ]
    )
    areas = Mesh(ring, flat_lid(ring)).face_areas_mm2
    assert areas.sum() == pytest.approx(81.0)
    assert areas.min() > 0.1  # half a unit square is the smallest lattice triangle


def test_the_saddle_of_a_tent_is_closed_by_its_smaller_lid() -> None:
    """A rhombus 20 by 2 with two corners lifted by 1. Folded along the long diagonal, each half
    is 20 long and hypot(1, 1) high; along the short one, 2 long and hypot(10, 1) high, and
    the bend is smaller too."""
    ring = np.array([[-10.0, 0, 1], [0, -1, 0], [10, 0, 1], [0, 1, 0]])
    assert 2 * np.hypot(10, 1) < 20 * np.hypot(1, 1)
    assert Mesh(ring, flat_lid(ring)).area_mm2 == pytest.approx(2 * np.hypot(10, 1))


def test_a_barred_pair_is_never_joined() -> None:
    ring = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    for pair, kept in (((0, 2), {1, 3}), ((1, 3), {0, 2})):
        faces = flat_lid(ring, barred=np.array([pair]))
        twice = [
            v for v, count in zip(*np.unique(faces, return_counts=True), strict=True) if count == 2
        ]
        assert set(twice) == kept
    assert len(flat_lid(ring, barred=np.array([(0, 2), (1, 3)]))) == 0


def test_a_large_ring_that_no_plane_shows_simple_is_closed_in_pockets() -> None:
    """A figure eight with uneven lobes crosses itself in its plane; the lid uses each side once
    and each new edge twice."""
    n = 500
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    reach = 10 + 4 * np.cos(turn)
    ring = np.stack([reach * np.cos(turn), reach * np.sin(2 * turn), np.sin(turn)], axis=1)
    assert len(lid_module._in_plane(ring)) == 0
    table = edge_table(Mesh(ring, flat_lid(ring)))
    assert sorted(np.unique(table.count, return_counts=True)[1].tolist()) == [n - 3, n]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(3, 24), st.integers(0, 2**31))
def test_any_ring_gets_a_lid_that_uses_its_sides_once(n: int, seed: int) -> None:
    """Points anywhere, repeated places among them."""
    rng = np.random.default_rng(seed)
    ring = rng.integers(-3, 4, size=(n, 3)).astype(np.float64)
    faces = flat_lid(ring)
    table = edge_table(Mesh(ring, faces))
    assert len(faces) == n - 2
    sides = {(min(i, (i + 1) % n), max(i, (i + 1) % n)) for i in range(n)}
    open_ = {tuple(row) for row in table.ends[table.count == 1].tolist()}
    assert open_ == sides
    assert table.count.max() <= 2


# Holes in shapes.


@pytest.mark.parametrize("rings", [24, 48, 96])
@pytest.mark.parametrize("angle", [0.15, 0.3, 0.6])
def test_a_smooth_lid_follows_the_ball(angle: float, rings: int) -> None:
    """The flat lid of a cap of half angle t lies R (1 - cos t) under the ball. A plate clamped
    along the ring at the ball's slope is the paraboloid of height a tan(t) / 2, which is higher
    by R t^4 / 8 + ... (series of the closed forms). The slope at the ring is only known from
    chords of the edge length h, which turn by h / R; over the radius a that is at most
    a h / 2R, and the ring is ragged by an edge."""
    radius = 60.0
    ball, cut = cut_ball(angle, rings=rings, radius=radius)
    done = closed_loops(cut, open_loops(cut), how="smooth")
    new = done.mesh.vertices_mm[len(cut.vertices_mm) :]
    height = np.abs(np.linalg.norm(new, axis=1) - radius).max()
    outer = angle + longest_edge(ball) / radius
    exact = radius * (np.sin(outer) * np.tan(outer) / 2 - (1 - np.cos(outer)))
    step = longest_edge(ball)
    assert height < exact + step * step / (8 * radius) * 2
    assert is_closed(done.mesh)
    flat = closed_loops(cut, open_loops(cut), how="flat")
    short_flat = ball.volume_mm3 - flat.mesh.volume_mm3
    assert abs(ball.volume_mm3 - done.mesh.volume_mm3) < 0.15 * short_flat


@pytest.mark.parametrize("how", HOW)
def test_a_hole_in_a_plane_is_closed_in_the_plane(how: str) -> None:
    """Turned askew, every lid vertex lies in the plane to rounding; the area is restored."""
    whole = grid(20)
    centres = whole.face_centres_mm
    hole = np.linalg.norm((centres - [10, 10, 0]) / [1.0, 0.6, 1.0], axis=1) < 5
    matrix = m.turning(40.0, (1, 2, 3), (5, -20, 9))
    cut = whole.with_faces(~hole).moved(matrix)
    loops = open_loops(cut)
    inner = [loop for loop in loops if len(loop) < 80]
    assert len(inner) == 1
    done = closed_loops(cut, inner, how=how)
    back = done.mesh.vertices_mm @ np.linalg.inv(matrix)[:3, :3].T + np.linalg.inv(matrix)[:3, 3]
    assert np.abs(back[:, 2]).max() < 1e-10
    assert done.mesh.area_mm2 == pytest.approx(400.0, rel=1e-12)
    assert done.lids[0].area_mm2 == pytest.approx(whole.face_areas_mm2[hole].sum(), rel=1e-12)
    assert done.lids[0].height_mm < 1e-10
    assert (done.mesh.face_areas_mm2 > 1e-6).all()
    assert (len(done.mesh.vertices_mm) > len(cut.vertices_mm)) == (how == "smooth")


@pytest.mark.parametrize("how", HOW)
def test_a_hole_over_the_corner_of_a_box_is_closed(how: str) -> None:
    """Everything within 15 mm of a corner is gone; what the lid can win back or lose is less
    than the 15 mm cube there."""
    whole = m.divided(m.box(size_mm=(60, 50, 40)), 4)
    cut = whole.with_faces(np.linalg.norm(whole.face_centres_mm, axis=1) > 15)
    done = closed_loops(cut, open_loops(cut), how=how)
    assert is_closed(done.mesh)
    assert len(np.unique(components(done.mesh))) == 1
    assert abs(done.mesh.volume_mm3 - 60 * 50 * 40) < 15**3


@pytest.mark.parametrize("how", HOW)
def test_a_hole_in_a_tube_is_closed(how: str) -> None:
    """A plane over a hole of half width a lies R - sqrt(R^2 - a^2) under the tube. The flat lid
    does far better, for it bends least along the straight lines of the tube."""
    n, rows, radius = 96, 60, 30.0
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    z = np.arange(rows + 1) * 2.0
    points = np.stack(
        [
            np.tile(radius * np.cos(turn), rows + 1),
            np.tile(radius * np.sin(turn), rows + 1),
            np.repeat(z, n),
        ],
        axis=1,
    )
    a = (np.arange(rows)[:, None] * n + np.arange(n)).ravel()
    b = (np.arange(rows)[:, None] * n + (np.arange(n) + 1) % n).ravel()
    tube = Mesh(
        points, np.concatenate([np.stack([a, b, b + n], 1), np.stack([a, b + n, a + n], 1)])
    )
    away = np.linalg.norm(tube.face_centres_mm - [radius, 0, 60], axis=1)
    cut = tube.with_faces(away > 12)
    hole = [loop for loop in open_loops(cut) if len(loop) != n]
    assert len(hole) == 1
    done = closed_loops(cut, hole, how=how)
    assert len(open_loops(done.mesh)) == 2
    lid = done.lids[0]
    faces = done.mesh.faces[lid.first_face : lid.first_face + lid.faces]
    centres = done.mesh.vertices_mm[faces].mean(axis=1)
    short = np.abs(radius - np.hypot(centres[:, 0], centres[:, 1])).max()
    sagitta = radius - np.sqrt(radius**2 - 12**2)
    assert short < sagitta / 3


@pytest.mark.parametrize("how", HOW)
def test_holes_that_touch_in_a_vertex_are_closed_one_by_one(how: str) -> None:
    """Three of the six faces around an inner vertex are gone, every second one: three holes of
    three edges that share the vertex; and two squares that share a corner."""
    ball = m.ball(rings=12)
    hub = 200
    around = np.flatnonzero((ball.faces == hub).any(axis=1))
    assert len(around) == 6
    at = ball.face_centres_mm[around] - ball.vertices_mm[hub]
    out = ball.vertices_mm[hub] / np.linalg.norm(ball.vertices_mm[hub])
    side = np.cross(out, [0, 0, 1.0])
    order = around[np.argsort(np.arctan2(at @ np.cross(out, side), at @ side))]
    cut = m.without(ball, *order[::2])
    done = closed_loops(cut, open_loops(cut), how=how)
    assert len(done.lids) == 3
    assert is_closed(done.mesh)
    assert done.mesh.volume_mm3 == pytest.approx(ball.volume_mm3, rel=1e-9)

    flat = grid(12)
    x, y = flat.face_centres_mm[:, 0], flat.face_centres_mm[:, 1]
    gone = ((x > 3) & (x < 6) & (y > 3) & (y < 6)) | ((x > 6) & (x < 9) & (y > 6) & (y < 9))
    holed = flat.with_faces(~gone)
    inner = [loop for loop in open_loops(holed) if len(loop) < 48]
    closed = closed_loops(holed, inner, how=how)
    assert len(closed.lids) == 2
    assert closed.mesh.area_mm2 == pytest.approx(144.0)
    assert [len(loop) for loop in open_loops(closed.mesh)] == [48]


@pytest.mark.parametrize("how", HOW)
def test_lids_never_use_an_edge_that_is_there(how: str) -> None:
    """Two open tents whose rings are one square: each lid would take the same diagonal."""
    low = Mesh(
        [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 1], [0.5, 0.5, -1]],
        [[0, 1, 4], [2, 3, 4], [1, 0, 5], [3, 2, 5]],
    )
    loops = open_loops(low)
    done = closed_loops(low, loops, how=how)
    assert edge_table(done.mesh).count.max() <= 2
    # a tetrahedron without two faces: the ring's only inner edges are both taken
    bare = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 2, 1], [0, 1, 3]])
    shut = closed_loops(bare, open_loops(bare), how=how)
    assert is_closed(shut.mesh)
    assert edge_table(shut.mesh).count.max() == 2


@pytest.mark.parametrize("how", HOW)
def test_rings_with_repeated_and_collinear_places_are_closed(how: str) -> None:
    """A slit along the grid, its two sides apart by nothing."""
    flat = grid(10)
    line = [5 * 11 + j for j in range(3, 8)]
    split = np.array(flat.faces)
    above = flat.face_centres_mm[:, 0] > 5
    copies = len(flat.vertices_mm) + np.arange(len(line))
    for old, new in zip(line[1:-1], copies[1:-1], strict=True):
        split[above] = np.where(split[above] == old, new, split[above])
    slit = Mesh(np.concatenate([flat.vertices_mm, flat.vertices_mm[line]]), split)
    crack = [loop for loop in open_loops(slit) if len(loop) < 40]
    assert [len(loop) for loop in crack] == [8]
    assert small_loops(slit, crack) == [True]
    done = closed_loops(slit, crack, how=how)
    assert [len(loop) for loop in open_loops(done.mesh)] == [40]
    assert done.lids[0].area_mm2 == pytest.approx(0.0, abs=1e-12)
    assert np.isfinite(done.mesh.vertices_mm).all()


@pytest.mark.parametrize("how", HOW)
def test_what_was_there_stays(how: str) -> None:
    _, cut = cut_ball(0.3, rings=24)
    done = close_loops(cut, open_loops(cut), how=how)
    assert np.array_equal(done.faces[: len(cut.faces)], cut.faces)
    assert np.array_equal(done.vertices_mm[: len(cut.vertices_mm)], cut.vertices_mm)
    assert close_loops(cut, [], how=how) is cut


def test_a_loop_that_is_no_ring_of_open_edges_is_left() -> None:
    ball = m.ball(rings=6)
    done = closed_loops(ball, [ball.faces[0]])
    assert done.mesh is ball
    assert done.left == (0,)


def test_turning_and_scaling_change_nothing_but_places() -> None:
    _, cut = cut_ball(0.4, rings=24)
    matrix = 2.5 * m.turning(63.0, (3, 1, 2), (0, 0, 0))
    matrix[3, 3] = 1.0
    one = closed_loops(cut, open_loops(cut), how="smooth")
    moved = cut.moved(matrix)
    two = closed_loops(moved, open_loops(moved), how="smooth")
    assert two.mesh.volume_mm3 == pytest.approx(2.5**3 * one.mesh.volume_mm3, rel=1e-4)
    assert two.lids[0].height_mm == pytest.approx(2.5 * one.lids[0].height_mm, rel=1e-2)


def test_small_holes_are_told_from_openings() -> None:
    ball = m.ball(radius_mm=60, rings=48)
    pin = m.without(ball, int(ball.face_centres_mm[:, 0].argmax()))
    eye = pin.with_faces(pin.face_centres_mm / 60.0 @ np.array([0, 1, 0]) < np.cos(0.2))
    loops = open_loops(eye)
    lengths = loop_lengths_mm(eye, loops)
    assert small_loops(eye, loops) == [bool(length <= SMALL_HOLE_MM) for length in lengths]
    assert sorted(small_loops(eye, loops)) == [False, True]


def test_many_holes_are_closed_at_once() -> None:
    """Each ball of three has its own hole; the report lists each lid's own faces."""
    _, cut = cut_ball(0.3, rings=16)
    shifted = [cut.moved(m.turning(0.0, (0, 0, 1), (150 * i, 0, 0))) for i in range(3)]
    three = joined(shifted)
    done = closed_loops(three, open_loops(three), how="smooth")
    assert is_closed(done.mesh)
    assert len(done.lids) == 3
    last = done.lids[-1]
    assert last.first_face + last.faces == len(done.mesh.faces)
    heights = [lid.height_mm for lid in done.lids]
    assert heights == pytest.approx([heights[0]] * 3, rel=1e-6)


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("seed", range(9))
def test_whatever_is_torn_out_the_mesh_is_closed_again(seed: int, how: str) -> None:
    """Scattered faces, clean patches, and patches with islands left in them: closed, no edge
    with a third face, what was there unchanged."""
    rng = np.random.default_rng(seed)
    whole = (m.ball(rings=20), m.divided(m.box(), 3), shapes.torus(40, 12, 48))[seed % 3]
    centres, count = whole.face_centres_mm, len(whole.faces)
    gone = np.zeros(count, dtype=np.bool_)
    if seed < 3:
        gone[rng.choice(count, count // 8, replace=False)] = True
    else:
        for centre in centres[rng.integers(count, size=4)]:
            gone |= np.linalg.norm(centres - centre, axis=1) < rng.uniform(3, 12)
        gone &= rng.random(count) < (0.8 if seed < 6 else 1.0)
    cut = whole.with_faces(~gone)
    done = closed_loops(cut, open_loops(cut), how=how)
    assert is_closed(done.mesh)
    assert edge_table(done.mesh).count.max() == 2
    assert np.array_equal(done.mesh.faces[: len(cut.faces)], cut.faces)
    if seed >= 6:  # clean patches are closed without the lids passing through anything
        assert not crosses_itself(done.mesh)


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize(
    "mesh",
    [
        Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)),
        Mesh(np.zeros((4, 3)), [[0, 1, 2], [0, 2, 3]]),
        Mesh([[0, 0, 0], [1, 0, 0], [2, 0, 0], [3, 0, 0]], [[0, 1, 2], [1, 2, 3]]),
        m.soup(m.ball(rings=6)),
        m.scrap(),
        m.twisted_strip(),
        m.with_collapsed(m.dome(rings=8)),
        m.with_repeated(m.dome(rings=8), 3),
        m.with_turned(m.without(m.ball(), 5), 3, 4, 6, 9),
        m.with_inner_wall(),
        m.pinched(),
        m.hourglass(),
    ],
)
def test_broken_meshes_get_no_worse(mesh: Mesh, how: str) -> None:
    """No open edge more than before, no edge with a third face that had fewer, no place that
    is not a number."""
    before = edge_table(mesh)
    done = closed_loops(mesh, open_loops(mesh), how=how)
    after = edge_table(done.mesh)
    assert np.isfinite(done.mesh.vertices_mm).all()
    assert (after.count == 1).sum() <= (before.count == 1).sum()
    assert (after.count > 2).sum() == (before.count > 2).sum()
    if not done.left:
        assert (after.count == 1).sum() == 0


@pytest.mark.parametrize("rings", [24, 48, 96])
def test_a_smooth_lid_goes_on_without_a_crease(rings: int) -> None:
    """Across the ring it bends no more than twice as much as the ball's own faces do, whose
    bends come from their edge length over the radius; the flat lid bends by about the half
    angle of the hole, 17 degrees."""
    _, cut = cut_ball(0.3, rings=rings)
    own, at_ring = {}, {}
    for how in HOW:
        done = closed_loops(cut, open_loops(cut), how=how)
        table = edge_table(done.mesh)
        sides = table.sides.reshape(-1, 2)
        cosine = done.mesh.face_normals[sides // 3].prod(axis=1).sum(axis=1)
        given_ = (sides // 3 < len(cut.faces)).sum(axis=1)
        bend = np.arccos(np.clip(cosine, -1, 1))
        own[how], at_ring[how] = bend[given_ == 2].max(), bend[given_ == 1].max()
    assert at_ring["smooth"] < 2 * own["smooth"]
    assert at_ring["flat"] > 2 * own["flat"]
