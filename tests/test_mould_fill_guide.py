"""The fill guide, against fills that are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Grid
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.fill_guide import FillGuide, fill_guide, skin_and_pockets, told
from firstpull.core.mould.fill_surface import skin_surfaces
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept, with_soft_valleys
from firstpull.core.mould.zone import Zone

Array = NDArray[np.float64]
SIDES = tuple(Zone.beyond((sign, 0.0, 0.0), 0.0) for sign in (1.0, -1.0))


def skin(grid: Grid, phi: Array) -> SkinShape:
    return SkinShape(grid, phi.astype(np.float32), 60.0, 8.0, np.zeros((0, 3)))


def board_grid(half_mm: float, high_mm: float, step_mm: float) -> Grid:
    """Around a skin that stands on the board, which lies between two layers as it should."""
    corner = [-half_mm, -half_mm, -2.5 * step_mm]
    return Grid.around(corner, [half_mm, half_mm, high_mm], step_mm=step_mm)


def block(grid: Grid, half: Array, high: float) -> Array:
    """Distance to a block that goes on below the board."""
    x, y, z = grid.axes()
    out = [np.abs(x) - half[0], np.abs(y) - half[1], z - high]
    q = np.stack(np.broadcast_arrays(*out))
    away = np.linalg.norm(np.maximum(q, 0), axis=0)
    return away + np.minimum(q.max(axis=0), 0)


def bored(grid: Grid, phi: Array, *, way: Array, at: Array, radius: float, deep: float) -> Array:
    """The block with a blind hole that starts at a place of its side and runs against a way."""
    rel = np.stack(np.broadcast_arrays(*grid.axes()), axis=-1) - at
    along = rel @ way
    side = np.linalg.norm(rel - along[..., None] * way, axis=-1) - radius
    hole = np.maximum(np.maximum(side, -deep - along), along - 30.0)
    return np.maximum(phi, -hole)


def exact_distance(phi: Array, grid: Grid) -> Array:
    """The true distance to where a field is negative; a difference of solids is none."""
    from firstpull.core.mesh.grid import signed_distance

    return np.asarray(signed_distance(contour(phi.astype(np.float32), grid), grid))


def between(shape: SkinShape, filled: Array) -> Fill:
    """What makes the plain skin, its valleys rounded, the filled one."""
    plain = with_soft_valleys(shape.phi, shape.grid)
    return Fill.between(plain, filled.astype(np.float32), step_mm=shape.grid.step_mm)


def flush(plain: Array, shape: SkinShape) -> Fill:
    """Filled up to the block as the grid draws it, whose edges it cuts as those of the skin."""
    drawn = exact_distance(plain, shape.grid)
    return between(shape, np.minimum(drawn, shape.phi))


HOLES = (  # way out of the block, place of the mouth, radius, depth
    ((1.0, 0.0, 0.0), (40.0, 5.0, 30.0), 8.0, 20.0),
    ((0.0, -1.0, 0.0), (-6.0, -40.0, 45.0), 6.0, 15.0),
    ((-1.0, 0.0, 0.0), (-40.0, -12.0, 25.0), 5.0, 12.0),
)
STEP = 1.0


def turned(values: tuple[float, float, float]) -> tuple[float, float, float]:
    """A quarter turn about z."""
    x, y, z = values
    return (-y, x, z)


def drilled(*, turn: bool = False) -> tuple[SkinShape, Fill]:
    """A block of 80 mm with three blind holes, each filled flush."""
    grid = board_grid(60.0, 75.0, STEP)
    plain = block(grid, np.array([40.0, 40.0]), 60.0)
    phi = plain
    for way, at, radius, deep in HOLES:
        if turn:
            way, at = turned(way), turned(at)
        phi = bored(grid, phi, way=np.array(way), at=np.array(at), radius=radius, deep=deep)
    shape = skin(grid, exact_distance(phi, grid))
    return shape, flush(plain, shape)


@pytest.fixture(scope="module")
def guide() -> FillGuide:
    shape, fill = drilled()
    return fill_guide(shape, fill, zones=SIDES)


def test_each_hole_is_one_place_with_its_volume(guide: FillGuide) -> None:
    """pi r^2 L of the plain skin with its valleys rounded: their mean over a deviation of one
    step h lowers the distance in a hole, of curvature 1 / r, by h^2 / 2 r, and rounds the rim of
    the bottom with a radius of some 2 h, which takes (1 - pi / 4) (2 h)^2 of its section. What
    the latter is uncertain by, a third of it, is 1 % of the smallest hole."""
    assert len(guide.places) == len(HOLES)
    for place, (_, _, r, deep) in zip(guide.places, HOLES, strict=True):
        wide = r - STEP**2 / (2 * r)
        volume = np.pi * wide**2 * deep - (1 - np.pi / 4) * (2 * STEP) ** 2 * 2 * np.pi * wide
        assert place.volume_cm3 == pytest.approx(volume / 1000, rel=0.01)
    assert [p.number for p in guide.places] == [1, 2, 3]


def test_depth_is_told_off_the_plain_skin_and_over_the_bottom(guide: FillGuide) -> None:
    """From the middle of a flush mouth the nearest plain skin is its rim, at r; the bottom lies
    L below. The middle is met by a triangle within half a step."""
    for place, (way, at, radius, deep) in zip(guide.places, HOLES, strict=True):
        assert radius - 0.5 * STEP <= place.depth_mm <= radius + 0.1
        assert place.bottom_mm == pytest.approx(deep, abs=0.1)
        assert np.linalg.norm(np.array(place.place_mm) - at) < 1.0 * STEP
        np.testing.assert_allclose(place.facing, way, atol=0.02)
        # what lies under the mouth's edge ring that stands off less than 0.3 mm is not counted
        mouth = np.pi * np.array([radius - 1.0, radius + 0.2]) ** 2 / 100
        assert mouth[0] < place.area_cm2 < mouth[1]


def test_pieces_and_sides_are_named(guide: FillGuide) -> None:
    # the second hole runs along the wall between the pieces, 6 mm beside it
    assert [p.pieces for p in guide.places] == [(1,), (2,), (2,)]
    assert [p.side for p in guide.places] == ["the right (+x)", "the front (-y)", "the left (-x)"]
    words = guide.places[0].sentence
    assert "Pocket 1, 3.9 cm³, looks to the right (+x), deepest 30 mm above the board" in words
    assert "20 mm thick over its bottom" in words
    assert words.endswith("under shell piece 1.")


def test_places_and_rest_are_the_whole_fill(guide: FillGuide) -> None:
    """Counted in cells, against the two surfaces as meshes: within 1 % of a surface's area times
    half a step."""
    shape, fill = drilled()
    parts = sum(p.volume_cm3 for p in guide.places) + guide.rest_cm3
    assert guide.total_cm3 == pytest.approx(parts)
    above = -shape.grid.axes()[2]
    plain = np.maximum(with_soft_valleys(shape.phi, shape.grid), above).astype(np.float32)
    both = [np.minimum(plain, np.maximum(fill.field(shape.phi), above)).astype(np.float32), plain]
    meshes = [contour(f, shape.grid) for f in both]
    volume = (meshes[0].volume_mm3 - meshes[1].volume_mm3) / 1000
    area = sum(
        p.area_cm2 + np.pi * 2 * r * d / 100
        for p, (_, _, r, d) in zip(guide.places, HOLES, strict=True)
    )
    assert abs(guide.total_cm3 - volume) < 0.01 * area * 0.5 * STEP / 10 + 0.01 * volume


def test_a_quarter_turn_turns_the_places_and_keeps_the_figures(guide: FillGuide) -> None:
    """The grid turns into itself, so figures stay to round-off of 32 bits."""
    shape, fill = drilled(turn=True)
    again = fill_guide(shape, fill)
    assert len(again.places) == len(guide.places)
    for old, new in zip(guide.places, again.places, strict=True):
        assert new.volume_cm3 == pytest.approx(old.volume_cm3, rel=1e-3)
        assert new.depth_mm == pytest.approx(old.depth_mm, abs=0.5 * STEP)
        assert new.bottom_mm == pytest.approx(old.bottom_mm, abs=0.05)
        at = np.array(turned(old.place_mm))
        assert np.linalg.norm(np.array(new.place_mm) - at) < 1.5 * STEP


def ring(step: float, *, ring_mm: float = 50.0, tube_mm: float = 10.0) -> tuple[SkinShape, Fill]:
    """A ring that lies above the board, pulled apart sideways in two halves."""
    grid = board_grid(66.0, 36.0, step)
    x, y, z = grid.axes()
    phi = np.hypot(np.hypot(x, y) - ring_mm, z - 20.0) - tube_mm
    shape = skin(grid, phi)
    filled = shape.phi.copy()
    for sign, zone in zip((1.0, -1.0), SIDES, strict=True):
        s = swept(shape.phi, grid, pull=(sign, 0, 0), draft_deg=0.0, up_to_mm=5.0, zone=zone)
        np.copyto(filled, s, where=np.broadcast_to(zone.into(x, y, z) >= 0, s.shape))
    return shape, between(shape, filled)


def test_the_hole_of_a_ring_is_one_place() -> None:
    """Slice by slice the halves fill pi (R - w)^2, w^2 = a^2 - z^2, in all
    pi (2 a R^2 - pi R a^2 + 4 a^3 / 3). The middle of the hole stands hypot(R, a) - a off the
    ring; the web is 2 a thick, and over the ring's inside it lies a thick."""
    shape, fill = ring(1.0)
    found = fill_guide(shape, fill, zones=SIDES)
    exact = np.pi * (2 * 10 * 50**2 - np.pi * 50 * 100 + 4 * 1000 / 3) / 1000
    assert len(found.places) == 1
    place = found.places[0]
    # the web's edge is a valley along two circles: a step's width of it may count otherwise
    assert found.total_cm3 == pytest.approx(exact, rel=0.01)
    assert place.volume_cm3 == pytest.approx(found.total_cm3, rel=0.01)
    assert place.depth_mm == pytest.approx(np.hypot(50, 10) - 10, abs=0.5)
    assert place.bottom_mm >= place.depth_mm
    assert set(place.pieces) == {1, 2}


