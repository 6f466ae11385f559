"""The warden's helmet is a sound solid of even wall that a head fits and one pull cannot leave."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh

from firstpull.core.demo import beetle_helmet, helmet
from firstpull.core.demo.shaping import DemoOutOfRange
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.rays import RayScene
from firstpull.core.mesh.tree import Tree

WALL_MM = 4.0


@pytest.fixture(scope="module")
def made() -> Mesh:
    return beetle_helmet(triangles=200_000, wall_mm=WALL_MM)


@pytest.fixture(scope="module")
def small() -> Mesh:
    return beetle_helmet(triangles=100_000, wall_mm=WALL_MM)


def distance_from_middle(points: np.ndarray) -> np.ndarray:
    """The generator's own distance: above 0 on the show side, below 0 on the wearer's."""
    return np.array([helmet._distance(abs(x), y, z) for x, y, z in points])


def test_it_is_one_closed_solid_with_a_visor(made: Mesh) -> None:
    """Closed, outward, one piece; a cap-like wall has genus 0 and the visor adds one."""
    again = trimesh.Trimesh(made.vertices_mm, made.faces, process=False)
    assert again.is_watertight and again.is_winding_consistent
    assert again.volume > 0
    assert again.body_count == 1
    assert again.euler_number == 2 - 2 * 1


def test_nothing_stands_in_the_way_of_print_or_mould(small: Mesh) -> None:
    assert [one.sentence for one in find_defects(small) if one.blocks] == []


@pytest.mark.long
def test_the_full_size_is_as_sound_as_the_small_one() -> None:
    assert [one.sentence for one in find_defects(beetle_helmet()) if one.blocks] == []


def test_no_point_is_enclosed_twice(made: Mesh) -> None:
    """By libigl's winding number it winds 0 or 1 times anywhere."""
    rng = np.random.default_rng(11)
    points = rng.uniform(*made.bounds_mm, size=(4000, 3))
    faces = made.faces.astype(np.int64)
    turns = igl.fast_winding_number(made.vertices_mm, faces, points)
    # libigl's default expansion is good to a few hundredths away from the surface
    far = np.sqrt(igl.point_mesh_squared_distance(points, made.vertices_mm, faces)[0]) > 0.5
    assert np.abs(turns - np.round(turns))[far].max() < 0.1
    assert set(np.round(turns[far]).astype(int)) == {0, 1}


def test_the_triangle_count_lands_near_the_target(made: Mesh) -> None:
    assert abs(len(made.faces) / 200_000 - 1) < 0.05


def test_left_and_right_agree_exactly(made: Mesh) -> None:
    mirrored = made.vertices_mm * [-1.0, 1.0, 1.0]
    here = made.vertices_mm[np.lexsort(made.vertices_mm.T)]
    there = mirrored[np.lexsort(mirrored.T)]
    assert np.array_equal(here, there + 0.0)


def test_the_same_options_give_the_same_mesh(small: Mesh) -> None:
    again = beetle_helmet(triangles=100_000, wall_mm=WALL_MM)
    assert np.array_equal(small.vertices_mm, again.vertices_mm)
    assert np.array_equal(small.faces, again.faces)


def test_it_is_the_size_of_a_full_helmet(made: Mesh) -> None:
    wide, high, deep = np.ptp(made.bounds_mm, axis=0)
    assert 240 <= wide <= 255
    assert 310 <= high <= 330
    assert 275 <= deep <= 295


def test_a_head_fits(made: Mesh) -> None:
    """Room for a head with padding: 165 mm between the ears, 215 from brow to nape, and a
    neck opening that a head 155 mm broad passes."""
    scene = RayScene(made)
    ways = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 0, 1], [0, 0, -1]])
    for height in (0.0, 40.0):
        right, left, _, _ = scene.distance(np.tile([0.0, height, 0.0], (4, 1)), ways)
        assert right + left >= 165
    right, left, front, back = scene.distance(np.tile([0.0, 45.0, 0.0], (4, 1)), ways)
    assert front + back >= 215
    near_rim = scene.distance(np.tile([0.0, -115.0, 0.0], (4, 1)), ways)
    assert near_rim[0] + near_rim[1] > 155
    assert near_rim[2] + near_rim[3] > 205


