"""Pictures show what is there: areas, places, cut faces and frames against closed forms."""

from __future__ import annotations

import io
import math

import manifold3d as m3
import numpy as np
import pytest
from PIL import Image

from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.album import MouldSolids, master_pictures, mould_pictures
from firstpull.packet.camera import (
    ABOVE,
    FOUR_SIDES,
    FRONT,
    QUARTER,
    Frame,
    View,
    fitted_frame,
    fitted_size,
)
from firstpull.packet.overlay import Overlay, Pin, scale_length_mm
from firstpull.packet.palette import CLAY, MASTER, SHELL, SILICONE
from firstpull.packet.pictures import Studio, draw, png
from firstpull.packet.raycast import Plane

SIZE = (300, 240)


def mesh_of(solid: m3.Manifold) -> Mesh:
    raw = solid.to_mesh()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))


def ball(radius_mm: float, segments: int = 128) -> Mesh:
    return mesh_of(m3.Manifold.sphere(radius_mm, segments))


def block(*sides_mm: float) -> Mesh:
    return mesh_of(m3.Manifold.cube(list(sides_mm), True))


@pytest.mark.parametrize("view", [QUARTER, ABOVE, *FOUR_SIDES], ids=lambda v: v.name)
def test_the_outline_of_a_ball_has_the_area_of_its_circle(view: View) -> None:
    """pi r^2, within a quarter pixel along the outline and what the facets cut off it."""
    radius, mm_per_px, segments = 40.0, 0.5, 128
    circle = math.pi * radius**2
    picture = Studio([(ball(radius, segments), MASTER)]).picture(
        view, size_px=SIZE, mm_per_px=mm_per_px, scale_bar=False, background="clear"
    )
    area = picture[..., 3].sum() / 255 * mm_per_px**2
    turn = 2 * math.pi / segments
    facets = circle * (1 - math.sin(turn) / turn)
    band = 2 * math.pi * radius * mm_per_px / 4
    assert circle - 2 * facets - band < area < circle + band


def test_a_box_seen_from_above_has_its_own_length_and_width() -> None:
    picture = Studio([(block(60, 30, 20), MASTER)]).picture(
        ABOVE, size_px=SIZE, mm_per_px=0.25, scale_bar=False, background="clear"
    )
    covered = picture[..., 3] > 127
    assert covered.any(axis=0).sum() == pytest.approx(60 / 0.25, abs=1)
    assert covered.any(axis=1).sum() == pytest.approx(30 / 0.25, abs=1)


@pytest.mark.parametrize("view", FOUR_SIDES, ids=lambda v: v.name)
def test_nothing_is_cut_off_by_a_fitted_frame(view: View) -> None:
    """The border stays free: what is drawn ends inside the margin."""
    picture = draw([(block(90, 20, 50), SHELL)], view=view, size_px=SIZE, background="clear")
    alpha = np.asarray(Image.open(io.BytesIO(picture)))[..., 3]
    border = np.ones_like(alpha, bool)
    border[3:-3, 3:-3] = False
    assert not alpha[border].any()
    assert alpha.any()


def test_a_larger_scale_than_fits_is_clipped_at_the_frame() -> None:
    """Nothing is drawn outside the picture, and nothing fails."""
    picture = Studio([(ball(40), MASTER)]).picture(ABOVE, size_px=(40, 30), mm_per_px=0.5)
    assert picture.shape == (30, 40, 4)


def test_turning_part_and_eye_together_changes_nothing() -> None:
    turn = np.eye(4)
    turn[:2, :2] = [[0, -1], [1, 0]]
    shape = mesh_of(m3.Manifold.cube([50, 20, 30]) + m3.Manifold.sphere(18, 48))
    kept = {"size_px": SIZE, "mm_per_px": 0.5, "scale_bar": False}
    one = Studio([(shape, MASTER)]).picture(View("a", -60, 30), **kept)
    two = Studio([(shape.moved(turn), MASTER)]).picture(View("b", 30, 30), **kept)
    # The sky light comes from z alone, which the turn keeps; only rays at edges may differ.
    assert np.mean(np.abs(one.astype(int) - two.astype(int)).max(axis=2) > 24) < 0.005


