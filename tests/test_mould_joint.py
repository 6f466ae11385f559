"""The bolted joint between the parts of a shell piece that is too large for the build box.

The piece is the quarter of a ball's shell, made like any piece of a shell from the distance to
the ball: its sweep adds no fill, and all that is asked has a closed form.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.solid import mesh_of_largest, solid
from firstpull.core.mould.build_box import fits
from firstpull.core.mould.cut import Cut, Split
from firstpull.core.mould.joint import (
    HEAD_MM,
    JointSizes,
    NoPlaceForBolts,
    Outside,
    PartedPiece,
    cut_parts,
    drilled,
    joint_outline,
    part_for_box,
    place_joints,
    with_joints,
)
from firstpull.core.mould.zone import Zone

RADIUS, STEP, CLEARANCE, THICK = 90.0, 2.0, 0.3, 6.0
SIZES = JointSizes(shell_mm=CLEARANCE + THICK, flange_mm=25.0, flange_thickness_mm=9.0)
HALF = Zone.beyond((1.0, 0.0, 0.0), 0.0)
MIDDLE = Split(Cut((0.0, 1.0, 0.0), 0.0))
BOX, MARGIN = (165.0, 165.0, 165.0), 2.0


@dataclass(frozen=True)
class Made:
    outside: Outside
    rebuilt: Callable[[tuple[Split, ...]], Any]


@lru_cache(maxsize=1)
def half_ball() -> Made:
    out = RADIUS + SIZES.reach_mm + 2 * STEP
    grid = Grid.around([-out, -out, -2.5 * STEP], [out, out, out], step_mm=STEP)
    x, y, z = grid.axes()
    s = (np.sqrt(x * x + y * y + np.maximum(z, 0) ** 2) - RADIUS).astype(np.float32)
    outside = Outside.of(contour(s, grid), s, s, grid)
    wall = np.maximum(HALF.into(x, y, z) - np.float32(9.0), s - np.float32(SIZES.reach_mm))

    def rebuilt(splits: tuple[Split, ...]) -> Any:
        field = np.minimum(s - np.float32(SIZES.shell_mm), wall)
        field = with_joints(field, splits, outside, sizes=SIZES)
        made = solid(contour(np.maximum(field, np.float32(CLEARANCE) - s), grid))
        made = HALF.trim(made).trim_by_plane((0.0, 0.0, 1.0), 0.0)
        return solid(mesh_of_largest(made))

    return Made(outside, rebuilt)


@lru_cache(maxsize=1)
def parted() -> PartedPiece:
    made = half_ball()
    return part_for_box(
        made.rebuilt(()),
        made.rebuilt,
        made.outside,
        HALF,
        box_mm=BOX,
        margin_mm=MARGIN,
        pull=(0.6, 0.0, 0.8),
        sizes=SIZES,
    )


def test_every_part_fits_the_build_box_and_together_they_are_the_piece():
    made = parted()
    assert fits(solid_vertices(half_ball().rebuilt(())), BOX, margin_mm=MARGIN) is None
    assert len(made.parts) == 2
    for part in made.parts:
        assert len(solid(part.mesh).decompose()) == 1
        size = np.ptp(part.mesh.vertices_mm @ part.fit.rotation.T, axis=0)
        assert (size <= np.array(BOX) - [2 * MARGIN, 2 * MARGIN, 0] + 0.011).all()
    total = sum(part.volume_cm3 for part in made.parts)
    assert total == pytest.approx(made.piece.volume_mm3 / 1000, rel=1e-6)


def solid_vertices(made: Any) -> Any:
    return mesh_of_largest(made).vertices_mm


def test_a_joint_adds_the_flange_and_nothing_else():
    """A half ring of 25 mm around the shell, 18 mm thick, less what stands below the board,
    within the wall's flange and behind the wall."""
    made = half_ball()
    plain = made.rebuilt(()).volume()
    with_joint = made.rebuilt((MIDDLE,)).volume()
    inner, outer = RADIUS + SIZES.shell_mm, RADIUS + SIZES.reach_mm
    # over the depth 2 x 9 mm to each side of the cut, a quarter ring from the board to the wall
    y = np.linspace(-9, 9, 181)
    ring = np.pi / 4 * (outer**2 - inner**2) + 0 * y  # the same at any depth: y cancels
    wall = 9 * (np.sqrt(outer**2 - y**2) - np.sqrt(inner**2 - y**2))  # stood there already
    added = np.trapezoid(ring - wall, y)
    # a grid of step h rounds an edge of the flange by less than h^2 along it
    edges = 2 * np.pi / 2 * outer
    assert with_joint - plain == pytest.approx(added, abs=STEP**2 * edges)


def test_a_joint_keeps_off_the_skin():
    made = half_ball()
    piece = mesh_of_largest(made.rebuilt((MIDDLE,)))
    away = np.linalg.norm(piece.vertices_mm, axis=1) - RADIUS
    # a facet of size h over a radius r sinks by h^2 / 8 r for each way along the grid
    assert away.min() > CLEARANCE - 3 * STEP**2 / (8 * RADIUS)
    assert away.max() < SIZES.reach_mm + 0.1