def test_both_eyes_look_out(made: Mesh) -> None:
    """Rays forward from where eyes are, 63 mm apart, pass the visor; between visor and chin
    nothing is open."""
    eyes = np.array([[-31.5, 16.0, 40.0], [31.5, 16.0, 40.0]])
    scene = RayScene(made)
    assert not scene.is_blocked(eyes, [0, 0, 1]).any()
    mouth = np.array([[x, y, 40.0] for x in (-40, 0, 40) for y in (-20, -60, -100)], dtype=float)
    assert scene.is_blocked(mouth, [0, 0, 1]).all()


def test_the_wall_is_even(made: Mesh) -> None:
    """From the inside, square through the wall: within 15 % of 4 mm but for rims, steep steps
    and the roots of the mandibles."""
    centres, normals = made.face_centres_mm, made.face_normals
    inside = distance_from_middle(centres) < -0.9 * WALL_MM / 2
    clear = np.array([helmet._rim(abs(x), y, z) < -6 for x, y, z in centres])
    clear &= np.array([helmet._visor(abs(x), y, z) > 6 for x, y, z in centres])
    root = np.array([helmet._tube(abs(x), y, z, helmet.MANDIBLE)[0] for x, y, z in centres])
    chosen = inside & clear & (root > 2.0)
    assert chosen.sum() > 60_000
    start = centres[chosen] - 1e-3 * normals[chosen]
    through = RayScene(made).distance(start, -normals[chosen])
    areas = made.face_areas_mm2[chosen]
    within = np.abs(through / WALL_MM - 1) <= 0.15
    assert areas[within].sum() / areas.sum() > 0.90
    assert np.percentile(through, 0.1) > 0.5 * WALL_MM


@pytest.mark.parametrize("place", ["nape", "cheek", "crest", "mandible"])
def test_a_real_undercut_hides_from_above(made: Mesh, place: str) -> None:
    """With the dome up, silicone must close the draw of the neck, the cheeks, the sides of the
    crest and the space under the mandibles: at least 3 cm2 of show surface each."""
    centres, normals = made.face_centres_mm, made.face_normals
    x, y, z = np.abs(centres[:, 0]), centres[:, 1], centres[:, 2]
    where = {
        "nape": (z < -60) & (y < -20) & (y > -140),
        "cheek": (z > 0) & (y < -30) & (y > -140),
        "crest": (x < 15) & (y > 140) & (z < 60),
        "mandible": (x > 15) & (y > 90) & (z > 70),
    }[place]
    outside = distance_from_middle(centres[where]) > 0.8 * WALL_MM / 2
    start = centres[where][outside] + 1e-2 * normals[where][outside]
    hidden = RayScene(made).is_blocked(start, [0, 1, 0])
    down = normals[where][outside][:, 1] < -np.sin(np.radians(3.0))
    assert made.face_areas_mm2[where][outside][hidden | down].sum() > 300


def test_a_thicker_wall_grows_to_both_sides(made: Mesh) -> None:
    """Half of the difference goes outward, so width and depth grow by all of it. A corner of a
    2 mm triangle may miss the deepest place by the sagitta on a radius of 25 mm, 0.04 mm on both
    meshes together, and the widest, on a ridge of the facetted eye, by that on 5 mm, 0.1 mm.
    Nearly all of the surface moves by half of it, whichever way it looks."""
    thick = beetle_helmet(triangles=200_000, wall_mm=5.5)
    wide, _, deep = np.ptp(thick.bounds_mm, axis=0) - np.ptp(made.bounds_mm, axis=0)
    assert wide == pytest.approx(1.5, abs=0.1)
    assert deep == pytest.approx(1.5, abs=0.04)
    away = Tree.of(thick).closest(made.vertices_mm)[0]
    assert np.median(away) == pytest.approx(0.75, abs=0.01)
    assert np.percentile(away, [5, 95]) == pytest.approx(0.75, abs=0.12)
    assert thick.volume_mm3 > 1.3 * made.volume_mm3


def test_what_cannot_be_made_is_refused() -> None:
    with pytest.raises(DemoOutOfRange, match="Wall is 9 mm"):
        beetle_helmet(wall_mm=9)
    with pytest.raises(DemoOutOfRange, match="Triangle count is 10"):
        beetle_helmet(triangles=10)
