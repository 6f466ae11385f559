"""Does a piece fit the build box under some turn, and where is it cut if it does not?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import shapes
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.build_box import fits, least_parts, super_fibonacci, usable_mm
from firstpull.core.mould.cut import Cut, Split, regions, trimmed
from firstpull.core.mould.splits import BoxSmallerThanFlange, CannotSplit, splits_for

TILTED = Rotation.from_euler("xyz", [20, 35, 50], degrees=True)


def turned(mesh: Mesh, rotation: Rotation) -> Mesh:
    matrix = np.eye(4)
    matrix[:3, :3] = rotation.as_matrix()
    return mesh.moved(matrix)


def the_turn_does_what_it_says(piece: Mesh, box_mm: tuple[float, float, float], margin_mm: float):
    fit = fits(piece, box_mm, margin_mm=margin_mm)
    assert fit is not None
    np.testing.assert_allclose(fit.rotation @ fit.rotation.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(fit.rotation) > 0
    size = np.ptp(piece.vertices_mm @ fit.rotation.T, axis=0)
    np.testing.assert_allclose(size, fit.size_mm, atol=1e-6)
    assert (size <= usable_mm(box_mm, margin_mm=margin_mm) + 0.01 + 1e-6).all()
    return fit


# A rod of diameter d whose axis is the diagonal of a cube of side a spans L / sqrt 3 along each
# side by its axis, and d sqrt(1 - 1/3) by its ends: L = sqrt 3 (a - d sqrt(2/3)).
LONGEST_ROD_MM = np.sqrt(3) * (200 - 10 * np.sqrt(2 / 3))


@pytest.mark.parametrize("rotation", list(Rotation.random(3, random_state=5)))
def test_a_rod_fits_a_cube_up_to_the_length_of_its_diagonal(rotation):
    fitting = turned(shapes.cylinder(5, LONGEST_ROD_MM - 0.5, n=360), rotation)
    the_turn_does_what_it_says(fitting, (200, 200, 200), 0.0)
    too_long = turned(shapes.cylinder(5, LONGEST_ROD_MM + 0.5, n=360), rotation)
    assert fits(too_long, (200, 200, 200), margin_mm=0) is None


@pytest.mark.parametrize("side_mm", [140.0, 141.0])
def test_a_square_fits_the_square_it_was_turned_out_of(side_mm):
    plate = turned(shapes.box(side_mm, side_mm, 10), Rotation.from_euler("z", 45, degrees=True))
    fit = the_turn_does_what_it_says(plate, (141.0, 141.0, 10.0), 0.0)
    assert fit.rotation[2] == pytest.approx([0, 0, 1])  # flat, as it was modelled
    # at any other turn a square spans side * (cos a + sin a): none fits a box a little smaller
    assert fits(plate, (side_mm - 0.5, side_mm - 0.5, 10.0), margin_mm=0) is None


@pytest.mark.parametrize("rotation", list(Rotation.random(8, random_state=11)))
def test_turning_a_piece_does_not_change_whether_it_fits(rotation):
    """A box in a box: with sides in order the smaller must fit side by side; the larger by its
    volume can not."""
    piece = turned(shapes.box(100, 80, 60), rotation)
    the_turn_does_what_it_says(piece, (60.05, 80.05, 100.05), 0.0)
    assert fits(piece, (59.9, 80, 100), margin_mm=0) is None


def test_a_piece_that_fits_as_modelled_stays_as_it_is():
    fit = fits(shapes.box(100, 80, 60), (120, 100, 60), margin_mm=5)
    assert fit is not None
    np.testing.assert_array_equal(fit.rotation, np.eye(3))


def test_the_margin_is_kept_on_the_plate_and_not_over_it():
    piece = shapes.box(100, 100, 100)
    assert fits(piece, (110, 110, 100), margin_mm=5) is not None
    assert fits(piece, (109, 110, 130), margin_mm=5) is None


def test_every_point_counts():
    """A pimple in the middle of a face, that no coarse look at the corners would notice: a box
    as large as the build box lies in it in one way only, and the pimple is then in the way."""
    cube = mesh_of(solid(shapes.box(120, 120, 60)).refine_to_length(2.0)).vertices_mm
    pimpled = np.concatenate([cube, [[60.3, 11.0, 23.0]]])
    assert fits(turned(Mesh(cube, []), TILTED), (120, 120, 60), margin_mm=0) is not None
    assert fits(turned(Mesh(pimpled, []), TILTED), (120, 120, 60), margin_mm=0) is None


def test_even_turns_cover_every_turn():
    """2000 balls of radius r fill all turns, of volume 8 pi^2, only if r is 9 degrees or more;
    a good spread stays under twice the least radius."""
    tried = Rotation.from_matrix(super_fibonacci(2000))
    asked = Rotation.random(200, random_state=3)
    nearest = [np.degrees((tried * one.inv()).magnitude().min()) for one in asked]
    assert max(nearest) < 24.0


def test_points_farther_apart_than_the_box_need_parts_of_their_own():
    rod = [[x, 0.0, 0.0] for x in np.arange(0.0, 1001.0)]
    # the diagonal of a cube of 100 is 173.2: points 174 mm apart, 0 to 870, six of them
    assert least_parts(rod, (100, 100, 100), margin_mm=0) == 6
    assert least_parts(shapes.box(90, 90, 90), (100, 100, 100), margin_mm=0) == 1


# Where it is cut


JOINT = {"flange_mm": 25.0, "flange_thickness_mm": 9.0, "margin_mm": 2.0}


def half_shell(radius_mm: float, wall_mm: float = 6.0) -> Mesh:
    """One half of a shell over half a ball, on the board, its parting plane at x = 0."""
    outer = solid(shapes.hemisphere(radius_mm, 96))
    inner = solid(shapes.hemisphere(radius_mm - wall_mm, 96)).translate((0.0, 0.0, -1e-3))
    return mesh_of((outer - inner).trim_by_plane((1.0, 0.0, 0.0), 0.0))


def parts_of(piece: Mesh, box_mm: tuple[float, float, float], **options: Any) -> list[Mesh]:
    """The parts, each of which was looked at: closed, in the box, and together the whole."""
    splits = splits_for(piece, box_mm, **{**JOINT, **options})
    parts = [mesh_of(p) for region in regions(splits) for p in trimmed(solid(piece), region)]
    for part in parts:
        assert len(solid(part).decompose()) == 1
        assert fits(part, box_mm, margin_mm=2.0) is not None
    total = sum(part.volume_mm3 for part in parts)
    assert total == pytest.approx(piece.volume_mm3, rel=1e-9)
    assert len(parts) >= least_parts(piece, box_mm, margin_mm=2.0)
    return parts


def test_a_piece_that_fits_is_not_cut():
    assert splits_for(half_shell(100), (210, 210, 210), pull=(0.6, 0, 0.8), **JOINT) == ()


@pytest.mark.parametrize("angle_deg", [0.0, 33.0])
def test_half_a_helmet_is_cut_in_two_even_parts(angle_deg):
    """260 mm in a box of 180: its diagonal of 309 mm would take the length, not the depth."""
    turn = Rotation.from_euler("z", angle_deg, degrees=True)
    piece = turned(half_shell(130), turn)
    parts = parts_of(piece, (180, 180, 180), pull=turn.apply([0.6, 0.0, 0.8]))
    assert len(parts) == 2
    assert parts[0].volume_mm3 == pytest.approx(parts[1].volume_mm3, rel=0.1)


def test_the_flange_counts():
    """Quarters of a ball of 130 mm: 130 x 130 x 130 with their joint's 25 mm on top are 155."""
    assert len(parts_of(half_shell(130), (165, 165, 165), pull=(0.6, 0, 0.8))) == 2
    assert len(parts_of(half_shell(130), (140, 140, 140), pull=(0.6, 0, 0.8))) > 2