def test_a_cut_shows_each_solid_in_its_own_flat_colour() -> None:
    """A ball within a shell, cut through the middle: areas of circle and ring."""
    inner = ball(20)
    outer = mesh_of(m3.Manifold.sphere(30, 128) - m3.Manifold.sphere(20, 128))
    view = View("across", -90, 0)
    cut = Plane((0, 0, 0), (0, -1, 0))
    picture = Studio([(inner, MASTER), (outer, SILICONE)]).picture(
        view, size_px=SIZE, mm_per_px=0.5, cut=cut, scale_bar=False
    )
    px = 0.25
    for colour, area, rim in (
        (MASTER, math.pi * 20**2, 20),
        (SILICONE, math.pi * (30**2 - 20**2), 50),
    ):
        same = (np.abs(picture[..., :3].astype(int) - colour).max(axis=2) <= 2).sum() * px
        # Up to two pixels of outline along each rim are ink instead of colour.
        assert area - 2 * 0.5 * 2 * math.pi * rim < same < area + 0.5 * 2 * math.pi * rim


def test_a_cut_takes_away_what_lies_before_it() -> None:
    """A box before the plane is gone; one behind it stays."""
    before, behind = block(20, 20, 20), block(20, 20, 20)
    before = Mesh(before.vertices_mm + np.array([30, -30, 0]), before.faces)
    behind = Mesh(behind.vertices_mm + np.array([-30, 30, 0]), behind.faces)
    picture = Studio([(before, SHELL), (behind, CLAY)]).picture(
        View("across", -90, 0),
        size_px=SIZE,
        mm_per_px=0.5,
        cut=Plane((0, 0, 0), (0, -1, 0)),
        scale_bar=False,
        background="clear",
    )
    covered = picture[..., 3].sum() / 255 * 0.25
    assert covered == pytest.approx(20 * 20, abs=4 * 20 * 0.25)


