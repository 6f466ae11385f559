"""The choice chart: what each count of pieces costs, where it locks, and what may stand on it."""

from __future__ import annotations

import itertools
from functools import lru_cache

import manifold3d
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import shapes
from firstpull.core.mesh.grid import Grid, signed_distance
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould.from_above import CORNER_MM, relief
from firstpull.core.mould.options import (
    DEEPEST_FILL_MM,
    MOST_PIECES,
    WORTH_A_PIECE,
    Option,
    recommend,
    told_as_built,
    told_left_out,
    undominated,
    weigh_option,
)
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.piece import FLANGE_WIDTH_MM
from firstpull.core.mould.shell import build_shell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.zone import EVERYWHERE, Zone
from mould_cases import WALL, demo_mould, standing_body

STEM_MM, CAP_MM, UNDER_MM, TOP_MM = 15.0, 35.0, 40.0, 50.0
STEP_MM = 1.5  # of the skin's grid
CELL_MM = 2 * STEP_MM  # of the chart
GAP_MM, SHELL_MM = 1.5, 5.0
UP = (0.0, 0.0, 1.0)


@lru_cache(maxsize=1)
def mushroom() -> SkinShape:
    """A round stem under a flat cap as the plain skin; it goes on below the board."""

    def disc(high: float, radius: float):
        return manifold3d.Manifold.cylinder(high, radius, radius, circular_segments=128)

    stem = disc(UNDER_MM + 12.0, STEM_MM).translate((0, 0, -12.0))
    made = stem + disc(TOP_MM - UNDER_MM, CAP_MM).translate((0, 0, UNDER_MM))
    reach = 36.0
    side = CAP_MM + reach
    low, high = [-side, -side, -2.5 * STEP_MM], [side, side, TOP_MM + reach]
    grid = Grid.around(low, high, step_mm=STEP_MM)
    phi = signed_distance(mesh_of(made), grid, reach_mm=reach)
    return SkinShape(grid, phi, reach, 6.0, np.zeros((0, 3)))


@lru_cache(maxsize=2)
def mushroom_in(pieces: int) -> Option:
    """The mushroom's shell: lifted straight up, or parted at x = 0 and drawn sideways."""
    post = standing_body(mesh_of(manifold3d.Manifold.cylinder(UNDER_MM, 5.0, 5.0)))
    parting = Parting((EVERYWHERE,), np.array([UP]), 0.0)
    if pieces == 2:
        right, left = (Zone.beyond((side, 0.0, 0.0), 0.0) for side in (1.0, -1.0))
        parting = Parting((right, left), np.array([[1.0, 0, 0], [-1.0, 0, 0]]), 0.0)
    wall = {"thickness_mm": SHELL_MM, "clearance_mm": GAP_MM, "draft_deg": 0.0}
    return weigh_option(post, mushroom(), parting, **wall)


def area_of(outline) -> float:
    x, y = np.array(outline).T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def crossings_at_y0(outlines) -> list[float]:
    found = []
    for outline in outlines:
        corners = [*outline, outline[0]]
        for (x0, y0), (x1, y1) in itertools.pairwise(corners):
            if (y0 < 0) != (y1 < 0):
                found.append(x0 - y0 * (x1 - x0) / (y1 - y0))
    return found


# --- what is counted -------------------------------------------------------------------------