def test_a_bar_takes_as_many_parts_as_its_length_asks_for():
    """1000 mm in boxes of 216 mm inside the margin, at most 374 mm across the diagonal: no
    fewer than 3, and 5 lie side by side."""
    parts = parts_of(shapes.box(1000, 60, 20), (220, 220, 220), pull=(0, 0, 1))
    assert 3 <= len(parts) <= 5


def test_a_cut_keeps_clear_of_bolts():
    """The even cut would go through two of them."""
    bolts = np.array([[0.0, 3.0, 130.0], [0.0, -8.0, 115.0]])
    piece = half_shell(130)
    way = {"pull": (0.6, 0.0, 0.8)}
    plain, clear = (
        splits_for(piece, (195, 195, 195), keep_clear_mm=keep, **way, **JOINT)
        for keep in ((), bolts)
    )
    assert np.abs(plain[0].cut.depth(*bolts.T)).min() < 20
    assert len(clear) == len(plain) == 1
    assert np.abs(clear[0].cut.depth(*bolts.T)).min() >= 20


def test_splits_of_a_part_leave_the_others_alone():
    first = Cut((1.0, 0.0, 0.0), 0.0)
    splits = (Split(first), Split(Cut((0.0, 1.0, 0.0), 10.0), (first,)))
    assert [len(region) for region in regions(splits)] == [2, 2, 1]
    made = solid(shapes.box(100, 100, 20))
    sizes = [p.volume() for region in regions(splits) for p in trimmed(made, region)]
    assert sizes == pytest.approx([50 * 40 * 20, 50 * 60 * 20, 50 * 100 * 20])


def test_a_box_smaller_than_a_flange_is_refused():
    with pytest.raises(BoxSmallerThanFlange) as refused:
        splits_for(half_shell(100), (200, 200, 40), pull=(0.6, 0, 0.8), **JOINT)
    assert str(refused.value) == (
        "Build box of 200 × 200 × 40 mm leaves 196 × 196 × 40 mm inside its margin of 2 mm; "
        "a part with its joint needs 43 mm every way: 25 mm for the width of the flange and 18 mm "
        "for twice its thickness. Make shell.thickness_mm less, print on a larger machine, or lay "
        "the shell by hand."
    )


def test_too_many_parts_are_refused():
    """The box's diagonal is 376 mm inside its margin: 4000 mm hold eleven such lengths' ends."""
    with pytest.raises(CannotSplit) as refused:
        splits_for(shapes.box(4000, 60, 20), (220, 220, 220), pull=(0, 0, 1), **JOINT)
    assert str(refused.value) == (
        "Shell piece of 4000 × 60 × 20 mm has 11 points that lie too far apart to share the "
        "build box of 220 × 220 × 220 mm; 8 parts are the most that are joined to one piece. "
        "Part the shell in more pieces, or take a larger build box."
    )


def test_a_limit_on_parts_is_kept():
    with pytest.raises(CannotSplit, match="cannot be cut in 2 parts that fit"):
        splits_for(half_shell(130), (140, 140, 140), pull=(0.6, 0, 0.8), most_parts=2, **JOINT)
