"""Walls moved, tilted and bent: where the best wall is known, it is found."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise, product

import manifold3d
import numpy as np
import pytest

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould import bend
from firstpull.core.mould.adjust import adjusted, cheapest, exchanged
from firstpull.core.mould.parting import Parting, Rules, part_in_two
from firstpull.core.mould.shadows import Shadows, cast_shadows, find_mirror
from firstpull.core.mould.zone import PartingWall, Zone
from mould_cases import DRAFT_DEG, skin_of, standing_body


def winding_ridge(swing_mm: float = 26.0) -> Mesh:
    """A thin upright sheet that winds along y with a thick round rail on top, overhanging on
    both sides: only a wall along the rail's own line frees both halves."""
    y = np.linspace(-70.0, 70.0, 57)
    x = swing_mm * np.sin(y / 70.0 * np.pi)
    links, ends_xy = [], np.column_stack([x, y]).tolist()
    for pair in pairwise(ends_xy):
        ends = [manifold3d.Manifold.sphere(18.0, 32).translate((*xy, 46.0)) for xy in pair]
        post = manifold3d.Manifold.cylinder(46.0, 5.0, circular_segments=24)
        posts = [post.translate((*xy, 0.0)) for xy in pair]
        links += [manifold3d.Manifold.batch_hull(ends), manifold3d.Manifold.batch_hull(posts)]
    return mesh_of(manifold3d.Manifold.batch_boolean(links, manifold3d.OpType.Add))


@lru_cache(maxsize=1)
def ridge_shadows() -> Shadows:
    return cast_shadows(skin_of(standing_body(winding_ridge()), step_mm=2.0), draft_deg=DRAFT_DEG)


@lru_cache(maxsize=1)
def ridge_parted() -> tuple[Parting, Parting]:
    flat = part_in_two(ridge_shadows(), draft_deg=DRAFT_DEG)
    assert flat is not None
    return flat, adjusted(ridge_shadows(), flat, draft_deg=DRAFT_DEG)


def test_a_wall_bends_along_a_winding_crest() -> None:
    """The crest is a sine of 26 mm; a straight wall must fill where the rail hangs over it."""
    flat, bent = ridge_parted()
    assert bent.fill_cm3 < 0.3 * flat.fill_cm3
    (wall,) = bent.walls
    assert wall.bend
    y = np.linspace(-50, 50, 41)
    crest = np.column_stack([26 * np.sin(y / 70 * np.pi), y, np.full(41, 46.0)])
    straight = flat.walls[0].depth(*crest.T)
    assert np.abs(wall.depth(*crest.T)).mean() < 0.7 * np.abs(straight).mean()


def test_what_a_bent_wall_parts_is_left_by_both_pulls() -> None:
    for zone, pull in zip(ridge_parted()[1].zones, ridge_parted()[1].pulls, strict=True):
        assert zone.is_left_by(pull, draft_deg=DRAFT_DEG)


def test_little_fill_is_not_worth_a_bend() -> None:
    """With walls forbidden to change, or nothing to save, the parting stays as it was."""
    flat, bent = ridge_parted()
    held = adjusted(ridge_shadows(), flat, draft_deg=DRAFT_DEG, held=flat.walls)
    assert held is flat
    again = adjusted(ridge_shadows(), bent, draft_deg=DRAFT_DEG)
    assert again.fill_cm3 <= bent.fill_cm3


def test_the_cheapest_way_is_the_least_of_all_ways() -> None:
    """Against every way through small maps, as by hand."""
    rng = np.random.default_rng(7)
    moves, longer = np.array([-1, 0, 1]), np.array([0.2, 0.0, 0.2])
    for _ in range(20):
        cost = rng.uniform(0, 1, (5, 4))
        found = bend._cheapest_way(cost, moves, longer)

        def total(way: tuple[int, ...], cost: np.ndarray = cost) -> float:
            steps = np.abs(np.diff(way))
            if steps.max() > 1:
                return np.inf
            return float(cost[range(5), way].sum() + 0.2 * steps.sum())

        best = min(total(way) for way in product(range(4), repeat=5))
        assert total(tuple(found)) == pytest.approx(best)


def test_columns_cost_what_lies_ahead_and_behind() -> None:
    rng = np.random.default_rng(3)
    i, j = rng.integers(0, 4, 60), rng.integers(0, 6, 60)
    ahead, behind = rng.uniform(0, 1, (2, 60))
    cost = bend._column_costs(i, j, ahead, behind, 4, 5)
    for c, r in np.ndindex(4, 5):
        here = i == c
        expected = ahead[here & (j > r)].sum() + behind[here & (j <= r)].sum()
        assert cost[c, r] == pytest.approx(expected)


def test_the_cost_of_zones_is_the_sum_of_their_shadows() -> None:
    shadows = ridge_shadows()
    wall = PartingWall((1.0, 0.0, 0.0), 3.0)
    cost, ways = cheapest(shadows, (Zone((wall,)), Zone((wall.turned,))), draft_deg=DRAFT_DEG)
    ahead = shadows.points_mm[:, 0] >= 3.0
    expected = shadows.fills[ways[0], ahead].sum() + shadows.fills[ways[1], ~ahead].sum()
    assert cost == pytest.approx(float(expected), rel=1e-4)


def test_walls_are_exchanged_on_both_sides() -> None:
    wall, new = PartingWall((1.0, 0.0, 0.0), 3.0), PartingWall((0.0, 1.0, 0.0), 1.0)
    zones = exchanged((Zone((wall,)), Zone((wall.turned,))), wall, new)
    assert zones == (Zone((new,)), Zone((new.turned,)))


def test_the_mirror_plane_is_found_at_any_angle() -> None:
    """An ellipsoid's shorter axes turned by a known angle; a winding ridge has no mirror."""
    shadows = ridge_shadows()
    assert shadows.mirror is None
    x, y, z = shadows.grid.axes()
    for turn in (0.0, 0.4, 1.3):
        c, s = np.cos(turn), np.sin(turn)
        a, b = c * (x - 4) + s * (y + 2), -s * (x - 4) + c * (y + 2)
        lump = np.sqrt((a / 40) ** 2 + ((b + 6 * np.cos(a / 12)) / 60) ** 2 + (z / 50) ** 2)
        found = find_mirror(((lump - 1) * 40).astype(np.float32), shadows.grid)
        assert found is not None
        assert abs(np.dot(found.normal, (c, s, 0.0))) > np.cos(0.02)
        assert abs(np.dot(found.normal, (4.0, -2.0, 0.0)) - found.offset_mm) < 0.7


def test_rules_keep_walls_out_of_painted_places() -> None:
    wall = PartingWall((1.0, 0.0, 0.0), 3.0)
    assert not Rules(keep_whole=(((5.0, 40.0, 9.0), 2.5),)).allow(wall, None)
    assert Rules(keep_whole=(((5.0, 40.0, 9.0), 1.5),)).allow(wall, None)
    mirror = PartingWall((1.0, 0.0, 0.0), 0.0)
    assert not Rules(symmetric=True).allow(wall, mirror)
    assert Rules(symmetric=True).allow(mirror.turned, mirror)
    assert Rules(symmetric=True).allow(PartingWall((0.0, 1.0, 0.0), 9.0), mirror)
