"""Walls and zones: flat, tilted and bent, as fields, as solids and as what a pull may leave.

Distances are held against shapely's line strings, volumes against sums done by hand.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from firstpull.core.mould.zone import EVERYWHERE, PartingWall, Zone

BENT = PartingWall((1.0, 0.0, 0.0), 2.0, ((-10.0, 0.0), (0.0, 5.0), (10.0, -5.0)))


def tilted(degrees: float, bend: tuple[tuple[float, float], ...] = ()) -> PartingWall:
    t = np.radians(degrees)
    return PartingWall((float(np.cos(t)), 0.0, float(np.sin(t))), 3.0, bend)


def test_a_walls_axes_are_square_and_rise() -> None:
    for wall in (BENT, tilted(25.0), tilted(-40.0)):
        axes = np.stack([wall.normal, wall.across, wall.rise])
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
        assert wall.across[2] == 0.0
        assert wall.rise[2] > 0.5


def test_depth_is_the_distance_to_the_line_of_the_wall() -> None:
    points = np.random.default_rng(4).uniform(-20, 20, (400, 3))
    for wall in (BENT, tilted(25.0, BENT.bend)):
        flat = np.stack([points @ wall.across, points @ np.array(wall.normal)], axis=1)
        line = shapely.LineString(
            [(-500, 0 + wall.offset_mm), *[(u, w + wall.offset_mm) for u, w in wall.bend],
             (500, -5 + wall.offset_mm)]
        )  # fmt: skip
        away = np.array([line.distance(shapely.Point(p)) for p in flat])
        ahead = flat[:, 1] > wall.offset_mm + np.interp(flat[:, 0], *np.array(wall.bend).T)
        assert wall.depth(*points.T) == pytest.approx(np.where(ahead, away, -away), abs=1e-4)


@given(st.floats(-40, 40), st.floats(-9, 9), st.floats(-9, 9))
def test_from_the_other_side_a_wall_is_the_same(tilt: float, a: float, b: float) -> None:
    wall = tilted(tilt, ((-8.0, a), (1.0, b), (9.0, 0.0)))
    points = np.random.default_rng(1).uniform(-20, 20, (50, 3))
    assert wall.turned.depth(*points.T) == pytest.approx(-wall.depth(*points.T), abs=1e-4)
    assert wall.turned.turned == wall
    assert wall.turned.facings == pytest.approx(-wall.facings[::-1])
    assert wall.turned.rise == pytest.approx(wall.rise)


def test_a_bent_wall_cuts_a_box_in_two_parts_of_known_volume() -> None:
    box = manifold3d.Manifold.cube((40.0, 20.0, 10.0), center=True)
    ahead, behind = BENT.trim(box), BENT.turned.trim(box)
    # the bend's mean over -10..10 is (2.5 + 0) / 2 mm beyond the offset of 2
    assert ahead.volume() == pytest.approx((20 - 2 - 1.25) * 20 * 10, rel=1e-9)
    assert ahead.volume() + behind.volume() == pytest.approx(40 * 20 * 10, rel=1e-9)
    assert (ahead ^ behind).volume() == pytest.approx(0.0, abs=1e-6)


def test_a_solid_cut_by_a_wall_lies_where_the_field_says() -> None:
    for wall in (BENT, tilted(25.0, BENT.bend), tilted(-30.0)):
        ball = manifold3d.Manifold.sphere(15.0, 64)
        corners = np.asarray(wall.trim(ball).to_mesh().vert_properties)[:, :3]
        assert wall.depth(*corners.T).min() > -1e-3


def test_a_pull_must_leave_every_stretch_of_a_bent_wall() -> None:
    zone = Zone((BENT,))  # its steepest stretch runs at 45 degrees, toward +y
    assert zone.is_left_by((1.0, 0.0, 0.0), draft_deg=44.9)
    assert not zone.is_left_by((1.0, 0.0, 0.0), draft_deg=45.1)
    along = np.array([1.0, -1.0, 0.0]) / np.sqrt(2)
    assert not zone.is_left_by(along, draft_deg=1.0)
    assert zone.is_left_by(along, draft_deg=1.0, but_for=(BENT,))
    assert EVERYWHERE.is_left_by(along, draft_deg=30.0)


def test_the_facing_is_that_of_the_stretch() -> None:
    slope = np.array([0.5, -1.0])
    expected = np.stack([np.ones(2), -slope, np.zeros(2)], axis=1) / np.hypot(1, slope)[:, None]
    assert BENT.facing_at([-5.0, 5.0]) == pytest.approx(expected)
    assert BENT.facing_at([-50.0, 50.0]) == pytest.approx(np.array([[1.0, 0, 0], [1.0, 0, 0]]))