def test_a_cap_locks_by_the_ring_under_it():
    """Closed form: the ring between stem and cap, pi (R^2 - r^2) h. Cells are counted by the
    distance at their middles, which is first-order exact on faces and errs by no more than a
    quarter of a cell's square along edges. The ring is deepest at its outer foot, R - r from
    the stem."""
    option = mushroom_in(1)
    ring = np.pi * (CAP_MM**2 - STEM_MM**2) * UNDER_MM / 1000
    along_edges = 0.25 * CELL_MM**2 * 2 * np.pi * 2 * (CAP_MM + STEM_MM) / 1000
    assert option.fill_cm3 == pytest.approx(ring, abs=along_edges)
    (lock,) = option.locks
    assert lock.piece == 1
    assert lock.volume_cm3 == pytest.approx(option.fill_cm3, rel=0.01)
    assert lock.depth_mm == pytest.approx(CAP_MM - STEM_MM, abs=CELL_MM)
    assert option.deepest_fill_mm == lock.depth_mm
    x, y, z = lock.place_mm
    assert np.hypot(x, y) == pytest.approx(STEM_MM, abs=0.5 * CELL_MM)  # on the stem
    assert 0 <= z <= UNDER_MM
    assert f"{ring:.0f} cm³" in lock.sentence and lock.sentence.startswith("Piece 1 locks at (")


def test_halves_drawn_sideways_lock_nowhere():
    option = mushroom_in(2)
    assert option.locks == ()
    assert option.fill_cm3 < 0.25 * CELL_MM**2 * 4 * TOP_MM / 1000
    assert option.pulls == ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0))
    assert len(option.walls) == 1


def test_the_shell_of_one_piece_is_the_band_around_what_it_sweeps_out():
    """Closed form (Pappus): around a cylinder of radius R and height h on the board an offset d
    encloses pi (R+d)^2 h + pi R^2 d + pi^2 R d^2 / 2 + 2 pi d^3 / 3."""

    def enclosed(d: float) -> float:
        edge = np.pi**2 * CAP_MM * d**2 / 2 + 2 * np.pi * d**3 / 3
        return np.pi * (CAP_MM + d) ** 2 * TOP_MM + np.pi * CAP_MM**2 * d + edge

    band = (enclosed(GAP_MM + SHELL_MM) - enclosed(GAP_MM)) / 1000
    assert mushroom_in(1).shell_cm3 == pytest.approx(band, rel=0.01)


def test_flanges_make_two_pieces_heavier_than_one():
    """Under the cap, between the sides of the shell and its reach, two flanges 25 mm wide and
    one and a half times as thick as the wall stand against each other on both sides."""
    flanges = 2 * FLANGE_WIDTH_MM * 2 * 1.5 * SHELL_MM * UNDER_MM / 1000
    assert mushroom_in(2).shell_cm3 > flanges
    assert mushroom_in(2).shell_cm3 > mushroom_in(1).shell_cm3


@pytest.mark.parametrize("pieces", [1, 2])
def test_skin_and_shell_are_counted_as_they_are_built(pieces):
    """On a grid twice as coarse, flanges included: the shell within 2 %, its bolt holes with it."""
    mould = demo_mould()
    option = weigh_option(mould.body, mould.shape, mould.partings[pieces], **WALL)
    built = mould.built[pieces]
    shell = sum(piece.volume_cm3 for piece in built.pieces)
    assert option.shell_cm3 == pytest.approx(shell, rel=0.02)
    assert sum(lock.volume_cm3 for lock in option.locks) <= option.fill_cm3 + 1e-6
    low, high = built.skin.bounds_mm
    for lock in option.locks:
        assert (lock.place_mm >= low - CELL_MM).all() and (lock.place_mm <= high + CELL_MM).all()


def test_fill_that_a_piece_leaves_stands_before_the_next():
    """The right half is lifted and leaves fill under its half of the cap; the left half then
    goes over where the right one was. Counted and built agree, and more is filled than where
    the left one would go through that fill."""
    zones = tuple(Zone.beyond((side, 0.0, 0.0), 0.0) for side in (1.0, -1.0))
    pulls = np.array([UP, np.array([0.5, 0.8, 0.3317])])
    post = standing_body(mesh_of(manifold3d.Manifold.cylinder(UNDER_MM, 5.0, 5.0)))
    wall = {"thickness_mm": SHELL_MM, "clearance_mm": GAP_MM, "draft_deg": 0.0}
    through, ordered = (
        weigh_option(post, mushroom(), Parting(zones, pulls, 0.0, is_ordered=kept), **wall)
        for kept in (False, True)
    )
    built = build_shell(post, mushroom(), Parting(zones, pulls, 0.0, is_ordered=True), **wall)
    assert ordered.fill_cm3 > 1.05 * through.fill_cm3
    assert ordered.fill_cm3 == pytest.approx(built.fill_cm3, rel=0.03)


