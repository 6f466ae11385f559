"""Borders that run alongside each other are found, and joined where that is right."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import menagerie as m
from firstpull.core.mesh.check.misfits import TOL_MM, default_tol_mm, find_misfits
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.repair.stitch import stitched
from firstpull.core.mesh.topology import edge_table, is_closed, open_loops


def moved(mesh: Mesh, *by: float) -> Mesh:
    return mesh.moved(m.turning(0.0, (0, 0, 1), by or (0.0, 0.0, 0.0)))


def halves(rings: int, *by: float) -> Mesh:
    """A ball cut in two along a zigzag of faces, one part shifted."""
    ball = m.ball(rings=rings)
    right = ball.face_centres_mm[:, 0] > 3
    return joined([ball.with_faces(right), moved(ball.with_faces(~right), *by)])


def lidded_box(coarse: int, fine: int, *by: float) -> Mesh:
    """A box whose lid is divided more finely than its walls, and shifted: each edge of the
    coarse rim has 2^(fine - coarse) - 1 vertices of the lid beside it."""
    walls = m.divided(m.box(size_mm=(60, 50, 40)), coarse)
    lid = m.divided(m.box(size_mm=(60, 50, 40)), fine)
    walls = walls.with_faces(walls.face_centres_mm[:, 2] < 39.9)
    return joined([walls, moved(lid.with_faces(lid.face_centres_mm[:, 2] > 39.9), *by)])


def seam(left: list[float], right: list[float], gap_mm: float = 0.0) -> Mesh:
    """Two flat strips 5 mm wide that meet along x = 0 with vertices at these heights."""

    def strip(heights: list[float], at: float, far: float) -> Mesh:
        y = np.array(heights)
        near = np.stack([np.full(len(y), at), y, 0 * y], axis=1)
        away = np.stack([np.full(len(y), far), y, 0 * y], axis=1)
        i, n = np.arange(len(y) - 1), len(y)
        faces = np.concatenate(
            [np.stack([i, i + n, i + 1], 1), np.stack([i + 1, i + n, i + n + 1], 1)]
        )
        return Mesh(np.concatenate([near, away]), faces if far > at else faces[:, ::-1])

    return joined([strip(left, 0.0, -5.0), strip(right, gap_mm, gap_mm + 5.0)])


def misfits(mesh: Mesh, **options: float) -> tuple[int, int, int]:
    found = find_misfits(mesh, **options)
    return found.near_vertices, found.t_joints, found.misaligned


# Finding.


def test_a_shifted_half_is_found_at_each_vertex_of_its_border() -> None:
    mesh = halves(24, 0.01, 0.02, 0.0)
    border = len(open_loops(mesh)[0])
    found = find_misfits(mesh)
    assert misfits(mesh) == (border, 0, 0)
    assert found.pair_gap_mm == pytest.approx(np.hypot(0.01, 0.02), rel=1e-9)
    assert found.largest_gap_mm == pytest.approx(np.hypot(0.01, 0.02), rel=1e-9)
    assert found.pair_places_mm.shape == (border, 3)


@pytest.mark.parametrize("coarse, fine", [(0, 1), (1, 2), (1, 4)])
def test_t_joints_are_counted_one_by_one(coarse: int, fine: int) -> None:
    """The rim has 4 * 2^coarse edges and as many corners that are there twice."""
    rim = 4 * 2**coarse
    extra = rim * (2 ** (fine - coarse) - 1)
    assert misfits(lidded_box(coarse, fine)) == (rim, extra, 0)
    assert misfits(lidded_box(coarse, fine, 0.0, 0.0, 0.02)) == (rim, 0, extra)
    found = find_misfits(lidded_box(coarse, fine, 0.0, 0.0, 0.02))
    assert found.gap_mm == pytest.approx(0.02, rel=1e-6)
    assert (found.along > 0).all() and (found.along < 1).all()


def test_the_edge_named_is_the_one_beside_the_vertex() -> None:
    mesh = lidded_box(1, 3, 0.0, 0.0, 0.01)
    found = find_misfits(mesh)
    start = mesh.vertices_mm[mesh.faces[found.face, found.corner]]
    end = mesh.vertices_mm[mesh.faces[found.face, (found.corner + 1) % 3]]
    on = start + found.along[:, None] * (end - start)
    away = np.linalg.norm(mesh.vertices_mm[found.vertex] - on, axis=1)
    assert away == pytest.approx(found.gap_mm, abs=1e-12)


@pytest.mark.parametrize(
    "mesh",
    [m.ball(), m.dome(), m.box(), m.open_box(), m.cone(), m.hourglass(), m.scrap(), m.pinched()],
)
def test_nothing_is_found_in_what_has_no_misfit(mesh: Mesh) -> None:
    assert misfits(mesh) == (0, 0, 0)
    assert stitched(mesh).mesh is mesh


# What must not be joined.


def test_the_two_rims_of_a_thin_wall_are_not_joined() -> None:
    """Two skins of a dome 0.03 mm apart, each with its own rim: back to back."""
    outer = m.dome(radius_mm=80.0, rings=20)
    inner = m.dome(radius_mm=79.97, rings=20).flipped()
    both = joined([outer, inner])
    assert misfits(both, tol_mm=0.05) == (0, 0, 0)
    assert stitched(both, tol_mm=0.05).mesh is both


def test_a_real_hole_is_not_zipped_however_small() -> None:
    """A regular hexagon 0.03 mm across in a fine fan: its gap is twice its edges."""
    turn = np.radians(60 * np.arange(6))
    ring = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    i, j = np.arange(6), (np.arange(6) + 1) % 6
    faces = np.concatenate([np.stack([i, i + 6, j], 1), np.stack([j, i + 6, j + 6], 1)])
    holed = Mesh(np.concatenate([0.015 * ring, 20 * ring]), faces)
    assert misfits(holed, tol_mm=0.05) == (0, 0, 0)
    assert stitched(holed, tol_mm=0.05).mesh is holed


def test_borders_that_run_the_same_way_are_not_joined() -> None:
    """Two plates on each other, looking the same way."""
    plate = m.divided(m.box(), 1)
    plate = plate.with_faces(plate.face_centres_mm[:, 2] > 39.9)
    both = joined([plate, moved(plate, 0.0, 0.0, 0.02)])
    assert stitched(both).mesh is both


def test_beyond_the_tolerance_nothing_is_joined() -> None:
    mesh = halves(24, 0.0, 0.0, 0.06)
    assert stitched(mesh, tol_mm=0.05).mesh is mesh
    assert is_closed(stitched(mesh, tol_mm=0.07).mesh)


def test_three_borders_are_left_as_they_are() -> None:
    """Three fins that nearly meet in a line: which two belong together is not for stitching to
    say. Without the third, the other two are joined."""
    fin = Mesh([[0.0, 0, 0], [0, 0, 10], [9, 0, 5]], [[0, 1, 2]])
    fins = [
        fin.moved(
            m.turning(120.0 * k, (0, 0, 1), (0.005 * np.cos(2 * k), 0.005 * np.sin(2 * k), 0))
        )
        for k in range(3)
    ]
    fins[1] = fins[1].flipped()
    three = joined(fins)
    assert stitched(three, tol_mm=0.05).mesh is three
    assert stitched(joined(fins[:2]), tol_mm=0.05).edges_joined == 2


# Joining.


@pytest.mark.parametrize("rings", [12, 24, 48])
def test_two_halves_become_one_ball(rings: int) -> None:
    ball = m.ball(rings=rings)
    done = stitched(halves(rings, 0.01, 0.02, 0.0))
    assert is_closed(done.mesh)
    assert len(done.mesh.vertices_mm) == len(ball.vertices_mm)
    assert len(done.mesh.faces) == len(ball.faces)
    assert done.largest_gap_mm == pytest.approx(np.hypot(0.01, 0.02))
    assert done.largest_move_mm == pytest.approx(np.hypot(0.01, 0.02) / 2)
    # nothing moves further than the shift, so the volume changes by less than area x shift
    shift = np.hypot(0.01, 0.02)
    assert abs(done.mesh.volume_mm3 - ball.volume_mm3) < ball.area_mm2 * shift


@pytest.mark.parametrize("by", [(0.0, 0.0, 0.0), (0.02, 0.01, 0.015)])
@pytest.mark.parametrize("coarse, fine", [(0, 1), (1, 2), (1, 4)])
def test_a_finer_lid_is_stitched_to_its_box(
    coarse: int, fine: int, by: tuple[float, float, float]
) -> None:
    mesh = lidded_box(coarse, fine, *by)
    done = stitched(mesh)
    rim = 4 * 2**coarse
    extra = rim * (2 ** (fine - coarse) - 1)
    assert is_closed(done.mesh)
    assert (done.vertices_merged, done.edges_split) == (rim, extra)
    assert done.edges_joined == 2 * (rim + extra)
    shift = float(np.linalg.norm(by))
    assert done.largest_move_mm <= shift / 2 + 1e-12
    assert abs(done.mesh.volume_mm3 - 60 * 50 * 40) <= m.box().area_mm2 * 1.01 * shift + 1e-6


def test_faces_keep_their_numbers() -> None:
    """Face k lies where face k lay; what splitting adds comes after."""
    mesh = lidded_box(1, 2)
    done = stitched(mesh)
    normals = done.mesh.face_normals[: len(mesh.faces)]
    assert (normals * mesh.face_normals).sum(axis=1) == pytest.approx(1.0)
    whole = (done.mesh.face_areas_mm2[: len(mesh.faces)] / mesh.face_areas_mm2).round(9)
    assert (whole == 1.0).sum() == len(mesh.faces) - 8


@pytest.mark.parametrize("turned", [False, True])
def test_stitching_again_changes_nothing(turned: bool) -> None:
    for mesh in (halves(24, 0.01, 0.02, 0.0), lidded_box(1, 3, 0.02, 0.0, 0.02)):
        given_ = mesh.flipped() if turned else mesh
        once = stitched(given_).mesh
        assert stitched(once).mesh is once


def test_the_order_of_faces_and_vertices_changes_only_numbers() -> None:
    mesh = lidded_box(1, 3, 0.02, 0.0, 0.02)
    rng = np.random.default_rng(5)
    number = rng.permutation(len(mesh.vertices_mm))
    shuffled = np.empty_like(mesh.vertices_mm)
    shuffled[number] = mesh.vertices_mm
    other = Mesh(shuffled, number[mesh.faces][rng.permutation(len(mesh.faces))])
    one, two = stitched(mesh), stitched(other)
    assert is_closed(two.mesh)
    assert two.mesh.volume_mm3 == pytest.approx(one.mesh.volume_mm3, rel=1e-12)
    assert (one.vertices_merged, one.edges_split) == (two.vertices_merged, two.edges_split)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.integers(1, 99), max_size=12, unique=True),
    st.lists(st.integers(1, 99), max_size=12, unique=True),
    st.sampled_from([0.0, 0.004, 0.02]),
)
def test_any_two_borders_along_a_line_become_one(
    left: list[int], right: list[int], gap_mm: float
) -> None:
    """Vertices at whole tenths of a millimetre on each side of a seam 10 mm long: afterwards
    the seam has an edge between each two neighbours of the union, all joined."""
    left_y = [0.0, *(0.1 * k for k in sorted(left)), 10.0]
    right_y = [0.0, *(0.1 * k for k in sorted(right)), 10.0]
    mesh = seam(left_y, right_y, gap_mm)
    done = stitched(mesh, tol_mm=0.03)
    table = edge_table(done.mesh)
    assert table.count.max() == 2
    heights = {0, 100, *left, *right}
    on_seam = np.abs(done.mesh.vertices_mm[:, 0]) <= 0.03
    both = on_seam[table.ends].all(axis=1)
    assert (table.count[both] == 2).sum() == len(heights) - 1
    assert len(open_loops(done.mesh)) == 1
    assert done.mesh.area_mm2 == pytest.approx(100.0, abs=10 * gap_mm + 1e-9)
    assert done.largest_move_mm <= 0.03
    assert stitched(done.mesh, tol_mm=0.03).mesh is done.mesh


def test_the_tolerance_shrinks_with_the_part() -> None:
    assert default_tol_mm(m.ball()) == TOL_MM
    assert default_tol_mm(m.scrap()) < 0.002
    metres = Mesh(m.dome().vertices_mm / 1000, m.dome().faces)
    assert stitched(metres).mesh is metres


def can(around: int, cap: int, turn: float, *, radius: float = 30.0, high: float = 40.0) -> Mesh:
    """A can of three pieces: the side of so many facets, the caps of others, turned a little."""

    def ring(n: int, z: float, first: float) -> np.ndarray:
        a = first + np.linspace(0, 2 * np.pi, n, endpoint=False)
        return np.stack([radius * np.cos(a), radius * np.sin(a), 0 * a + z], axis=1)

    def lid(z: float) -> Mesh:
        a, b = np.arange(cap), (np.arange(cap) + 1) % cap
        fan = np.stack([a, b, np.full(cap, cap)], axis=1)
        return Mesh(np.concatenate([ring(cap, z, turn), [[0, 0, z]]]), fan if z else fan[:, ::-1])

    i, j = np.arange(around), (np.arange(around) + 1) % around
    side = Mesh(
        np.concatenate([ring(around, 0.0, 0.0), ring(around, high, 0.0)]),
        np.concatenate([np.stack([i, j, j + around], 1), np.stack([i, j + around, i + around], 1)]),
    )
    return joined([side, lid(0.0), lid(high)])


@pytest.mark.parametrize(
    "around, cap, turn", [(96, 64, 0.0), (97, 64, 0.0), (128, 128, 0.01), (64, 1000, 0.001)]
)
def test_borders_of_one_circle_in_different_facets_become_one(
    around: int, cap: int, turn: float
) -> None:
    """Chords of n facets lie up to R (1 - cos(pi / n)) under the circle: 0.036 mm at 64."""
    fewest = min(around, cap)
    sagitta = 30 * (1 - np.cos(np.pi / fewest))
    done = stitched(can(around, cap, turn), tol_mm=0.05)
    assert is_closed(done.mesh)
    assert done.largest_gap_mm <= 0.05
    # between the prisms inside the circle and the cylinder around it, by the bridged gap
    full = np.pi * 30**2 * 40
    assert full - 2 * np.pi * 30 * 40 * (sagitta + 0.05) < done.mesh.volume_mm3 < full


@pytest.mark.parametrize("seed", range(12))
def test_a_ball_in_four_jittered_slices_becomes_one(seed: int) -> None:
    """Each vertex is off by up to 0.008 mm along each axis, so a gap is up to
    2 * 0.008 * sqrt(3) = 0.028 mm and a move at most that."""
    rng = np.random.default_rng(seed)
    ball = m.ball(rings=int(rng.integers(10, 40)))
    axis = rng.normal(size=3)
    slice_ = np.digitize(ball.face_centres_mm @ axis / np.linalg.norm(axis), [-25, 0, 25])
    slices = [ball.with_faces(slice_ == k) for k in range(4)]
    off = [rng.uniform(-0.008, 0.008, part.vertices_mm.shape) for part in slices]
    shaken = [Mesh(s.vertices_mm + by, s.faces) for s, by in zip(slices, off, strict=True)]
    done = stitched(joined(shaken))
    assert is_closed(done.mesh)
    assert len(done.mesh.vertices_mm) == len(ball.vertices_mm)
    assert done.largest_gap_mm <= 2 * 0.008 * np.sqrt(3)
    assert done.largest_move_mm <= done.largest_gap_mm
    assert stitched(done.mesh).mesh is done.mesh
