"""Pictures of meshes: marks where they belong, maps in the colours of their key."""

from __future__ import annotations

import io
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

import menagerie as m
from firstpull.packet import mesh_pictures
from firstpull.packet.mesh_marks import ASKED
from firstpull.packet.mesh_pictures import Mark, MeshSheet, Paint, mesh_picture
from firstpull.packet.mesh_views import CANDIDATES, two_views, visible
from firstpull.packet.palette import ACCENT
from firstpull.packet.ramps import (
    NEW,
    PROUD,
    SUNK,
    THICK,
    THIN,
    deviation_ramp,
    off_ramp,
    thickness_ramp,
)
from firstpull.packet.raycast import Stage

BALL = m.ball(radius_mm=50.0)
PANEL = 440


@pytest.fixture(autouse=True)
def small_panels(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mesh_pictures, "PANEL_PX", PANEL)


def pixels(sheet: MeshSheet) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(mesh_picture(sheet))).convert("RGB")).astype(int)


def count(image: np.ndarray, colour: tuple[int, int, int]) -> int:
    return int((np.abs(image - np.array(colour)).max(axis=2) <= 2).sum())


def grey(colour: tuple[int, int, int]) -> float:
    """Luma of a colour. Source: ITU-R BT.601."""
    r, g, b = colour
    return 0.299 * r + 0.587 * g + 0.114 * b


def test_the_first_view_shows_a_place_that_only_one_side_shows() -> None:
    stage = Stage([BALL])
    for axis in range(3):
        for sign in (1.0, -1.0):
            place = np.zeros((1, 3))
            place[0, axis] = 50.0 * sign
            first, second = two_views(stage, [place])
            assert visible(stage, place, first)[0], (axis, sign)
            assert first.eye @ second.eye < 0.0


def test_what_the_first_view_hides_the_second_shows() -> None:
    stage = Stage([BALL])
    near, far = np.array([[0.0, 0.0, 50.0]]), np.array([[0.0, 0.0, -50.0]])
    views = two_views(stage, [near, far])
    for place in (near, far):
        assert any(visible(stage, place, view)[0] for view in views)


def test_a_place_inside_is_seen_from_nowhere() -> None:
    stage = Stage([BALL])
    assert not any(visible(stage, np.zeros((1, 3)), view)[0] for view in CANDIDATES)


def test_a_part_with_y_up_is_not_shown_on_its_head() -> None:
    mask = m.dome()  # opens downward, its show side towards z
    for marks in ([], [np.array([[0.0, 10.0, 79.0]])]):
        for view in two_views(Stage([mask]), marks):
            assert max(view.up[1:]) > 0.4


def test_pins_have_the_colour_of_the_accent_and_tags_their_own() -> None:
    pin = Mark("1", "A place.", np.array([[0.0, 0.0, 50.0]]))
    ring = BALL.vertices_mm[np.argsort(np.abs(BALL.vertices_mm[:, 2] - 40.0))[:20]]
    tag = Mark("2", "A border.", ring[:1], "tag", (ring,))
    plain = pixels(MeshSheet("ball", "100 mm", BALL))
    assert count(plain, ACCENT) == 0 and count(plain, ASKED) == 0
    assert count(pixels(MeshSheet("ball", "100 mm", BALL, [pin])), ACCENT) > 80
    assert count(pixels(MeshSheet("ball", "100 mm", BALL, [tag])), ASKED) > 80


def test_a_mark_without_a_place_stands_in_the_key_alone() -> None:
    none = Mark("1", "It has no inside.", np.zeros((0, 3)))
    one = Mark("1", "It has no inside.", np.array([[0.0, 0.0, 50.0]]))
    in_key = count(pixels(MeshSheet("ball", "", BALL, [none])), ACCENT)
    assert 0 < in_key < count(pixels(MeshSheet("ball", "", BALL, [one])), ACCENT)


