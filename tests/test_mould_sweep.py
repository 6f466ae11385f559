"""What a pull sweeps out of a skin, against closed forms.

A ball of radius R, pulled along d with draft a: on a line at distance r from the axis through
the centre, at height h along d,

    s = min over t of sqrt(r^2 + (h + t)^2) - t sin a - R

is least where (h + t) / sqrt(...) = sin a, that is t = r tan a - h. Above the cone that
touches the ball there, t would be negative and s is the plain distance; below it

    s = r cos a + h sin a - R:

the distance to a cone that opens against the pull.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.solid import solid
from firstpull.core.mould.sweep import made_to_rise, swept, with_soft_valleys
from firstpull.core.mould.zone import EVERYWHERE, Zone

Array = NDArray[np.float64]
RADIUS = 40.0
PULLS = {"up": (0.0, 0.0, 1.0), "slanted": (0.48, -0.36, 0.8), "sideways": (0.8, 0.6, 0.0)}


def ball(grid: Grid) -> Array:
    x, y, z = grid.axes()
    return np.sqrt(x * x + y * y + z * z) - RADIUS


def swept_ball(grid: Grid, pull: Array, draft_deg: float) -> Array:
    x, y, z = grid.axes()
    h = pull[0] * x + pull[1] * y + pull[2] * z
    r = np.sqrt(np.maximum(x * x + y * y + z * z - h * h, 0.0))
    a = np.radians(draft_deg)
    below = r * np.tan(a) - h > 0
    return np.where(below, r * np.cos(a) + h * np.sin(a) - RADIUS, ball(grid))


@pytest.mark.parametrize("name", PULLS)
@pytest.mark.parametrize("draft_deg", [0.0, 3.0, 12.0])
def test_the_sweep_of_a_ball_is_a_cone(name, draft_deg):
    """Within 0.05 mm on a grid of 1.5 mm: reading a distance linearly between points is off by
    h^2 / 4 r = 0.014 mm over a ball of 40 mm."""
    pull = np.array(PULLS[name])
    grid = Grid.around([-72.3] * 3, [72] * 3, step_mm=1.5)
    # over a way of 105 mm the draft takes 105 sin 12 = 22 mm of what the reach leaves over 12 mm
    phi = np.minimum(ball(grid), 36.0).astype(np.float32)
    found = swept(phi, grid, pull=pull, draft_deg=draft_deg, up_to_mm=12.0)
    exact = swept_ball(grid, pull, draft_deg)
    h = np.tensordot(pull, np.broadcast_arrays(*grid.axes()), 1)
    # where the ray passes the ball closest, s + R - h sin a from its axis, is within the grid
    seen = exact + RADIUS - h * np.sin(np.radians(draft_deg)) < 70.0
    told = (exact > -3.0) & (exact < 12.0) & seen
    assert told.sum() > 10_000
    assert np.abs(found - exact)[told].max() < 0.05
    assert (found[exact > 12.05] > 12.0).all()
    assert (found[exact < -3.0] < 0.0).all()


def test_a_sweep_is_never_farther_than_the_distance():
    grid = Grid.around([-60.3] * 3, [60] * 3, step_mm=3.0)
    phi = ball(grid).astype(np.float32)
    for pull in PULLS.values():
        assert (swept(phi, grid, pull=pull, draft_deg=3.0, up_to_mm=12.0) <= phi).all()


def test_what_a_sweep_sweeps_again_stays():
    """A swept solid has no shadow of its own: sweeping the field s once more changes it only
    by reading it between grid points."""
    grid = Grid.around([-60.3] * 3, [60] * 3, step_mm=1.5)
    phi = np.minimum(ball(grid), 30.0).astype(np.float32)
    once = swept(phi, grid, pull=(0.48, -0.36, 0.8), draft_deg=3.0, up_to_mm=12.0)
    again = swept(once, grid, pull=(0.48, -0.36, 0.8), draft_deg=3.0, up_to_mm=9.0)
    told = (once > -3.0) & (once < 9.0)
    assert np.abs(again - once)[told].max() < 0.05


def test_draft_is_the_lean_of_the_swept_wall():
    """Between two heights the cone's radius shrinks by their distance times tan of the draft."""
    grid = Grid.around([-70.3, -70.3, -60.3], [70, 70, 30], step_mm=1.5)
    phi = np.minimum(ball(grid), 30.0).astype(np.float32)
    s = swept(phi, grid, pull=(0, 0, 1), draft_deg=5.0, up_to_mm=12.0)
    walls = contour(s, grid).vertices_mm
    walls = walls[(walls[:, 2] < -10) & (walls[:, 2] > -50)]
    lean = np.polyfit(walls[:, 2], np.hypot(walls[:, 0], walls[:, 1]), 1)[0]
    assert np.degrees(np.arctan(-lean)) == pytest.approx(5.0, abs=0.05)


