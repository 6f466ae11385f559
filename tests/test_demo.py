"""The demo mask is a sound solid of even wall that one rigid shell cannot leave alone."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh

import shapes
from firstpull.core.demo import demo_sheet, heron
from firstpull.core.demo.heron import heron_half_mask
from firstpull.core.demo.shaping import DemoOutOfRange
from firstpull.core.mesh.grid import Grid, closest
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene

WALL_MM = 3.0


@pytest.fixture(scope="module")
def mask() -> Mesh:
    return heron_half_mask(triangles=100_000, wall_mm=WALL_MM)


@pytest.fixture(scope="module")
def as_trimesh(mask: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mask.vertices_mm, mask.faces, process=False)


def distance_from_middle(points: np.ndarray) -> np.ndarray:
    """The generator's own distance: above 0 on the show side, below 0 on the wearer's."""
    return np.array([heron._distance(abs(x), y, z) for x, y, z in points])


def test_it_is_one_closed_solid_with_two_eyes(as_trimesh: trimesh.Trimesh) -> None:
    """Closed, outward, one piece; a disc-like wall has genus 0 and each opening adds one."""
    assert as_trimesh.is_watertight and as_trimesh.is_winding_consistent
    assert as_trimesh.volume > 0
    assert as_trimesh.body_count == 1
    assert as_trimesh.euler_number == 2 - 2 * 2


def test_no_triangle_passes_through_another(mask: Mesh) -> None:
    """No edge pierces a face; and by libigl's winding number it winds 0 or 1 times anywhere."""
    assert shapes.self_crossings(mask) == 0
    rng = np.random.default_rng(7)
    points = rng.uniform(*mask.bounds_mm, size=(4000, 3))
    turns = igl.fast_winding_number(mask.vertices_mm, mask.faces.astype(np.int64), points)
    # libigl's default expansion is good to a few hundredths away from the surface
    far = np.sqrt(igl.point_mesh_squared_distance(points, mask.vertices_mm, mask.faces)[0]) > 0.5
    assert np.abs(turns - np.round(turns))[far].max() < 0.1
    assert set(np.round(turns[far]).astype(int)) == {0, 1}


def test_no_folded_or_needle_triangles(mask: Mesh) -> None:
    """Neighbouring faces never turn back on each other and no face is without area."""
    made = trimesh.Trimesh(mask.vertices_mm, mask.faces, process=False)
    assert mask.face_areas_mm2.min() > 1e-4 * np.median(mask.face_areas_mm2)
    assert made.face_adjacency_angles.max() < np.radians(120)


@pytest.mark.parametrize("wanted", [50_000, 100_000])
def test_the_triangle_count_lands_near_the_target(wanted: int, mask: Mesh) -> None:
    made = mask if wanted == 100_000 else heron_half_mask(triangles=wanted)
    assert abs(len(made.faces) / wanted - 1) < 0.05


@pytest.mark.long
def test_the_full_size_is_as_sound_as_the_small_one() -> None:
    made = heron_half_mask()
    full = trimesh.Trimesh(made.vertices_mm, made.faces, process=False)
    assert abs(len(made.faces) / 400_000 - 1) < 0.05
    assert full.is_watertight and full.body_count == 1 and full.euler_number == -2


def test_left_and_right_agree_exactly(mask: Mesh) -> None:
    mirrored = mask.vertices_mm * [-1.0, 1.0, 1.0]
    here = mask.vertices_mm[np.lexsort(mask.vertices_mm.T)]
    there = mirrored[np.lexsort(mirrored.T)]
    assert np.array_equal(here, there + 0.0)


def test_the_same_options_give_the_same_mesh() -> None:
    one, two = heron_half_mask(triangles=50_000), heron_half_mask(triangles=50_000)
    assert np.array_equal(one.vertices_mm, two.vertices_mm)
    assert np.array_equal(one.faces, two.faces)


