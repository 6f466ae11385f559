"""Passages of known width between blocks and posts, made by general Booleans (manifold3d)."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould.body import BELOW_BOARD_MM, Body
from firstpull.core.mould.passages import find_passages
from firstpull.core.mould.pockets import find_pockets
from firstpull.core.mould.skin import SkinShape, shape_skin

STEP = 1.5
FLANGE_MM = 8.0
Solid = manifold3d.Manifold


def skin_over(solid: Solid, *, thickness_mm: float) -> SkinShape:
    below = mesh_of(solid)
    above = mesh_of(solid.trim_by_plane((0.0, 0.0, 1.0), 0.0))
    body = Body(above, below, above.volume_mm3 / 1000, 0.0, np.zeros((0, 3)))
    return shape_skin(
        body,
        thickness_mm=thickness_mm,
        flange_width_mm=20.0,
        flange_thickness_mm=FLANGE_MM,
        step_mm=STEP,
        room_mm=20.0,
    )


def passages_of(solid: Solid, *, thickness_mm: float):
    return find_passages(skin_over(solid, thickness_mm=thickness_mm), above_mm=FLANGE_MM)


def standing(wide: float, deep: float, high: float, at: tuple[float, float]) -> Solid:
    size = (wide, deep, high + BELOW_BOARD_MM)
    return Solid.cube(size).translate((at[0], at[1], -BELOW_BOARD_MM))


def slab() -> Solid:
    return standing(90, 90, 30, (-45, -45))


def plates(gap: float, *, turn_deg: float = 0.0) -> Solid:
    """Two walls 40 mm high and 60 mm long on a slab."""
    wall = Solid.cube((12, 60, 40)).translate((gap / 2, -30, 30))
    return slab() + (wall + wall.mirror((1, 0, 0))).rotate((0, 0, turn_deg))


def posts(gap: float, radius: float) -> Solid:
    post = Solid.cylinder(40, radius, radius, 96).translate((gap / 2 + radius, 0, 30))
    return slab() + post + post.mirror((1, 0, 0))


def channel(gap: float, deep: float) -> Solid:
    return standing(80, 80, 60, (-40, -40)) - Solid.cube((gap, 100, deep + 1)).translate(
        (-gap / 2, -50, 60 - deep)
    )


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, 45.0])
def test_plates_nearer_than_two_skins_shut_their_gap(turn_deg: float) -> None:
    (passage,) = passages_of(plates(12.0, turn_deg=turn_deg), thickness_mm=10.0)
    assert passage.width_mm == pytest.approx(12.0, abs=STEP)
    # 12 x 60 x 40 mm, told within a step at each side of the gap and each open edge
    assert passage.volume_cm3 == pytest.approx(28.8, rel=2 * STEP / 12 + STEP / 40 + 2 * STEP / 60)
    x, y, z = passage.place_mm
    assert np.hypot(x, y) < 3 * STEP and 30 < z < 70


@pytest.mark.parametrize("solid", [plates(24.0), posts(24.0, 10.0), channel(24.0, 30.0)])
def test_a_gap_wider_than_two_skins_is_none(solid: Solid) -> None:
    assert passages_of(solid, thickness_mm=10.0) == ()


@pytest.mark.parametrize("radius", [8.0, 30.0])
def test_posts_nearer_than_two_skins_shut_their_gap(radius: float) -> None:
    (passage,) = passages_of(posts(10.0, radius), thickness_mm=8.0)
    # the gap widens by 1 / cos 25 of radius and half gap, at which the posts open by 50 degrees
    widest = 2 * ((radius + 5.0) / np.cos(np.radians(25.0)) - radius)
    assert 10.0 - STEP < passage.width_mm < min(widest, 16.0) + STEP
    assert np.abs(passage.place_mm[:2]).max() < 2 * STEP


def test_a_channel_is_told_with_what_would_leave_it_open() -> None:
    (passage,) = passages_of(channel(12.0, 30.0), thickness_mm=15.0)
    assert passage.width_mm == pytest.approx(12.0, abs=STEP)
    assert passage.thickest_mm in (4.0, 5.0)  # half of 12 less 2 mm, the width told to a step
    assert passage.sentence.startswith("A skin of 15 mm shuts a passage 1")
    assert "at most" in passage.sentence and "clay" in passage.sentence
    assert passages_of(channel(12.0, 30.0), thickness_mm=passage.thickest_mm) == ()


def test_a_slit_is_left_open_by_no_skin_that_holds() -> None:
    (passage,) = passages_of(channel(6.0, 30.0), thickness_mm=6.0)
    assert passage.thickest_mm is None
    assert "No skin that holds" in passage.sentence


def test_corners_and_fillets_are_none() -> None:
    step = slab() + Solid.cube((30, 60, 40)).translate((-45, -30, 30))
    inner = step + Solid.cube((90, 20, 40)).translate((-45, 20, 30))  # three faces meet
    fillet = Solid.cube((12, 60, 12)).translate((-15, -30, 30)) - Solid.cylinder(
        80, 12, 12, 96, True
    ).rotate((90, 0, 0)).translate((-3, 0, 42))
    gouge = slab() - Solid.cylinder(120, 8, 8, 96, True).rotate((90, 0, 0)).translate((0, 0, 33))
    for solid in (step, inner, step + fillet, gouge, slab()):
        for thickness in (6.0, 15.0):
            assert passages_of(solid, thickness_mm=thickness) == ()


@pytest.mark.parametrize(("opens_deg", "count"), [(20.0, 1), (80.0, 0)])
def test_a_groove_counts_by_how_far_it_opens(opens_deg: float, count: int) -> None:
    half = 50 * np.tan(np.radians(opens_deg / 2))
    wedge = Solid.extrude(manifold3d.CrossSection([[(0, 0), (half, 50), (-half, 50)]]), 120).rotate(
        (90, 0, 0)
    )
    solid = standing(100, 80, 60, (-50, -40)) - wedge.translate((0, 60, 25))
    assert len(passages_of(solid, thickness_mm=10.0)) == count


def test_a_drilled_hole_is_one_and_a_pocket_told_already_is_none() -> None:
    block = standing(70, 70, 60, (-35, -35))
    way = Solid.cylinder(40, 5, 5, 96).translate((0, 0, 30))
    (hole,) = passages_of(block - way, thickness_mm=6.0)
    assert hole.width_mm == pytest.approx(10.0, abs=STEP)
    # pi 5^2 x 30 mm; its ends are told to a radius
    assert hole.volume_cm3 == pytest.approx(np.pi * 25 * 30 / 1000, rel=0.35)
    bulb = Solid.sphere(12, 96).translate((0, 0, 30))
    shape = skin_over(block - way - bulb, thickness_mm=15.0)
    told = find_pockets(shape)
    assert told and find_passages(shape, above_mm=FLANGE_MM, but_for=told) == ()
    assert find_passages(shape, above_mm=FLANGE_MM) != ()


def test_a_place_is_told_in_the_axes_of_the_file() -> None:
    (passage,) = passages_of(channel(12.0, 30.0), thickness_mm=15.0)
    to_mould = np.diag([10.0, 10.0, 10.0, 1.0])
    to_mould[2, 3] = 13.0
    told = passage.in_file(to_mould)
    z = (passage.place_mm[2] - 13.0) / 10
    assert told.place_mm[2] == pytest.approx(z)
    assert "mesh file's axes" in told.sentence and told.width_mm == passage.width_mm
