"""The least number of pieces, against closed forms, every subset of small tables, and laws."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

import menagerie
import shapes
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.access import pull_directions, reachable
from firstpull.core.mould.least import (
    SLACK,
    _by_programme,
    _merged,
    least_cover,
    least_pieces,
)

RING = np.radians(np.arange(0, 360, 5.0))
CUBE_WAYS = pull_directions(divisions=6)  # axes and all diagonals of a cube among them


def around(*, rise_deg: float) -> NDArray[np.float64]:
    """Pulls every 5 degrees around, all rising alike."""
    flat = np.cos(np.radians(rise_deg))
    high = np.full(len(RING), np.sin(np.radians(rise_deg)))
    return np.column_stack([flat * np.cos(RING), flat * np.sin(RING), high])


def ball() -> tuple[Mesh, float]:
    """A ball, and how far in degrees any direction is at the most from a face's normal: half
    the diagonal of the cells between its rings and meridians."""
    rings = 24
    return menagerie.ball(rings=rings), 180.0 / rings / np.sqrt(2.0)


# Closed forms


@pytest.mark.parametrize(
    ("radius_deg", "fewer", "pulls"),
    [
        (90.0, 3, [(1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)]),
        (
            np.degrees(np.arccos(1 / 3)),
            4,
            [
                (0, 0, 1),
                (0, 0, -1),
                *[(np.cos(a), np.sin(a), 0) for a in np.radians([0, 120, 240])],
            ],
        ),
        (
            np.degrees(np.arctan(2.0)),
            5,
            [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)],
        ),
    ],
)
def test_a_ball_needs_as_many_pieces_as_caps_that_cover_a_sphere(
    radius_deg: float, fewer: int, pulls: list[tuple[float, ...]]
) -> None:
    """A pull with a draft reaches a cap of radius 90 - draft. Three caps cover a sphere only
    from 90 degrees on, four from 70.529 (a regular tetrahedron), five from 63.435 (a double
    pyramid over a triangle): the sphere covering radii, from memory after L. Fejes Toth and
    K. Schutte; the coverings themselves are checked here. A cap too small by the distance to
    the nearest normal of a face leaves a face out."""
    mesh, gap_deg = ball()
    draft_deg = 90.0 - radius_deg + gap_deg + 0.1
    ways = np.vstack([pull_directions(divisions=3), pulls])
    found = least_pieces(mesh, ways, draft_deg=draft_deg, share=1.0)
    assert found.is_proven
    assert found.found == fewer + 1
    assert found.silicone_share == 0.0
    assert reachable(mesh, found.pulls, draft_deg=draft_deg).any(axis=0).all()


def test_a_ball_needs_four_pieces_up_to_the_angle_of_a_tetrahedron() -> None:
    """asin(1/3) = 19.471 degrees: its four pulls are among those tried."""
    mesh, _ = ball()
    found = least_pieces(mesh, pull_directions(divisions=3), draft_deg=19.4, share=1.0)
    assert (found.found, found.is_proven) == (4, True)
    assert reachable(mesh, found.pulls, draft_deg=19.4).any(axis=0).all()


@pytest.mark.parametrize(("draft_deg", "pieces"), [(3.8, 3), (15.0, 3), (26.5, 3), (29.0, 4)])
def test_half_a_ball_on_a_board_needs_three_pieces(draft_deg: float, pieces: int) -> None:
    """Derived here: a pull that rises by the draft reaches at the most the acos(tan draft) to
    each side of its own bearing along the foot of the ball. Two such arcs never close a circle;
    three do up to tan draft = 1/2, 26.565 degrees. The lowest facets look up by 180 / n = 1.9
    degrees, which is worth no more draft than that, and stand 3.75 degrees apart: narrower
    gaps between arcs, as from a draft of less than 1.9 degrees, may hold none."""
    n = 96
    dome = shapes.hemisphere(60.0, n)
    rises = [draft_deg, 26.57, 35.0, 45.0, 60.0]
    ways = np.vstack([around(rise_deg=r) for r in rises if r >= draft_deg])
    found = least_pieces(dome, ways, draft_deg=draft_deg, on_board=True, share=1.0)
    assert (found.found, found.is_proven) == (pieces, True)


@pytest.mark.parametrize(
    ("draft_deg", "pieces"), [(0.0, 2), (3.0, 2), (35.2, 2), (35.3, 3), (44.9, 3), (45.1, 6)]
)
def test_a_box_comes_apart_along_a_space_diagonal(draft_deg: float, pieces: int) -> None:
    """Derived here: a pull leans toward three sides by 35.264 degrees at the most, toward two
    by 45; two sides that look away from each other never share one."""
    found = least_pieces(menagerie.box(), CUBE_WAYS, draft_deg=draft_deg, share=1.0)
    assert (found.found, found.is_proven) == (pieces, True)


def test_a_cone_on_a_board_is_one_piece_up_to_its_half_angle() -> None:
    """Bose, Geft, Halperin, Shamai 2017 (arXiv 1708.04203) for single-part moulds: one piece
    where all sides but the base lean toward the pull. Here by the draft, the half-angle."""
    n = 48
    cone = shapes.cone(20.0, 60.0, n)
    half = np.degrees(np.arctan(20.0 * np.cos(np.pi / n) / 60.0))
    one = least_pieces(cone, CUBE_WAYS, draft_deg=half - 0.01, on_board=True)
    assert (one.found, one.is_proven) == (1, True)
    assert one.pulls[0].tolist() == [0, 0, 1]
    more = least_pieces(cone, CUBE_WAYS, draft_deg=half + 0.01, on_board=True)
    assert more.at_least >= 2
    assert "no single pull" in more.sentence or "pulls" in more.sentence


def test_a_ring_pulled_sideways_is_closed_by_silicone_alone() -> None:
    """(pi R - 2 a) / (2 pi R) of a torus no pull across its axis reaches, see the tests of
    what a pull reaches: the two opposite ones leave as much as all of them."""
    n = 96
    sideways = around(rise_deg=0.0)
    found = least_pieces(shapes.torus(50.0, 10.0, n), sideways, draft_deg=0.0, share=0.999)
    exact = (np.pi * 50.0 - 20.0) / (100.0 * np.pi)
    assert found.silicone_share == pytest.approx(exact, abs=(2 * np.pi / n) ** 2)
    assert "only silicone can close it" in found.sentence
    assert found.found == 2


# Every subset of small tables


@st.composite
def tables(draw: st.DrawFn) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    rows, columns = draw(st.integers(1, 8)), draw(st.integers(1, 24))
    table = draw(arrays(np.bool_, (rows, columns)))
    weights = draw(arrays(np.float64, columns, elements=st.sampled_from([0.0, 0.5, 1.0, 3.0, 7.0])))
    return table, weights


def by_all_subsets(
    table: NDArray[np.bool_], weights: NDArray[np.float64], share: float
) -> tuple[int, list[float]]:
    """The least number of rows, and the most that fewer rows cover, by trying all of them."""
    whole = weights[table.any(axis=0)].sum()
    if whole == 0.0:
        return 0, []
    too_few = []
    for count in range(1, len(table) + 1):
        covered = [
            weights[table[list(rows)].any(axis=0)].sum() / whole
            for rows in combinations(range(len(table)), count)
        ]
        if max(covered) >= share - SLACK:
            return count, too_few
        too_few.append(max(covered))
    raise AssertionError("all rows together cover everything")


@settings(max_examples=200, deadline=None)
@given(tables(), st.sampled_from([0.5, 0.8, 0.95, 1.0]))
def test_the_least_cover_is_that_of_all_subsets(
    drawn: tuple[NDArray[np.bool_], NDArray[np.float64]], share: float
) -> None:
    table, weights = drawn
    least, too_few = by_all_subsets(table, weights, share)
    found = least_cover(table, weights, share=share)
    assert len(found.chosen) == found.at_least == least
    assert found.too_few == pytest.approx(too_few[:3])
    if least:
        whole = weights[table.any(axis=0)].sum()
        covered = weights[table[list(found.chosen)].any(axis=0)].sum() / whole
        assert found.share == pytest.approx(covered)
        assert covered >= share - 2 * SLACK


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("share", [0.9, 1.0])
def test_many_narrow_rows_need_many(seed: int, share: float) -> None:
    """Tables that take five rows and more go by the mixed-integer programme."""
    rng = np.random.default_rng(seed)
    table = rng.random((12, 40)) < 0.2
    weights = rng.random(40)
    least, _ = by_all_subsets(table, weights, share)
    found = least_cover(table, weights, share=share)
    assert len(found.chosen) == found.at_least == least >= 4


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("share", [0.8, 1.0])
def test_counting_and_the_programme_are_two_routes_to_one_number(seed: int, share: float) -> None:
    rng = np.random.default_rng(100 + seed)
    reached = rng.random((20, 300)) < 0.45
    counted = least_cover(reached, np.ones(300), share=share)
    table, weight = _merged(reached, np.ones(300))
    chosen, at_least = _by_programme(table, weight, share - SLACK, 1, 60.0)
    assert chosen is not None
    assert len(chosen) == at_least == counted.at_least == len(counted.chosen)


def test_without_time_no_more_is_claimed_than_is_known() -> None:
    rng = np.random.default_rng(0)
    table = rng.random((60, 400)) < 0.12
    found = least_cover(table, np.ones(400), share=1.0, time_limit_s=1e-3)
    assert 4 <= found.at_least <= len(found.chosen)
    assert table[list(found.chosen)].any(axis=0).sum() == table.any(axis=0).sum()


# Laws


def test_turning_or_mirroring_body_and_pulls_together_changes_nothing() -> None:
    ring, ways = shapes.torus(30.0, 10.0, 36), pull_directions(divisions=4)
    matrix = menagerie.turning(37.0, (1.0, 2.0, -0.5), (5.0, 60.0, -8.0))
    before = least_pieces(ring, ways, draft_deg=7.3)
    for mirror in (1.0, -1.0):
        moved = matrix @ np.diag([mirror, 1.0, 1.0, 1.0])
        after = least_pieces(ring.moved(moved), ways @ moved[:3, :3].T, draft_deg=7.3)
        assert (after.found, after.at_least) == (before.found, before.at_least)
        assert after.too_few == pytest.approx(before.too_few)
        assert after.silicone_share == pytest.approx(before.silicone_share, abs=1e-9)


def test_more_pulls_to_try_never_need_more_pieces() -> None:
    mesh, _ = ball()
    some = least_pieces(mesh, pull_directions(divisions=2), draft_deg=15.0, share=1.0)
    more = least_pieces(mesh, pull_directions(divisions=4), draft_deg=15.0, share=1.0)
    assert more.found <= some.found
    assert more.too_few[0] >= some.too_few[0] - 1e-12


# Words and refusals


def test_the_sentence_says_what_one_pull_cannot() -> None:
    found = least_pieces(menagerie.box(size_mm=(60, 50, 40)), CUBE_WAYS, draft_deg=2.0)
    assert found.sentence == (
        "At least 2 pieces without fill: no single pull of the 146 tried frees more than 50 %."
    )
    assert found.as_json()["sentence"] == found.sentence


def test_a_body_that_no_pull_reaches_is_said_to_be_so() -> None:
    floor_up = least_pieces(menagerie.box(), [(0, 0, 1)], draft_deg=0.0)
    assert floor_up.found == 1
    nothing = least_pieces(menagerie.box(), [(1, 1, 1)], draft_deg=40.0)
    assert nothing.found == 0
    assert nothing.silicone_share == 1.0
    assert "None of the 1 pulls tried frees anything" in nothing.sentence


def test_pulls_into_the_board_and_shares_beyond_all_are_refused() -> None:
    with pytest.raises(WorkshopError, match="lift off by the draft") as refused:
        least_pieces(menagerie.box(), [(1, 0, 0), (0, 0, -1)], draft_deg=2.0, on_board=True)
    assert refused.value.code == "no_pulls"
    for share in (0.0, 1.01, float("nan")):
        with pytest.raises(WorkshopError) as refused:
            least_pieces(menagerie.box(), CUBE_WAYS, draft_deg=2.0, share=share)
        assert refused.value.code == "share_out_of_range"