def test_a_pin_points_at_its_place() -> None:
    """The foot of a pin lies in the middle of the patch that is painted around its place."""
    centres = BALL.face_centres_mm / np.linalg.norm(BALL.face_centres_mm, axis=1)[:, None]
    for way in np.array([[0.0, 0.0, 1.0], [0.6, -0.64, 0.48], [-0.8, 0.0, 0.6]]):
        patch = Paint(np.zeros(len(BALL.faces)), deviation_ramp(0.05, 1.0), centres @ way > 0.97)
        plain = Paint(patch.values, patch.ramp)
        pin = [Mark("1", "Here.", 50.0 * way[None])]
        look = tuple(50.0 * way[None])
        bare, painted, pinned = (
            pixels(MeshSheet("ball", "", BALL, marks, paint, look_at_mm=look))
            for marks, paint in (([], plain), ([], patch), (pin, plain))
        )
        high = min(bare.shape[0], pinned.shape[0]) - 160  # without the key
        spot = np.argwhere((bare != painted).any(axis=2)[:high, : 44 + PANEL])
        marks = np.argwhere((bare[:high] != pinned[:high]).any(axis=2)[:, : 44 + PANEL])
        away = np.linalg.norm(marks - spot.mean(axis=0), axis=1)
        # the middle of a cap of the ball lies up to its height beneath the place
        cap_px = 50.0 * (1.0 - 0.97) * PANEL * 0.92 / 100.0
        assert away.min() <= cap_px


def test_a_map_shows_the_step_of_each_value() -> None:
    ramp = thickness_ramp(1.2)
    for value, colour in ((0.3, THIN[0]), (1.0, THIN[2]), (99.0, THICK[3])):
        sheet = MeshSheet("ball", "", BALL, paint=Paint(np.full(len(BALL.faces), value), ramp))
        image = pixels(sheet)[:, : 44 + PANEL]
        hue = image[230:330, 200:280].reshape(-1, 3).mean(axis=0)
        ratio = hue / np.maximum(np.array(colour), 1)
        # shading takes the same share of red, green and blue
        assert ratio.std() / ratio.mean() < 0.12, (value, hue)


def test_values_at_vertices_and_on_faces_give_the_same_map_where_they_agree() -> None:
    ramp = deviation_ramp(0.05, 1.0)
    by_face = Paint(np.full(len(BALL.faces), 0.3), ramp)
    by_vertex = Paint(np.full(len(BALL.vertices_mm), 0.3), ramp)
    one, other = (mesh_picture(MeshSheet("b", "", BALL, paint=p)) for p in (by_face, by_vertex))
    assert one == other


def test_new_surface_has_its_own_colour_and_stands_in_the_key() -> None:
    ramp, values = deviation_ramp(0.05, 1.0), np.zeros(len(BALL.vertices_mm))
    none = Paint(values, ramp, new=np.zeros(len(BALL.faces), bool))
    some = Paint(values, ramp, new=BALL.face_centres_mm[:, 2] > 0)
    assert count(pixels(MeshSheet("b", "", BALL, paint=none)), NEW) == 0
    assert count(pixels(MeshSheet("b", "", BALL, paint=some)), NEW) > 200


def test_the_same_sheet_gives_the_same_bytes() -> None:
    sheet = MeshSheet("ball", "", BALL, [Mark("1", "A place.", np.array([[0.0, 0.0, 50.0]]))])
    assert mesh_picture(sheet) == mesh_picture(sheet)


def test_a_ramp_of_thickness_runs_from_dark_to_light_in_grey() -> None:
    tones = [grey(colour) for colour in thickness_ramp(1.2).colours]
    assert all(b - a > 4 for a, b in pairwise(tones))
    assert tones[3] - tones[2] > 60  # the limit itself is the widest step


def test_a_ramp_of_deviation_darkens_both_ways_and_hatches_one() -> None:
    ramp = deviation_ramp(0.05, 1.0)
    tones = [grey(colour) for colour in ramp.colours]
    assert tones[:4] == sorted(tones[:4]) and tones[3:] == sorted(tones[3:], reverse=True)
    assert ramp.hatched == (0, 1, 2) and len(SUNK) == len(PROUD) == 3


@pytest.mark.parametrize("most", [0.0, 0.05, 0.3, 7.0, 1e4])
@pytest.mark.parametrize("same", [0.001, 0.05, 0.6, 3.0])
def test_edges_of_ramps_ascend_whatever_the_range(same: float, most: float) -> None:
    for ramp in (deviation_ramp(same, most), off_ramp(same, most), thickness_ramp(same)):
        assert list(ramp.edges) == sorted(set(ramp.edges))
        assert len(ramp.colours) == len(ramp.edges) + 1
        assert ramp.steps([-1e9, 1e9]).tolist() == [0, len(ramp.edges)]