def test_it_is_the_size_of_a_half_mask(mask: Mesh) -> None:
    """Wide enough for a head 150 mm broad between its sides; brow to lip high."""
    wide, high, deep = np.ptp(mask.bounds_mm, axis=0)
    assert 165 <= wide <= 175
    assert wide - 2 * WALL_MM > 150
    assert 120 <= high <= 150
    assert 100 <= deep <= 130


def test_the_eyes_are_where_eyes_are(mask: Mesh) -> None:
    """Rays along the view pass through openings 63 mm apart, about 34 x 20 mm."""
    step = 0.25
    x, y = np.meshgrid(np.arange(5, 60, step), np.arange(-20, 30, step), indexing="ij")
    start = np.stack([x.ravel(), y.ravel(), np.full(x.size, -40.0)], axis=1)
    free = ~RayScene(mask).is_blocked(start, [0, 0, 1])
    seen = start[free, :2]
    centre = seen.mean(axis=0)
    assert abs(2 * centre[0] - 63) < 3
    long_way = np.ptp(seen @ [0.978, 0.208])
    short_way = np.ptp(seen @ [-0.208, 0.978])
    # the edge is rounded by about 0.3 mm each side and the sampling adds a step
    assert abs(long_way - 34) < 2.5
    assert abs(short_way - 20) < 2.5


def test_the_wall_is_even(mask: Mesh) -> None:
    """From the inside, square through the wall: within 15 % of 3 mm away from rims and tip."""
    centres, normals = mask.face_centres_mm, mask.face_normals
    inside = distance_from_middle(centres) < -0.9 * WALL_MM / 2
    clear = np.array([heron._outline(abs(x), y, z) < -5 for x, y, z in centres])
    clear &= np.array([heron._eye(abs(x), y) > 5 for x, y, _ in centres])
    along = np.array([heron._bill_place(y, z)[0] for _, y, z in centres])
    chosen = inside & clear & (along < heron.HOLLOW_LONG_MM - 8)
    assert chosen.sum() > 20_000
    start = centres[chosen] - 1e-3 * normals[chosen]
    through = RayScene(mask).distance(start, -normals[chosen])
    within = np.abs(through / WALL_MM - 1) <= 0.15
    assert within.mean() > 0.95
    assert through.min() > 0.5 * WALL_MM


def test_nothing_is_thinner_than_half_the_wall(mask: Mesh) -> None:
    """Square through the solid from every face clear of the rounded edges of rim and lids."""
    centres, normals = mask.face_centres_mm, mask.face_normals
    clear = np.array([heron._outline(abs(x), y, z) < -2 for x, y, z in centres])
    clear &= np.array([heron._eye(abs(x), y) > 2 for x, y, _ in centres])
    start, inward = centres[clear], -normals[clear]
    through = RayScene(mask).distance(start + 1e-3 * inward, inward)
    assert through.min() > 1.5


def test_the_rim_is_wavy(mask: Mesh) -> None:
    """Height of the rim along the pull differs by 15 to 30 mm around the mask."""
    vertices = mask.vertices_mm
    edge = np.array([heron._outline(abs(x), y, z) for x, y, z in vertices]) > -0.8
    assert 15 <= np.ptp(vertices[edge, 2]) <= 30


def test_the_hollow_opens_backward(mask: Mesh) -> None:
    """Seen from behind, most of what is in view is the wearer's side."""
    low, high = mask.bounds_mm
    x, y = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]), indexing="ij")
    start = np.stack([x.ravel(), y.ravel(), np.full(x.size, low[2] - 10)], axis=1)
    face = RayScene(mask).hit_face(start, [0, 0, 1])
    seen = mask.face_centres_mm[np.unique(face[face >= 0])]
    assert (distance_from_middle(seen) < 0).mean() > 0.9