def test_the_ring_s_figures_hardly_change_with_the_step() -> None:
    fine, coarse = (fill_guide(*ring(step), zones=SIDES) for step in (1.0, 2.0))
    assert coarse.total_cm3 == pytest.approx(fine.total_cm3, rel=0.02)
    assert len(coarse.places) == len(fine.places)


def dented(gap_mm: float) -> tuple[SkinShape, Fill]:
    """A block with two dents 10 mm deep, and a channel so deep between them."""
    grid = board_grid(60.0, 75.0, 1.0)
    plain = block(grid, np.array([40.0, 40.0]), 60.0)
    x, y, z = grid.axes()
    dents = [np.sqrt((x - 44) ** 2 + (y - c) ** 2 + (z - 30) ** 2) - 14.0 for c in (-18, 18)]
    phi = np.maximum(np.maximum(plain, -dents[0]), -dents[1])
    channel = np.maximum(np.maximum(np.abs(z - 30) - 5.0, 40.0 - gap_mm - x), np.abs(y) - 18)
    phi = np.maximum(phi, -channel)
    shape = skin(grid, exact_distance(phi, grid))
    return shape, flush(plain, shape)


@pytest.mark.parametrize(("deep_mm", "count"), [(0.0, 2), (1.5, 2), (5.0, 1)])
def test_a_shallow_channel_does_not_join_two_pockets(deep_mm: float, count: int) -> None:
    """Dents 10 mm deep: a channel of less than a third of that leaves them two."""
    assert len(fill_guide(*dented(deep_mm)).places) == count