def torus(grid: Grid, ring: float, tube: float) -> Array:
    x, y, z = grid.axes()
    return np.hypot(np.hypot(x, y) - ring, z) - tube


def test_the_fill_of_a_ring_pulled_apart_sideways():
    """Each half of the hole lies in the ring's shadow; slice by slice pi (R - w)^2 with
    w^2 = a^2 - z^2, which sums to pi (2 a R^2 - pi R a^2 + 4 a^3 / 3)."""
    ring, tube = 50.0, 10.0
    grid = Grid.around([-65.2, -65.3, -15.1], [65, 65, 15], step_mm=1.0)
    phi = torus(grid, ring, tube).astype(np.float32)
    fill = 0.0
    for sign in (1.0, -1.0):
        zone = Zone.beyond((sign, 0.0, 0.0), 0.0)
        s = swept(phi, grid, pull=(sign, 0, 0), draft_deg=0.0, up_to_mm=5.0, zone=zone)
        for field, part in ((s, 1), (phi, -1)):
            half = solid(contour(field, grid)).trim_by_plane((sign, 0.0, 0.0), 0.0)
            fill += part * half.volume()
    exact = np.pi * (2 * tube * ring**2 - np.pi * ring * tube**2 + 4 * tube**3 / 3)
    assert fill == pytest.approx(exact, rel=0.005)


def test_a_ring_lifted_along_its_axis_needs_no_fill_without_draft():
    """Seen from above nothing of a ring's hole or rim lies under it but its own lower half."""
    ring, tube = 50.0, 10.0
    grid = Grid.around([-65.2, -65.3, 0.5], [65, 65, 20], step_mm=1.0)
    phi = torus(grid, ring, tube).astype(np.float32)
    s = swept(phi, grid, pull=(0, 0, 1), draft_deg=0.0, up_to_mm=5.0)
    told = (phi > -2) & (phi < 5)
    assert np.abs(s - phi)[told].max() < 0.05


def test_nothing_stands_beyond_the_grid():
    """Below a slab everything is swept by a pull through it, and nothing by one away from it."""
    grid = Grid.around([-10.0] * 3, [10.0] * 3, step_mm=1.0)
    slab = np.minimum(8.3 - grid.axis(2), 4.0)[None, None, :] + np.zeros(grid.shape)
    phi = slab.astype(np.float32)
    down = swept(phi, grid, pull=(0, 0, -1), draft_deg=0.0, up_to_mm=2.0)
    np.testing.assert_array_equal(down[phi > 0], phi[phi > 0])
    assert (swept(phi, grid, pull=(0, 0, 1), draft_deg=0.0, up_to_mm=2.0) < 0).all()


def test_a_long_way_through_open_room_finds_no_skin_in_mid_air():
    """Distances are held at a reach; draft times the way out must not use that reach up."""
    grid = Grid.around([-60.3, -60.3, -60.3], [60, 60, 400], step_mm=3.0)
    phi = np.minimum(ball(grid), 20.0).astype(np.float32)
    s = swept(phi, grid, pull=(0, 0, 1), draft_deg=10.0, up_to_mm=5.0)
    exact = swept_ball(grid, np.array([0.0, 0.0, 1.0]), 10.0)
    assert (s[exact > 5.2] > 5.0).all()


def test_a_zone_is_left_by_pulls_that_lean_into_it():
    zone = Zone.beyond((1.0, 0.0, 0.0), 5.0)
    assert zone.is_left_by((1.0, 0.0, 0.0), draft_deg=3.0)
    assert zone.is_left_by((np.sin(np.radians(3)), 0.0, np.cos(np.radians(3))), draft_deg=3.0)
    assert not zone.is_left_by((0.0, 0.0, 1.0), draft_deg=3.0)
    assert not zone.is_left_by((-1.0, 0.0, 0.0), draft_deg=0.0)
    assert EVERYWHERE.is_left_by((0.0, 0.0, 1.0), draft_deg=3.0)