def test_parts_of_the_show_side_hide_from_the_front(mask: Mesh) -> None:
    """Lip under the bill and eyes under the brows: a real undercut along +z."""
    centres, normals = mask.face_centres_mm, mask.face_normals
    show = distance_from_middle(centres) > 0.9 * WALL_MM / 2
    hidden = RayScene(mask).is_blocked(centres[show] + 1e-2 * normals[show], [0, 0, 1])
    areas = mask.face_areas_mm2[show]
    assert areas[hidden].sum() / 100 > 15  # cm2
    under_brow = (centres[show][:, 1] > 8) & (np.abs(centres[show][:, 0]) > 15)
    assert areas[hidden & under_brow].sum() > 40  # mm2


def skin_field(mask: Mesh, step_mm: float) -> tuple[np.ndarray, Grid]:
    """Distance from the show side; below 0 within the body and its hollow."""
    centres = mask.face_centres_mm
    show = mask.with_faces(np.flatnonzero(distance_from_middle(centres) > 0))
    low, high = mask.bounds_mm
    grid = Grid.around(low - np.array([10, 10, 0]), high + np.array([10, 10, 12]), step_mm=step_mm)
    away, face = closest(show, grid)
    x, y, z = np.broadcast_arrays(*grid.axes())
    offset = np.stack([x, y, z], axis=-1) - show.face_centres_mm[face]
    behind = np.einsum("...i,...i->...", offset, show.face_normals[face]) < 0
    return np.where(behind, -away, away), grid


def fill_cm3(skin: np.ndarray, grid: Grid, pull: np.ndarray, zone: np.ndarray) -> float:
    """Room that a rigid piece cannot leave along its pull because skin stands in the way."""
    above_skin = np.logical_or.accumulate(skin, axis=2)  # elsewhere is board, not mask
    free = np.argwhere(~skin & above_skin & zone)
    blocked = np.zeros(len(free), dtype=bool)
    for travel in range(1, int(2 * max(grid.shape))):
        place = np.rint(free[~blocked] + 0.7 * travel * pull).astype(int)
        within = ((place >= 0) & (place < grid.shape)).all(axis=1)
        if not within.any():
            break
        hit = np.zeros(len(place), dtype=bool)
        hit[within] = skin[tuple(place[within].T)]
        blocked[np.flatnonzero(~blocked)[hit]] = True
    return float(blocked.sum() * grid.step_mm**3 / 1000)


def test_one_shell_piece_needs_much_fill_and_two_need_less(mask: Mesh) -> None:
    """At 6 mm of skin: above 20 cm3 in one piece along +z, clearly less split left and right."""
    away, grid = skin_field(mask, 2.0)
    skin = away < 6.0
    x, _, _ = np.broadcast_arrays(*grid.axes())
    one = fill_cm3(skin, grid, np.array([0.0, 0.0, 1.0]), np.ones_like(skin))
    two = []
    for angle in np.radians([30, 45, 60, 75]):
        pull = np.array([np.sin(angle), 0.0, np.cos(angle)])
        # left and right mirror each other: twice the right half
        two.append(2 * fill_cm3(skin, grid, pull, x > 0))
    assert one > 20
    assert min(two) < 0.6 * one


def test_what_cannot_be_made_is_refused() -> None:
    with pytest.raises(DemoOutOfRange, match="Wall is 9 mm"):
        heron_half_mask(wall_mm=9)
    with pytest.raises(DemoOutOfRange, match="Triangle count is 10"):
        heron_half_mask(triangles=10)


def test_a_thicker_wall_weighs_in_proportion() -> None:
    """Volume goes with the wall, but for the solid tip of the bill."""
    thin, thick = (heron_half_mask(triangles=60_000, wall_mm=w).volume_mm3 for w in (2.5, 3.5))
    assert abs(thick / thin / (3.5 / 2.5) - 1) < 0.02


def test_the_sheet_asks_for_six() -> None:
    job = demo_sheet()["job"]
    assert job["name"] == "Heron half-mask, river parade"
    assert job["good_castings"] == 6