def test_holes_match_on_both_sides():
    """Along the axis of each hole there is air in both parts, and flange around it."""
    made = parted()
    one, other = (part.mesh for part in made.parts)
    (joint,) = made.joints
    normal = np.array(joint.split.cut.normal)
    side = np.cross(normal, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    assert len(joint.bolts_mm) >= 2 and len(joint.dowels_mm) == 2
    for places, radius in ((joint.bolts_mm, 3.25), (joint.dowels_mm, 2.5)):
        for at in (1.0, 8.0):
            for mesh, way in ((one, 1.0), (other, -1.0)):
                middle = places + way * at * normal
                assert not is_inside(mesh, middle).any()
                assert not is_inside(mesh, middle + (radius - 0.3) * side).any()
                assert is_inside(mesh, middle + (radius + 0.3) * side).all()


def test_holes_stand_in_the_middle_of_the_flange_and_clear_of_others():
    made = parted()
    (joint,) = made.joints
    holes = np.concatenate([joint.bolts_mm, joint.dowels_mm])
    np.testing.assert_allclose(joint.split.cut.depth(*holes.T), 0.0, atol=1e-6)
    out = np.linalg.norm(holes, axis=1) - RADIUS
    np.testing.assert_allclose(out, SIZES.bolts_out_mm, atol=0.2)
    assert holes[:, 2].min() > 14
    assert HALF.into(*holes.T).min() > 9 + 20  # the wall's flange, and off its corner
    apart = np.linalg.norm(holes[:, None] - holes[None], axis=2)[np.triu_indices(len(holes), 1)]
    assert apart.min() > 3.25 + 2.5 + 2.0


def test_bolts_stand_80_mm_apart_at_most():
    """On a ball of one piece the flange of a cut runs from board to board."""
    (joint,) = place_joints((MIDDLE,), half_ball().outside, Zone(), sizes=SIZES)
    angle = np.sort(np.arctan2(joint.bolts_mm[:, 2], joint.bolts_mm[:, 0]))
    along = np.diff(angle) * (RADIUS + SIZES.bolts_out_mm)
    assert along.max() <= 80.0
    assert len(joint.bolts_mm) >= 4


def test_a_second_cut_ends_at_the_first():
    first, second = MIDDLE, Split(Cut((0.6, 0.0, 0.8), 75.0), (MIDDLE.cut,))
    made = half_ball()
    whole = made.rebuilt((first, second))
    parts = cut_parts(whole, (first, second))
    assert len(parts) == 3
    assert sum(part.volume_mm3 for part in parts) == pytest.approx(whole.volume(), rel=1e-6)
    plain = cut_parts(made.rebuilt((first,)), (first,))
    assert parts[-1].volume_mm3 == pytest.approx(plain[-1].volume_mm3, rel=1e-6)


def test_bolts_keep_room_for_their_heads():
    """A cut far from the middle meets the ball at a slant: on its outer side the shell falls
    away, on its inner side it rises, and a washer needs its room there."""
    split = Split(Cut((0.0, 1.0, 0.0), 25.0))
    (joint,) = place_joints((split,), half_ball().outside, Zone(), sizes=SIZES)
    heads = joint.bolts_mm - (9.0 + HEAD_MM) * np.array([0.0, 1.0, 0.0])
    assert (np.linalg.norm(heads, axis=1) > RADIUS + SIZES.shell_mm + HEAD_MM - 0.1).all()


def test_a_cut_without_a_place_for_bolts_is_refused():
    split = Split(Cut((0.0, 1.0, 0.0), 80.0))
    with pytest.raises(NoPlaceForBolts) as refused:
        place_joints((split,), half_ball().outside, HALF, sizes=SIZES)
    assert str(refused.value) == (
        "Shell piece has a cut for the build box, at 80 mm along (0.00, 1.00, 0.00), whose "
        "flange has no clear stretch of 30 mm for bolts; every joint needs bolts. Take a larger "
        "build box, or move the parting wall beside that cut."
    )


def test_the_outline_tells_how_far_flanges_stick_out():
    outline = joint_outline(half_ball().outside, HALF, reach_mm=SIZES.reach_mm)
    assert (outline[:, 0] >= 0).all() and (outline[:, 2] >= 0).all()
    far = np.linalg.norm(outline, axis=1)
    # linear between points 4 steps apart: off by (4 h)^2 / 8 r along each of three ways
    assert np.abs(far - RADIUS - SIZES.reach_mm).max() < 3 * (4 * STEP) ** 2 / (8 * RADIUS)


def test_nothing_is_drilled_without_joints():
    made = half_ball().rebuilt(())
    assert drilled(made, (), sizes=SIZES).volume() == made.volume()
