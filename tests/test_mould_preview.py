"""The quick preview of walls: the same sums as the search, and places that really lock."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from firstpull.core.mould.parting import part_in_one
from firstpull.core.mould.preview import Preview, preview, preview_shadows
from firstpull.core.mould.shadows import Shadows, cast_shadows
from firstpull.core.mould.zone import PartingWall
from mould_cases import DRAFT_DEG, skin_of, standing_body
from test_mould_adjust import winding_ridge


@lru_cache(maxsize=1)
def ridge() -> Shadows:
    return preview_shadows(skin_of(standing_body(winding_ridge()), step_mm=2.0), draft_deg=3.0)


def shown(*walls: PartingWall) -> Preview:
    found = preview(ridge(), walls, draft_deg=DRAFT_DEG)
    assert found is not None
    return found


def test_it_is_drawn_on_a_grid_of_about_4_mm() -> None:
    assert ridge().grid.step_mm == 4.0


def test_without_walls_it_is_the_search_in_one_piece_before_the_pull_is_turned() -> None:
    one = part_in_one(ridge(), draft_deg=DRAFT_DEG)
    assert shown().fill_cm3 >= one.fill_cm3 - 1e-6


def test_a_wall_that_moves_off_the_crest_costs_more_and_more() -> None:
    bend = tuple((float(u), float(26 * np.sin(u / 70 * np.pi))) for u in range(-70, 71, 10))
    fills = [shown(PartingWall((1.0, 0.0, 0.0), x, bend)).fill_cm3 for x in (0.0, 12.0, 24.0)]
    assert fills[0] < 0.5 * fills[1] < fills[2]


def test_locks_lie_where_the_wall_leaves_the_rail_on_the_wrong_side() -> None:
    """With the wall beside the whole rail, its far overhang locks the piece that holds it."""
    found = shown(PartingWall((1.0, 0.0, 0.0), 40.0))
    assert found.locks
    assert sum(lock.volume_cm3 for lock in found.locks) <= found.fill_cm3 + 0.01
    assert sum(lock.volume_cm3 for lock in found.locks) > 0.7 * found.fill_cm3
    wrong = found.locks[0]
    assert wrong.place_mm[2] < 60.0  # under the rail
    assert found.as_json()["locks"][0] == wrong.as_json()


def test_a_finer_grid_tells_the_same_fill() -> None:
    walls = [PartingWall((1.0, 0.0, 0.0), 20.0)]
    fine = cast_shadows(
        skin_of(standing_body(winding_ridge()), step_mm=2.0), draft_deg=3.0, coarse_steps=1
    )
    finer = preview(fine, walls, draft_deg=DRAFT_DEG)
    assert finer is not None
    assert shown(*walls).fill_cm3 == pytest.approx(finer.fill_cm3, rel=0.12)


def test_walls_that_no_piece_can_leave_give_none() -> None:
    """Two stretches that slope by 2 leave each other at 27 degrees at the most."""
    wedge = PartingWall((1.0, 0.0, 0.0), 0.0, ((-30.0, 0.0), (0.0, 60.0), (30.0, 0.0)))
    assert preview(ridge(), [wedge], draft_deg=20.0) is not None
    assert preview(ridge(), [wedge], draft_deg=40.0) is None