def test_soft_valleys_only_lower_a_field_and_leave_bulges_alone():
    """Around a ball the mean of the distance lies above it; between two balls it lies below,
    and rounds the crease."""
    grid = Grid.around([-60.3] * 3, [60] * 3, step_mm=2.0)
    bulge = ball(grid).astype(np.float32)
    inner = (slice(4, -4),) * 3
    soft = with_soft_valleys(bulge, grid)
    assert (soft <= bulge).all()
    near = np.abs(bulge[inner]) < 6
    np.testing.assert_allclose(soft[inner][near], bulge[inner][near], atol=1e-5)
    x, y, z = grid.axes()
    valley = np.minimum(
        np.sqrt((x - 25) ** 2 + y * y + z * z) - 30, np.sqrt((x + 25) ** 2 + y * y + z * z) - 30
    ).astype(np.float32)
    lowered = valley - with_soft_valleys(valley, grid)
    near = np.abs(valley[inner]) < 6
    crease = (np.abs(x) < 2)[inner[0]] & near
    assert lowered[inner][crease].max() > 0.2
    assert lowered[inner][near & (np.abs(x) > 10)[inner[0]]].max() < 0.05


def test_a_field_that_rises_along_a_pull_keeps_rising_when_its_valleys_are_softened():
    grid = Grid.around([-60.3] * 3, [60] * 3, step_mm=2.0)
    x, y, z = grid.axes()
    two = np.minimum(
        np.sqrt((x - 25) ** 2 + y * y + z * z) - 30, np.sqrt((x + 25) ** 2 + y * y + z * z) - 30
    )
    s = swept(
        np.minimum(two, 25).astype(np.float32), grid, pull=(0, 0, 1), draft_deg=3.0, up_to_mm=10
    )
    soft = with_soft_valleys(s, grid)
    rise = np.diff(soft, axis=2)
    middle = (soft[:, :, :-1] > -3) & (soft[:, :, :-1] < 8)
    middle[:3] = middle[-3:] = middle[:, :3] = middle[:, -3:] = False
    middle[:, :, :3] = middle[:, :, -3:] = False
    # the draft's own rise, less what reading between grid points costs
    assert rise[middle].min() > 2.0 * np.sin(np.radians(3.0)) - 0.03


def test_a_field_that_rises_is_left_alone_and_a_crumb_casts_its_shadow():
    """A plane that leans more than the draft rises already; a single low point upstream of
    nothing must lower all that would have to pass it, and nothing beside or beyond."""
    grid = Grid((0.0, 0.0, 0.0), 1.5, (21, 19, 23))
    x, y, z = grid.axes()
    pull = np.array([0.0, 0.0, 1.0])
    plane = np.broadcast_to(0.2 * z - 2.0 + 0 * x + 0 * y, grid.shape).astype(np.float32)
    assert made_to_rise(plane, grid, pull=pull, draft_deg=3.0) == pytest.approx(plane)
    crumb = plane.copy()
    crumb[10, 9, 15] = -0.1
    low = made_to_rise(crumb, grid, pull=pull, draft_deg=3.0)
    fall = 1.5 * np.sin(np.radians(3.0))
    expected = np.minimum(plane[10, 9, :15], -0.1 - fall * np.arange(15, 0, -1))
    assert low[10, 9, :15] == pytest.approx(expected, abs=1e-5)
    low[10, 9, :16] = plane[10, 9, :16]
    assert low == pytest.approx(plane)


@pytest.mark.parametrize("pull", [(0.3, -0.2, 0.93), (-0.8, 0.1, 0.6), (0.1, 0.9, 0.42)])
def test_along_the_pull_nothing_falls_short_of_the_draft(pull):
    """On the layers' own points, read as the field is read, the law holds for random noise."""
    from firstpull.core.mesh.grid import sample

    grid = Grid((0.0, 0.0, 0.0), 2.0, (24, 25, 26))
    noise = np.random.default_rng(2).normal(0, 1, grid.shape).astype(np.float32)
    way = np.array(pull) / np.linalg.norm(pull)
    risen = made_to_rise(noise, grid, pull=way, draft_deg=2.0)
    assert (risen <= noise).all()
    ijk = np.stack(np.meshgrid(*(np.arange(3, 20),) * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    step = 2.0 / np.abs(way).max()
    ahead = sample(risen, grid, 2.0 * ijk + step * way)
    assert (risen[tuple(ijk.T)] <= ahead - step * np.sin(np.radians(2.0)) + 1e-4).all()
