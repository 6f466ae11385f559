"""What a pull can reach and what locks, against closed forms, laws and a plain ray caster."""

from __future__ import annotations

from itertools import pairwise

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from trimesh.ray.ray_triangle import RayMeshIntersector

import menagerie
import mould_cases
import shapes
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.access import (
    free_quarters,
    not_on_board,
    off_board,
    proxy_of,
    pull_directions,
    reachable,
    what_locks,
)

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
QUARTERS = np.array([[2, 2, 2], [4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6.0


def locked_share(mesh: Mesh, pulls: object, draft_deg: float) -> float:
    free = reachable(mesh, pulls, draft_deg=draft_deg).any(axis=0)
    return float(mesh.face_areas_mm2[~free].sum() / mesh.area_mm2)


def random_ways(count: int, seed: int) -> NDArray[np.float64]:
    ways = np.random.default_rng(seed).normal(size=(count, 3))
    return np.asarray(ways / np.linalg.norm(ways, axis=1, keepdims=True))


def by_rays(mesh: Mesh, ways: NDArray[np.float64], draft_deg: float) -> NDArray[np.uint8]:
    """The same four bits by a general ray caster in double precision, without any culling."""
    engine = RayMeshIntersector(trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False))
    out = np.zeros((len(ways), len(mesh.faces)), dtype=np.uint8)
    for row, way in zip(out, ways, strict=True):
        leans = np.flatnonzero(mesh.face_normals @ way >= np.sin(np.radians(draft_deg)))
        for bit, weights in enumerate(QUARTERS):
            start = np.einsum("k,fkj->fj", weights, mesh.corners_mm[leans])
            start = start + 1e-6 * mesh.face_normals[leans]
            hit = engine.intersects_any(start, np.tile(way, (len(start), 1)))
            row[leans[~hit]] |= np.uint8(1 << bit)
    return out


def overhang() -> Mesh:
    """A mushroom whose cap overhangs its stem on one side, faces of mixed size."""
    stem = manifold3d.Manifold.cylinder(40.0, 12.0, 9.0, 24)
    cap = manifold3d.Manifold.sphere(18.0, 32).scale((1.4, 0.8, 0.5)).translate((8.0, 0.0, 40.0))
    return mesh_of(stem + cap)


# Against a plain ray caster


@pytest.mark.parametrize("mesh", [shapes.torus(25.0, 10.0, 24), overhang()], ids=["ring", "cap"])
def test_it_agrees_with_a_plain_ray_caster_face_by_face(mesh: Mesh) -> None:
    """trimesh's own triangle intersector: other code, no sorting into cells, no culling."""
    ways = np.vstack([random_ways(5, seed=4), [UP, (0.8, 0.36, 0.48)]])
    ours = free_quarters(mesh, ways, draft_deg=2.0)
    assert (ours == by_rays(mesh, ways, 2.0)).all()
    assert 0 < (ours == 15).sum() < (ours > 0).sum() < ours.size  # some faces are cut by shadow


def test_long_slivers_and_scattered_specks_agree_with_the_plain_ray_caster() -> None:
    """Large faces next to small ones: the cells are made for neither."""
    needle = mesh_of(manifold3d.Manifold.cube((300.0, 0.5, 0.3)).rotate((10, 20, 30)))
    crumbs = [
        menagerie.ball(radius_mm=1.5, rings=4, at=tuple(at))
        for at in np.random.default_rng(1).uniform((0, -40, -60), (200, 100, -5), (12, 3))
    ]
    mesh = joined([needle, *crumbs])
    ways = random_ways(8, seed=2)
    ours = free_quarters(mesh, ways, draft_deg=1.0)
    assert (ours == by_rays(mesh, ways, 1.0)).all()


# Closed forms


def test_a_ring_pulled_sideways_locks_on_its_inside() -> None:
    """Both opposite pulls across the axis together leave (pi R - 2 a) / (2 pi R) of a torus.

    Derived here: in every slice across the axis the inner circle is hidden behind the ring and
    the outer one is not; the part of the tube nearer to the axis than R has the area
    2 pi a (pi R - 2 a) of 4 pi^2 R a. Facets change the shares by less than the square of the
    angle between them; 0.436338 for R = 50, a = 10.
    """
    n = 192
    share = locked_share(shapes.torus(50.0, 10.0, n), [(1, 0, 0), (-1, 0, 0)], 0.0)
    exact = (np.pi * 50.0 - 20.0) / (100.0 * np.pi)
    assert exact == pytest.approx(0.436338, abs=1e-6)
    # and the two columns of outer faces that stand exactly across the pull may go either way
    assert share == pytest.approx(exact, abs=(2 * np.pi / n) ** 2 + 2 / n)


@pytest.mark.parametrize("draft_deg", [5.0, 10.0, 20.0])
def test_a_ring_pulled_along_its_axis_locks_only_for_want_of_draft(draft_deg: float) -> None:
    """The share of a torus that leans less than the draft is 2 draft / pi, whatever its radii.

    Derived here: the bands |b| < draft on the outside and the inside of the tube have the area
    2 pi a * 2 draft * ((R + ..) + (R - ..)) = 8 pi R a draft of 4 pi^2 R a. A band ends within
    one of the m steps around the tube.
    """
    n = 192
    ring = shapes.torus(50.0, 10.0, n)
    exact = 2 * np.radians(draft_deg) / np.pi
    assert locked_share(ring, [UP, DOWN], draft_deg) == pytest.approx(exact, abs=4 * 1.2 / (n / 2))


def test_a_ring_pulled_both_ways_along_its_axis_locks_nowhere() -> None:
    """Ahn et al. 2002 (doi 10.1016/S0010-4485(01)00119-1): two opposite pulls cast what each
    line along them meets once; a torus along its axis is of that kind. Facets of m around the
    tube lean by pi / m at the least."""
    assert what_locks(shapes.torus(50.0, 10.0, 96), [UP, DOWN], draft_deg=3.0, speck_mm2=0) == ()


@pytest.mark.parametrize(("draft_deg", "share"), [(35.2, 0.5), (35.3, 0.0)])
def test_a_box_shows_three_sides_along_its_diagonal(draft_deg: float, share: float) -> None:
    """n . d = 1 / sqrt(3) on three faces of a cube: a draft of up to 35.264 degrees."""
    cube = menagerie.box(size_mm=(30, 30, 30))
    assert locked_share(cube, [(1, 1, 1)], draft_deg) == pytest.approx(1 - share)


def test_a_cone_has_the_draft_of_its_half_angle() -> None:
    """Pulled from its tip; n flat sides stand at the apothem r cos(pi / n)."""
    n = 48
    cone = shapes.cone(20.0, 60.0, n)
    exact = np.degrees(np.arctan(20.0 * np.cos(np.pi / n) / 60.0))
    for draft_deg, locks in ((exact - 0.01, 0), (exact + 0.01, 1)):
        found = what_locks(cone, UP, draft_deg=draft_deg, on_board=True)
        assert len(found) == locks


def test_a_ball_is_reached_within_a_cap() -> None:
    """The share (1 - sin draft) / 2 of a sphere leans toward a pull by the draft (Archimedes)."""
    rings = 90
    ball = menagerie.ball(rings=rings)
    for draft_deg in (0.0, 11.0, 33.0):
        exact = 1 - (1 - np.sin(np.radians(draft_deg))) / 2
        # the border runs within one ring of the mesh
        assert locked_share(ball, [UP], draft_deg) == pytest.approx(exact, abs=np.pi / rings / 2)


# Laws


@settings(max_examples=12, deadline=None)
@given(
    st.floats(0, 360),
    st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda a: np.linalg.norm(a) > 0.1),
    st.booleans(),
)
def test_turning_or_mirroring_body_and_pulls_together_changes_nothing(
    degrees: float, axis: tuple[float, float, float], mirrored: bool
) -> None:
    body, ways = overhang(), random_ways(4, seed=7)
    matrix = menagerie.turning(degrees, axis, (30.0, -200.0, 7.0))
    if mirrored:
        matrix = matrix @ np.diag([-1.0, 1.0, 1.0, 1.0])
    before = reachable(body, ways, draft_deg=3.0)
    after = reachable(body.moved(matrix), ways @ matrix[:3, :3].T, draft_deg=3.0)
    assert (before == after).all()


@pytest.mark.parametrize("scale", [1e-3, 1e3])
def test_scale_changes_nothing(scale: float) -> None:
    body, ways = overhang(), random_ways(4, seed=7)
    larger = Mesh(scale * body.vertices_mm, body.faces)
    assert (
        reachable(body, ways, draft_deg=3.0) == reachable(larger, 17.0 * ways, draft_deg=3.0)
    ).all()


def test_more_draft_never_reaches_more() -> None:
    body, ways = overhang(), random_ways(20, seed=9)
    reached = [reachable(body, ways, draft_deg=d) for d in (0.0, 3.0, 10.0, 40.0)]
    for less, more in pairwise(reached):
        assert not (more & ~less).any()
        assert more.sum() < less.sum()


def test_a_second_body_in_the_way_only_takes_away() -> None:
    body, ways = menagerie.divided(menagerie.box(), 3), random_ways(20, seed=3)
    alone = reachable(body, ways, draft_deg=2.0)
    with_other = reachable(joined([body, menagerie.ball(at=(0, 0, 110))]), ways, draft_deg=2.0)
    kept = with_other[:, : len(body.faces)]
    assert not (kept & ~alone).any()
    assert kept.sum() < alone.sum()


# Directions


@pytest.mark.parametrize("divisions", [1, 2, 6, 9, 12])
def test_the_directions_are_as_many_and_as_dense_as_stated(divisions: int) -> None:
    ways = pull_directions(divisions=divisions)
    assert len(ways) == 4 * divisions**2 + 2 == len(np.unique(ways.round(9), axis=0))
    assert np.linalg.norm(ways, axis=1) == pytest.approx(1.0)
    if divisions > 1:
        nearest = (random_ways(4000, seed=0) @ ways.T).max(axis=1)
        assert np.arccos(nearest.min()) <= np.arcsin(min(1.0, 2 / divisions))


def test_directions_hold_the_diagonals_they_promise() -> None:
    for divisions, diagonal in ((12, (1, 1, 0)), (12, (1, 1, 1)), (9, (1, -1, 1)), (2, (0, 1, -1))):
        unit = np.array(diagonal) / np.linalg.norm(diagonal)
        assert (pull_directions(divisions=divisions) @ unit).max() == pytest.approx(1.0)


def test_off_the_board_means_rising_by_the_draft() -> None:
    lean = np.radians([4.9, 5.1, -5.1, 90.0])
    ways = np.column_stack([np.cos(lean), 0 * lean, np.sin(lean)])
    assert off_board(ways, draft_deg=5.0).tolist() == [False, True, False, True]


# Places that lock


def grooved() -> Mesh:
    """A block with two grooves of known area in its sides, faces of 2 mm."""
    block = manifold3d.Manifold.cube((60.0, 40.0, 50.0)).translate((-30.0, -20.0, 0.0))
    wide = manifold3d.Manifold.cube((10.0, 50.0, 12.0)).translate((25.0, -25.0, 20.0))
    slim = manifold3d.Manifold.cube((4.0, 50.0, 6.0)).translate((-30.0, -25.0, 30.0))
    return mesh_of((block - wide - slim).refine_to_length(2.0))


def test_grooves_are_named_by_place_the_larger_first() -> None:
    """Pulled straight up without draft, the roof of a groove locks, and under it the floor and
    the upright wall between them; the wall of the block below slides past its edge."""
    large, small = what_locks(grooved(), UP, draft_deg=0.0, on_board=True)
    # 5 mm deep, 12 high, and 4 deep, 6 high, over 40 mm
    assert large.area_mm2 == pytest.approx((5 + 12 + 5) * 40.0)
    assert small.area_mm2 == pytest.approx((4 + 6 + 4) * 40.0)
    assert large.at_mm[0] > 24 and large.at_mm[2] == pytest.approx(26.0, abs=6.1)
    assert small.at_mm[0] < -24 and small.at_mm[2] == pytest.approx(33.0, abs=3.1)
    assert np.linalg.norm(large.normal) == pytest.approx(1.0)
    assert "lock near" in large.sentence


def test_places_hold_every_locked_face_once_and_lie_on_the_surface() -> None:
    body, pulls = overhang(), random_ways(1, seed=5)
    places = what_locks(body, pulls, draft_deg=3.0, speck_mm2=0.0)
    locked = np.flatnonzero(~reachable(body, pulls, draft_deg=3.0).any(axis=0))
    assert sorted(np.concatenate([p.faces for p in places])) == locked.tolist()
    areas = [p.area_mm2 for p in places]
    assert areas == sorted(areas, reverse=True)
    _, away, _ = trimesh.proximity.closest_point(
        trimesh.Trimesh(body.vertices_mm, body.faces), [p.at_mm for p in places]
    )
    assert away == pytest.approx(0.0, abs=1e-9)


def test_specks_are_left_out() -> None:
    dimple = manifold3d.Manifold.cube((4.0, 2.0, 2.0)).translate((28.0, 0.0, 20.0))
    block = manifold3d.Manifold.cube((60.0, 40.0, 50.0)).translate((-30.0, -20.0, 0.0))
    body = mesh_of((block - dimple).refine_to_length(1.0))
    assert what_locks(body, UP, draft_deg=0.0, on_board=True) == ()
    assert len(what_locks(body, UP, draft_deg=0.0, on_board=True, speck_mm2=4.0)) == 1


def test_the_floor_on_the_board_need_not_be_reached() -> None:
    block = menagerie.box()
    assert what_locks(block, UP, draft_deg=0.0, on_board=True) == ()
    (floor,) = what_locks(block, UP, draft_deg=0.0)
    assert floor.normal == pytest.approx((0, 0, -1))


# The skin on its board


def test_the_proxy_of_a_skin_is_a_closed_surface_over_the_board_near_the_skin() -> None:
    """A half ball of 40 mm under 6 mm of silicone: the proxy's top is a ball of 46 mm."""
    body = mould_cases.standing_body(shapes.hemisphere(40.0))
    shape = mould_cases.skin_of(body, step_mm=1.5, flange_width_mm=25.0)
    proxy = proxy_of(shape)
    solid(proxy)  # refuses what is not closed
    assert proxy.bounds_mm[0, 2] == 0.0
    floor = ~not_on_board(proxy)
    # the flange ends 25 mm beyond the body, to half a step of the grid it is shaped on
    rim = np.sqrt(proxy.face_areas_mm2[floor].sum() / np.pi)
    assert rim == pytest.approx(65.0, abs=0.75)
    top = proxy.vertices_mm[proxy.vertices_mm[:, 2] > 20.0]
    # a chord of 3 mm dips 3^2 / (8 * 46) under the ball, diagonals of cells three times that
    dip = 3 * 3.0**2 / (8 * 46.0)
    assert np.linalg.norm(top, axis=1) == pytest.approx(46.0, abs=0.3 + dip)


# Refusals


def test_what_cannot_be_pulled_is_named() -> None:
    cube = menagerie.box()
    cases = [
        (menagerie.open_box(), [UP], 2.0, "not_a_solid"),
        (Mesh(np.zeros((0, 3)), np.zeros((0, 3))), [UP], 2.0, "no_triangles"),
        (cube, np.zeros((0, 3)), 2.0, "no_pulls"),
        (cube, [(0, 0, 0)], 2.0, "no_pulls"),
        (cube, [(0, 0, np.nan)], 2.0, "no_pulls"),
        (cube, [UP], -1.0, "draft_out_of_range"),
        (cube, [UP], 90.0, "draft_out_of_range"),
        (cube, [UP], float("nan"), "draft_out_of_range"),
    ]
    for mesh, pulls, draft_deg, code in cases:
        with pytest.raises(WorkshopError) as refused:
            reachable(mesh, pulls, draft_deg=draft_deg)
        assert refused.value.code == code