# --- seen from above -------------------------------------------------------------------------


def test_seen_from_above_a_round_shell_is_a_disc_and_its_halves_meet_in_the_wall():
    (outline,) = mushroom_in(1).outlines[0]
    radius = CAP_MM + GAP_MM + SHELL_MM
    slack = 2 * np.pi * radius * (CORNER_MM + 0.05)
    assert area_of(outline) == pytest.approx(np.pi * radius**2, abs=slack)
    (right,), (left,) = mushroom_in(2).outlines
    assert area_of(right) == pytest.approx(area_of(left), rel=0.01)
    assert min(x for x, _ in right) == pytest.approx(0.0, abs=0.5 * CELL_MM)
    assert max(x for x, _ in left) == pytest.approx(0.0, abs=0.5 * CELL_MM)


def test_a_leaning_wall_is_seen_where_it_meets_the_top():
    """The wall leans 30 degrees over the right piece. Closed form: it rises from the axis'
    foot in the direction (1, sqrt 3) / 2 and ends, with its flange, at the flange's reach r
    from the cap's edge (R, h): (t/2 - R)^2 + (t sqrt(3)/2 - h)^2 = r^2. There, half of t off
    the axis, the right piece comes out from under the left one."""
    lean = np.radians(30.0)
    normal = (float(np.cos(lean)), 0.0, float(-np.sin(lean)))
    zones = (Zone.beyond(normal, 0.0), Zone.beyond([-c for c in normal], 0.0))
    pulls = np.array([[1.0, 0.0, 0.0], [-0.5, 0.0, 0.75**0.5]])
    post = standing_body(mesh_of(manifold3d.Manifold.cylinder(UNDER_MM, 5.0, 5.0)))
    option = weigh_option(
        post,
        mushroom(),
        Parting(zones, pulls, 0.0),
        thickness_mm=SHELL_MM,
        clearance_mm=GAP_MM,
        draft_deg=0.0,
    )
    half = 0.5 * CAP_MM + 0.75**0.5 * TOP_MM
    reach = GAP_MM + SHELL_MM + FLANGE_WIDTH_MM
    end = half + np.sqrt(half**2 - CAP_MM**2 - TOP_MM**2 + reach**2)
    assert min(crossings_at_y0(option.outlines[0])) == pytest.approx(0.5 * end, abs=CELL_MM)


def test_a_cone_is_told_by_circles_that_shrink_evenly():
    """Closed form: at height z the radius is R (1 - z / h); corners within half a millimetre."""
    levels = relief(shapes.cone(30.0, 50.0))
    assert [level.z_mm for level in levels] == [5.0 * n for n in range(10)]
    for level in levels:
        (outline,) = level.outlines
        radius = np.hypot(*np.array(outline).T)
        assert radius == pytest.approx(30.0 * (1 - level.z_mm / 50.0), abs=CORNER_MM)


# --- what stands on the chart ----------------------------------------------------------------

figures = st.floats(0.0, 300.0, allow_nan=False)


@st.composite
def charts(draw) -> list[Option]:
    counts = sorted(draw(st.sets(st.integers(1, MOST_PIECES), min_size=1)))
    return [
        Option(n, fill := draw(figures), 400.0 + fill, 200.0 + draw(figures), draw(figures) / 5)
        for n in counts
    ]


def is_dominated(option: Option, others: list[Option]) -> bool:
    """No worse in all three and better in one, which is the usual meaning."""

    def costs(o: Option) -> tuple[float, float, float]:
        return o.pieces, o.fill_cm3, o.shell_cm3

    own = costs(option)
    return any(
        all(a <= b for a, b in zip(costs(o), own, strict=True)) and costs(o) != own for o in others
    )