def test_no_fill_is_no_place() -> None:
    grid = board_grid(60.0, 75.0, 2.0)
    shape = skin(grid, block(grid, np.array([40.0, 40.0]), 60.0))
    found = fill_guide(shape, between(shape, shape.phi))
    assert found.places == ()
    assert found.total_cm3 == 0.0
    assert found.as_json() == {"places": [], "rest_cm3": 0.0, "total_cm3": 0.0}


def test_a_speck_is_rest() -> None:
    """A hole of 0.06 cm3 is no place of its own, but its silicone is counted."""
    grid = board_grid(30.0, 45.0, 1.0)
    plain = block(grid, np.array([20.0, 20.0]), 30.0)
    phi = bored(
        grid, plain, way=np.array([1.0, 0, 0]), at=np.array([20.0, 0, 15]), radius=2.5, deep=3.0
    )
    shape = skin(grid, exact_distance(phi, grid))
    found = fill_guide(shape, flush(plain, shape))
    assert found.places == ()
    assert 0.02 < found.rest_cm3 < 0.07


def test_the_surfaces_enclose_each_other() -> None:
    shape, fill = drilled()
    both = skin_surfaces(shape, fill)
    assert both.filled.volume_mm3 > both.plain.volume_mm3


def test_skin_and_pockets_are_the_filled_surface_in_two(guide: FillGuide) -> None:
    """Nothing is lost and nothing doubled; the border runs where fill stands 0.3 mm off, a ring
    of 0.3 mm within each flush mouth, and nothing lies below the board."""
    shape, fill = drilled()
    surfaces = skin_surfaces(shape, fill)
    skin, pockets = skin_and_pockets(guide, surfaces, shape.grid)
    z = surfaces.filled.corners_mm[:, :, 2]
    area = surfaces.filled.face_areas_mm2
    assert (
        area[(z > 0).all(axis=1)].sum()
        <= skin.area_mm2 + pockets.area_mm2
        <= area[(z > 0).any(axis=1)].sum()
    )
    mouths = sum(np.pi * (radius - 0.3) ** 2 for _, _, radius, _ in HOLES)
    # the grid cuts the sharp rim of a mouth by up to half a step
    slack = sum(2 * np.pi * radius * 0.5 * STEP for _, _, radius, _ in HOLES)
    assert abs(pockets.area_mm2 - mouths) < slack
    for mesh in (skin, pockets):
        assert mesh.vertices_mm[:, 2].min() > -1e-9