def test_the_first_of_two_solids_wins_a_cut_that_both_claim() -> None:
    picture = Studio([(ball(20), MASTER), (ball(30), CLAY)]).picture(
        View("across", -90, 0),
        size_px=SIZE,
        mm_per_px=0.5,
        cut=Plane((0, 0, 0), (0, -1, 0)),
        scale_bar=False,
    )
    middle = picture[SIZE[1] // 2, SIZE[0] // 2, :3]
    assert tuple(middle.tolist()) == MASTER


def test_hollows_are_darker_than_open_faces() -> None:
    """Ambient shade: the floor of a deep pit, seen from above, against the top around it."""
    pit = m3.Manifold.cube([60, 60, 60], True) - m3.Manifold.cube([16, 16, 56], True).translate(
        [0, 0, 10]
    )
    picture = Studio([(mesh_of(pit), MASTER)]).picture(
        ABOVE, size_px=SIZE, mm_per_px=0.5, scale_bar=False
    )
    floor = int(picture[SIZE[1] // 2, SIZE[0] // 2, :3].sum())
    top = int(picture[SIZE[1] // 2, SIZE[0] // 2 + 44, :3].sum())
    assert floor < 0.75 * top


def test_outlines_are_dark() -> None:
    picture = Studio([(ball(40), MASTER)]).picture(ABOVE, size_px=SIZE, mm_per_px=0.5)
    row = picture[SIZE[1] // 2 - 1, :, 0]
    edge = row[SIZE[0] // 2 - 82 : SIZE[0] // 2 - 76]
    assert edge.min() < 130


def test_a_place_behind_the_part_gets_a_hollow_pin() -> None:
    studio = Studio([(ball(40), MASTER)])
    frame = fitted_frame(studio.points_mm(), view=FRONT, size_px=SIZE)
    near, far = FRONT.eye * 40, -FRONT.eye * 40
    pins = studio._pins([("1", near), ("2", far)], FRONT, frame)
    assert [p.hidden for p in pins] == [False, True]
    assert pins[0].at_px == pytest.approx(pins[1].at_px)


def test_forty_pins_keep_apart_and_inside() -> None:
    """Labels of pins crowded on one place do not cover each other or leave the frame."""
    frame = Frame((0.0, 0.0), 0.5, (640, 480))
    overlay = Overlay(frame)
    overlay.pins([Pin(str(n), (320.0 + n % 7, 240.0 + n % 5)) for n in range(40)])
    sheet = overlay.over(np.full((480, 640, 4), 255, np.uint8))
    reds = (sheet[..., 0] > 120) & (sheet[..., 1] < 110)
    assert not reds[:2].any() and not reds[-2:].any()
    one = Overlay(frame)
    one.pins([Pin("1", (320.0, 240.0))])
    single = one.over(np.full((480, 640, 4), 255, np.uint8))
    alone = ((single[..., 0] > 120) & (single[..., 1] < 110)).sum()
    assert reds.sum() > 40 * 0.6 * alone  # dots and leaders overlap, discs do not


@pytest.mark.parametrize("width_mm", [3.0, 47.0, 260.0, 1000.0, 9999.0])
def test_the_scale_bar_is_round_and_a_good_length(width_mm: float) -> None:
    length = scale_length_mm(width_mm)
    assert width_mm / 12.5 <= length <= width_mm / 5
    assert f"{length:e}"[0] in "125"


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    picture = Studio([(ball(40), MASTER)]).picture(ABOVE, size_px=(640, 480), mm_per_px=0.25)
    bar = picture[480 - 12, :200, 0] < 128
    start = int(np.argmax(bar))
    length_px = int(np.argmin(bar[start:]))  # up to the first gap; the words follow it
    assert length_px * 0.25 == pytest.approx(scale_length_mm(160.0), abs=3 * 0.25)


def test_one_scale_fits_every_side() -> None:
    points = [block(100, 40, 20).vertices_mm]
    size, mm_per_px = fitted_size(points, views=FOUR_SIDES, width_px=400)
    for view in FOUR_SIDES:
        spread = np.ptp(view.flat(points[0]), axis=0) / mm_per_px
        assert (spread <= np.array(size)).all()


def test_the_same_solids_give_the_same_bytes() -> None:
    solids = [(ball(20), MASTER), (block(50, 10, 10), SHELL)]
    assert draw(solids, view=QUARTER, size_px=SIZE) == draw(solids, view=QUARTER, size_px=SIZE)


def test_no_solids_give_an_empty_picture() -> None:
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), int))
    picture = Studio([(nothing, MASTER)]).picture(FRONT, size_px=SIZE)
    assert (picture == 255).all()
    assert master_pictures(nothing) == {}


def test_a_mould_is_shown_from_four_sides_apart_and_cut() -> None:
    """Every picture of the album is a PNG with something on it; progress ends at 1."""
    body = block(30, 30, 20)
    skin = mesh_of(m3.Manifold.cube([40, 40, 25], True) - m3.Manifold.cube([30, 30, 26], True))
    shell = mesh_of(m3.Manifold.cube([50, 50, 30], True) - m3.Manifold.cube([40, 40, 31], True))
    told: list[float] = []
    pictures = mould_pictures(
        MouldSolids(body, body, skin, [(shell, (0, 0, 1))]), progress=told.append
    )
    names = {"front", "right", "back", "left", "exploded", "section"}
    assert set(pictures) == {f"part-1-mould-1-{n}" for n in names}
    for data in pictures.values():
        image = np.asarray(Image.open(io.BytesIO(data)))
        assert (image.min(axis=2) < 120).mean() > 0.001
    assert told == sorted(told) and told[-1] == 1.0


def test_a_png_keeps_its_pixels() -> None:
    picture = np.zeros((4, 5, 4), np.uint8)
    picture[1, 2] = (10, 200, 30, 255)
    assert (np.asarray(Image.open(io.BytesIO(png(picture)))) == picture).all()