@given(charts())
def test_no_dominated_point_is_on_the_chart_and_none_is_missed(weighed):
    kept = undominated(weighed)
    assert kept[0] == weighed[0]
    assert not any(is_dominated(option, weighed) for option in kept)
    assert undominated(kept) == kept
    for option in weighed:
        if option not in kept:  # as good with fewer pieces, within what the grid can tell
            assert any(
                other.pieces < option.pieces
                and other.fill_cm3 <= option.fill_cm3 + 0.2
                and 0.98 * other.shell_cm3 <= option.shell_cm3
                for other in kept
            )


@given(charts())
def test_each_count_is_on_the_chart_or_has_a_line_that_says_why_not(weighed):
    kept = undominated(weighed)
    lines = told_left_out(weighed, kept)
    assert len(kept) + len(lines) == MOST_PIECES
    for line in lines:
        assert (line.endswith(".") and "save nothing over" in line) or line.startswith("No ")


@given(charts(), st.floats(0.0, 0.9))
def test_the_recommended_point_saves_what_a_piece_is_worth(weighed, worth):
    kept = undominated(weighed)
    chosen, why = recommend(kept, piece_worth=worth)
    assert chosen in kept and why.count(".") == 1 and why.endswith(".")
    fewer = [option for option in kept if option.pieces < chosen.pieces]
    if fewer:
        saved = fewer[0].skin_cm3 - chosen.skin_cm3
        too_deep = max(option.deepest_fill_mm for option in fewer) > DEEPEST_FILL_MM
        assert saved > worth * fewer[0].skin_cm3 or too_deep


@given(charts(), st.data())
def test_the_built_point_stays_on_the_chart_with_its_own_figures(weighed, data):
    kept = undominated(weighed)
    pieces = data.draw(st.sampled_from([option.pieces for option in kept]))
    told = told_as_built(kept, pieces=pieces, fill_cm3=30.0, skin_cm3=430.0, shell_cm3=300.0)
    (built,) = [option for option in told if option.pieces == pieces]
    assert (built.fill_cm3, built.skin_cm3, built.shell_cm3) == (30.0, 430.0, 300.0)
    assert not any(is_dominated(o, told) for o in told if o is not built and o.pieces > pieces)
    assert all(o.skin_cm3 - o.fill_cm3 == pytest.approx(400.0) for o in told)


def test_a_lighter_shell_is_worth_a_place_and_its_flanges_are_not():
    one = Option(1, 20.0, 420.0, 500.0, 8.0)
    lighter = Option(2, 20.0, 420.0, 400.0, 8.0)
    heavier = Option(3, 20.0, 420.0, 640.0, 8.0)
    assert undominated([one, lighter, heavier]) == [one, lighter]
    assert told_left_out([one, lighter, heavier], [one, lighter], most_pieces=3) == (
        "3 pieces save nothing over 2.",
    )


def test_a_piece_is_worth_what_the_maker_says():
    one, two = Option(1, 60.0, 460.0, 300.0, 9.0), Option(2, 5.0, 405.0, 400.0, 3.0)
    assert WORTH_A_PIECE > 55.0 / 460.0
    assert recommend([one, two])[0] is one
    chosen, why = recommend([one, two], piece_worth=0.1)
    assert chosen is two and "save 55 cm³" in why


def test_no_point_is_taken_that_only_then_strips_badly():
    one = Option(1, 90.0, 490.0, 300.0, 20.0)
    deep = Option(2, 5.0, 405.0, 400.0, DEEPEST_FILL_MM + 10)
    assert recommend([one, deep])[0] is one


def test_where_no_single_piece_is_there_the_reason_says_so():
    chosen, why = recommend([Option(2, 5.0, 405.0, 400.0, 3.0)])
    assert chosen.pieces == 2 and "fewest" in why