def test_a_film_far_from_a_pocket_is_no_part_of_it() -> None:
    """0.4 mm of silicone, 60 mm across, on the top: rest, but for its skirt around the pocket."""
    grid = board_grid(60.0, 75.0, 1.0)
    plain = block(grid, np.array([40.0, 40.0]), 60.0)
    phi = bored(
        grid, plain, way=np.array([0.0, 0, 1]), at=np.array([0.0, 0, 60]), radius=8.0, deep=10.0
    )
    shape = skin(grid, exact_distance(phi, grid))
    x, y, z = grid.axes()
    film = np.maximum(np.hypot(x, y) - 30.0, np.abs(z - 50.0) - 10.4)
    coat = np.minimum(flush(plain, shape).field(shape.phi), film)
    found = fill_guide(shape, between(shape, np.minimum(coat, shape.phi)))
    assert len(found.places) == 1
    hole = np.pi * 64 * 10 / 1000
    skirt = 0.4 * np.pi * (8 + 4 + 2) ** 2 / 1000
    assert hole * 0.96 < found.places[0].volume_cm3 < hole + skirt
    assert found.rest_cm3 == pytest.approx(0.4 * np.pi * (30**2 - 14**2) / 1000, rel=0.15)


def test_figures_are_told_with_the_digits_they_are_worth() -> None:
    assert [told(v) for v in (123.4, 9.96, 0.1234)] == ["123", "10.0", "0.12"]
