"""Pockets of known bulb and mouth, cut into a block by general Booleans (manifold3d)."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould.body import BELOW_BOARD_MM, Body
from firstpull.core.mould.pockets import find_pockets
from firstpull.core.mould.skin import SkinShape, shape_skin

STEP = 1.5


def skin_over(solid: manifold3d.Manifold) -> SkinShape:
    below = mesh_of(solid)
    above = mesh_of(solid.trim_by_plane((0.0, 0.0, 1.0), 0.0))
    body = Body(above, below, above.volume_mm3 / 1000, 0.0, np.zeros((0, 3)))
    return shape_skin(
        body,
        thickness_mm=6.0,
        flange_width_mm=20.0,
        flange_thickness_mm=8.0,
        step_mm=STEP,
        room_mm=20.0,
    )


def block() -> manifold3d.Manifold:
    foot = BELOW_BOARD_MM
    return manifold3d.Manifold.cube((70, 70, 60 + foot)).translate((-35, -35, -foot))


def drilled(bulb: float, mouth: float) -> manifold3d.Manifold:
    ball = manifold3d.Manifold.sphere(bulb, 96).translate((0, 0, 30))
    way = manifold3d.Manifold.cylinder(40, mouth, mouth, 96).translate((0, 0, 30))
    return block() - ball - way


@pytest.mark.parametrize(("bulb", "mouth"), [(12.0, 5.0), (9.0, 3.0), (15.0, 8.0)])
def test_a_ball_behind_a_neck_is_found_with_its_two_widths(bulb: float, mouth: float) -> None:
    (pocket,) = find_pockets(skin_over(drilled(bulb, mouth)))
    assert pocket.place_mm == pytest.approx((0, 0, 30), abs=STEP)
    assert pocket.bulb_mm == pytest.approx(2 * bulb, abs=STEP)
    # radii are tried in a ladder of 1.2, and the grid adds half a step
    assert 2 * mouth / 1.2 <= pocket.mouth_mm <= 2 * mouth + 2 * STEP
    assert "peeled" in pocket.sentence


@pytest.mark.parametrize(("bulb", "mouth"), [(8.0, 8.0), (8.0, 7.0)])
def test_a_straight_hole_is_none(bulb: float, mouth: float) -> None:
    assert find_pockets(skin_over(drilled(bulb, mouth))) == ()


def test_a_block_has_none() -> None:
    assert find_pockets(skin_over(block())) == ()
