"""Profile gauges: against the surface they are cut along, and as cards that one can use."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid, signed_distance
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.fill_guide import fill_guide
from firstpull.core.mould.fill_surface import SkinSurfaces, skin_surfaces
from firstpull.core.mould.gauge_run import REST_MM
from firstpull.core.mould.gauges import BACK_MM, CARD_MM, Gauge, guide_as_json, profile_gauges
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept, with_soft_valleys
from firstpull.files.drawing import Drawing, Layer
from firstpull.files.write_dxf import dxf_bytes
from firstpull.files.write_svg import svg_bytes

Array = NDArray[np.float64]
STEP = 1.5
POST_MM, WAIST_MM = 40.0, 12.0


def post(*, turns: int = 0) -> tuple[SkinShape, Fill]:
    """A post on the board with a waist 12 mm deep at half height, and its fill for a pull along
    +x, straight up to the post's own radius.

    The waist goes once around: an arc of radius 20 mm about 8 mm outside the post, and
    more away from 20 degrees over +x, where it is deepest. ``turns``
    are quarter turns about z.
    """
    half = POST_MM + 30.0
    grid = Grid.around([-half, -half, -2.5 * STEP], [half, half, 118.0], step_mm=STEP)
    x, y, z = grid.axes()
    for _ in range(turns % 4):
        x, y = y, -x
    out = np.hypot(x, y) - POST_MM
    shallower = 1.0 - np.cos(np.arctan2(y, x) - 0.35)
    straight = np.maximum(out, z - 100.0)
    groove = 20.0 - np.hypot(out - 8.0 - 2.0 * shallower, z - 50.0)
    phi = np.maximum(straight, groove)
    drawn = contour(phi.astype(np.float32), grid)
    shape = SkinShape(grid, signed_distance(drawn, grid), 99.0, 8.0, np.zeros((0, 3)))
    flush = signed_distance(contour(np.asarray(straight, dtype=np.float32), grid), grid)
    plain = with_soft_valleys(shape.phi, grid)
    ahead = np.broadcast_to(x > 0, grid.shape)
    filled = np.where(ahead, np.minimum(flush, shape.phi), shape.phi).astype(np.float32)
    return shape, Fill.between(plain, filled, step_mm=STEP)


def gauges_of(shape: SkinShape, fill: Fill) -> tuple[tuple[Gauge, ...], SkinSurfaces]:
    surfaces = skin_surfaces(shape, fill)
    guide = fill_guide(shape, fill, surfaces=surfaces)
    return profile_gauges(guide.places, surfaces, shape.grid), surfaces


@pytest.fixture(scope="module")
def made() -> tuple[Gauge, SkinSurfaces]:
    (gauge,), surfaces = gauges_of(*post())
    return gauge, surfaces


def in_mould(gauge: Gauge, flat: Array) -> Array:
    whole = np.column_stack([flat, np.zeros(len(flat)), np.ones(len(flat))])
    return np.asarray((whole @ gauge.frame.T)[:, :3])


def along(line: Array, step_mm: float = 0.2) -> Array:
    """Places all along a line, not only at its corners."""
    parts = [
        a + np.linspace(0, 1, max(2, int(np.hypot(*(b - a)) / step_mm)))[:, None] * (b - a)
        for a, b in pairwise(line)
    ]
    return np.concatenate(parts)


def test_the_working_edge_lies_on_the_filled_surface(made: tuple[Gauge, SkinSurfaces]) -> None:
    """Within the 0.03 mm its corners may be smoothed by and a quarter of what a bend between two
    places 0.25 mm apart can hide; asked for are 0.2 mm."""
    gauge, surfaces = made
    edge = in_mould(gauge, along(gauge.profile_mm))
    assert Tree.of(surfaces.filled).closest(edge)[0].max() < 0.1


def test_the_ends_rest_on_plain_skin(made: tuple[Gauge, SkinSurfaces]) -> None:
    """22 mm of it at each end: the post is 100 mm high and the waist runs from 32 to 68."""
    gauge, surfaces = made
    assert gauge.rests_mm == pytest.approx((REST_MM, REST_MM), abs=0.3)
    plain = Tree.of(surfaces.plain)
    x = gauge.profile_mm[:, 0]
    begins, ends = gauge.fill_mm[:, 0]
    rests = in_mould(gauge, along(gauge.profile_mm[(x <= begins - 1) | (x >= ends + 1)]))
    rests = rests[np.abs(rests[:, 2] - 50) > 18.3 + STEP]  # the grid rounds the edges
    assert plain.closest(rests)[0].max() < 0.35


def test_marks_stand_at_the_deepest_point_and_where_fill_begins_and_ends(
    made: tuple[Gauge, SkinSurfaces],
) -> None:
    """The chord of the waist: r = 20, 8 mm outside: 2 sqrt(20^2 - 8^2) = 36.7 mm high. Its sharp
    edges are 0.3 mm deep a little within, sqrt(400 - 8.3^2) = 18.2 on each side."""
    gauge, surfaces = made
    middle, begin, end = (line[0] for line in gauge.marks_mm())
    np.testing.assert_allclose(middle, 0)
    low, high = in_mould(gauge, np.stack([begin, end]))[:, 2]
    assert low == pytest.approx(50 - 18.2, abs=1.0)
    assert high == pytest.approx(50 + 18.2, abs=1.0)
    away = Tree.of(surfaces.plain).closest(in_mould(gauge, np.zeros((1, 2))))[0][0]
    assert away == pytest.approx(gauge.place.depth_mm, abs=0.05)
    assert gauge.place.depth_mm == pytest.approx(WAIST_MM, abs=0.5)


def test_the_card_is_upright_and_square_to_the_skin(made: tuple[Gauge, SkinSurfaces]) -> None:
    gauge, _ = made
    frame = gauge.frame
    np.testing.assert_allclose(frame[:3, :3] @ frame[:3, :3].T, np.eye(3), atol=1e-12)
    assert np.linalg.det(frame[:3, :3]) == pytest.approx(1.0)
    np.testing.assert_allclose(frame[:3, 0], [0, 0, 1], atol=0.02)
    np.testing.assert_allclose(frame[:3, 3], gauge.place.place_mm)
    assert "Hold the card upright" in gauge.sentences[0]


def test_the_card_is_one_simple_outline_with_a_back(made: tuple[Gauge, SkinSurfaces]) -> None:
    gauge, _ = made
    card = shapely.Polygon(gauge.outline_mm)
    assert card.is_valid
    assert card.exterior.is_ccw
    top = gauge.outline_mm[:, 1].max()
    assert top == pytest.approx(gauge.profile_mm[:, 1].max() + BACK_MM, abs=1e-6)
    # its working edge is part of its outline
    edge = shapely.LineString(gauge.profile_mm)
    assert edge.difference(card.exterior.buffer(1e-6)).length < 1e-6


def test_nothing_stands_in_the_card_or_in_its_way(made: tuple[Gauge, SkinSurfaces]) -> None:
    """No place of the card, also when it is drawn back, lies in silicone or in the board."""
    gauge, surfaces = made
    card = shapely.Polygon(gauge.outline_mm).buffer(-0.2)
    x, y = np.meshgrid(np.arange(-60.0, 60.0, 2.0), np.arange(-40.0, 60.0, 2.0))
    inside = shapely.contains_xy(card, x.ravel(), y.ravel())
    flat = np.stack([x.ravel(), y.ravel()], axis=1)[inside]
    assert len(flat) > 200
    for back in (0.0, 5.0, 20.0):
        points = in_mould(gauge, flat + np.array([0.0, back]))
        assert (points[:, 2] > 0).all()
        assert not is_inside(surfaces.filled, points).any()


@pytest.mark.parametrize("turns", [1, 2])
def test_a_quarter_turn_turns_the_card(made: tuple[Gauge, SkinSurfaces], turns: int) -> None:
    (again,), _ = gauges_of(*post(turns=turns))
    gauge, _ = made
    assert again.size_mm == pytest.approx(gauge.size_mm, abs=2.0)
    assert again.rests_mm == pytest.approx(gauge.rests_mm, abs=1.0)
    assert again.place.depth_mm == pytest.approx(gauge.place.depth_mm, abs=0.2)
    out = gauge.place.facing
    for _ in range(turns):
        out = (-out[1], out[0], out[2])
    np.testing.assert_allclose(again.place.facing, out, atol=0.2)


def test_the_drawing_can_be_written(made: tuple[Gauge, SkinSurfaces]) -> None:
    gauge, _ = made
    cut, marks = gauge.figures()
    assert cut.is_closed
    assert cut.area_mm2 == pytest.approx(shapely.Polygon(gauge.outline_mm).area)
    drawing = Drawing(gauge.label, [Layer("cut", cut), Layer("marks", marks)])
    assert b"mm" in svg_bytes(drawing)
    assert b"LWPOLYLINE" in dxf_bytes(drawing)


def test_shallow_pockets_have_no_card() -> None:
    shape, fill = post()
    surfaces = skin_surfaces(shape, fill)
    guide = fill_guide(shape, fill, surfaces=surfaces)
    assert profile_gauges(guide.places, surfaces, shape.grid, deeper_than_mm=13.0) == ()


def webbed(hole_mm: float) -> tuple[SkinShape, Fill]:
    """A ring whose hole is a web of silicone, as two halves pulled apart sideways leave it."""
    tube = 10.0
    ring = 0.5 * hole_mm + tube
    half = ring + tube + 6.0
    grid = Grid.around([-half, -half, -2.5 * 2], [half, half, 40.0], step_mm=2.0)
    x, y, z = grid.axes()
    phi = (np.hypot(np.hypot(x, y) - ring, z - 20.0) - tube).astype(np.float32)
    shape = SkinShape(grid, phi, 99.0, 8.0, np.zeros((0, 3)))
    filled = phi.copy()
    for sign in (1.0, -1.0):
        s = swept(phi, grid, pull=(sign, 0, 0), draft_deg=0.0, up_to_mm=5.0)
        np.copyto(filled, s, where=np.broadcast_to(sign * x >= 0, s.shape))
    return shape, Fill.between(with_soft_valleys(phi, grid), filled, step_mm=2.0)


def test_a_card_over_a_wide_web_spans_it() -> None:
    """60 mm of hole; the card rests on the ring at both ends."""
    (gauge,), surfaces = gauges_of(*webbed(60.0))
    assert gauge.whole
    assert not gauge.cropped
    assert gauge.fill_mm[1, 0] - gauge.fill_mm[0, 0] > 60.0
    assert min(gauge.rests_mm) > 3.0
    edge = in_mould(gauge, along(gauge.profile_mm))
    assert Tree.of(surfaces.filled).closest(edge)[0].max() < 0.2


def test_a_card_that_would_not_print_is_cut_short_and_says_so() -> None:
    (gauge,), _ = gauges_of(*webbed(230.0))
    assert gauge.cropped
    assert gauge.size_mm[0] <= CARD_MM[0] + 1e-9
    assert gauge.size_mm[1] <= CARD_MM[1] + 1e-9
    assert "It was cut short to fit on one sheet." in gauge.sentences
    assert gauge.outline_mm[:, 0].min() < -80
    assert gauge.outline_mm[:, 0].max() > 80


def test_a_long_upright_pocket_is_gauged_across() -> None:
    """A groove that runs up the front of a block: an upright card would lie along it."""
    grid = Grid.around([-50, -60, -2.5 * STEP], [50, 50, 110.0], step_mm=STEP)
    x, y, z = grid.axes()
    block = np.maximum(np.maximum(np.abs(x) - 35, np.abs(y) - 35), z - 95)
    groove = np.maximum(np.hypot(x, y + 39) - 10, np.abs(z - 50) - 32)
    drawn = contour(np.maximum(block, -groove).astype(np.float32), grid)
    shape = SkinShape(grid, signed_distance(drawn, grid), 99.0, 8.0, np.zeros((0, 3)))
    flat = signed_distance(contour(np.asarray(block, dtype=np.float32), grid), grid)
    plain = with_soft_valleys(shape.phi, grid)
    fill = Fill.between(plain, np.minimum(flat, shape.phi), step_mm=STEP)
    (gauge,), _ = gauges_of(shape, fill)
    assert abs(gauge.frame[2, 0]) < 0.1
    assert "Hold the card level" in gauge.sentences[0]
    assert min(gauge.rests_mm) > 20.0


def test_the_plain_data_hold_grams_and_card(made: tuple[Gauge, SkinSurfaces]) -> None:
    """Grams are volume times density, and cards stand at their pockets."""
    shape, fill = post()
    guide = fill_guide(shape, fill)
    told = guide_as_json(guide, [made[0]], grams_per_cm3=1.08)
    (row,) = told["places"]
    assert row["mass_g"] == pytest.approx(1.08 * guide.places[0].volume_cm3, abs=0.005)
    assert row["gauge"]["number"] == row["number"] == 1
    assert len(row["gauge"]["marks_mm"]) == 3
    assert guide_as_json(guide, [], grams_per_cm3=1.0)["places"][0]["gauge"] is None
