"""What the maker fixes: carried into the mould frame and back, and lines drawn on the body."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import menagerie
from firstpull.core.mould.drawn_line import BadLine, locked_stretches, wall_along
from firstpull.core.mould.in_file import directions_for_sheet, points_for_sheet, wall_in_file
from firstpull.core.mould.steering import BadSteering, steering_of
from firstpull.core.mould.zone import PartingWall
from firstpull.core.sheet import JobSheet
from firstpull.services.choice import wall_as_json

RADIUS = 80.0
DOME = menagerie.dome(radius_mm=RADIUS, rings=60)
SAGITTA_MM = RADIUS * (1 - np.cos(np.pi / 4 / 60))  # by which its facets lie within the ball


def frame(turn: Any, scale: float, shift: Any) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, :3] = scale * Rotation.from_rotvec(turn).as_matrix()
    matrix[:3, 3] = shift
    return matrix


def sheet(**shell: Any) -> JobSheet:
    return JobSheet.model_validate({"shell": shell})


def on_dome(x: Any, y: Any) -> np.ndarray:
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    return np.stack([x, y, np.sqrt(np.maximum(RADIUS**2 - x * x - y * y, 0.0))], axis=1)


def wavy(out_mm: float, count: int = 60) -> np.ndarray:
    """A line over the dome from side to side that swings out to either side."""
    y = np.linspace(-0.998, 0.998, count) * RADIUS
    return on_dome(out_mm * np.sin(np.pi * y / RADIUS), y)


def test_a_plane_given_in_metres_and_y_up_stands_in_millimetres_and_z_up() -> None:
    """y up becomes z up, metres millimetres; worked out by hand: (x, y, z) -> (x, -z, y)."""
    to_mould = np.array([[1000, 0, 0, 5], [0, 0, -1000, 0], [0, 1000, 0, 13], [0, 0, 0, 1]])
    steering = steering_of(
        sheet(
            walls=[{"through": [0.02, 0.3, 0.1], "facing": [0, 0, 2]}],
            pulls=[[0, 1, 1], [0, 1, -1]],
            keep_whole=[{"at": [0.01, 0.02, 0.03], "radius_mm": 12}],
            symmetric=True,
            piece_worth_pct=20,
        ),
        to_mould,
    )
    (wall,) = steering.walls
    np.testing.assert_allclose(wall.normal, [0, -1, 0], atol=1e-12)
    assert wall.offset_mm == pytest.approx(100.0) and wall.bend == ()
    assert steering.pulls is not None
    np.testing.assert_allclose(steering.pulls, np.array([[0, -1, 1], [0, 1, 1]]) / np.sqrt(2))
    (dab,) = steering.keep_whole
    np.testing.assert_allclose(dab.place_mm, (15, -30, 33))
    assert dab.radius_mm == 12 and steering.symmetric and steering.piece_worth == 0.2


def test_a_sheet_without_steering_steers_nothing() -> None:
    steering = steering_of(JobSheet(), np.eye(4))
    assert not (steering.walls or steering.lines or steering.keep_whole or steering.symmetric)
    assert steering.pulls is None and steering.piece_worth == 0.15


vectors = st.tuples(*[st.floats(-3, 3)] * 3)


@settings(max_examples=60, deadline=None)
@given(
    turn=vectors,
    scale=st.sampled_from([1.0, 10.0, 25.4, 1000.0, 0.37]),
    shift=st.tuples(*[st.floats(-300, 300)] * 3),
    about=st.floats(0, 6.28),
    lean=st.floats(-0.9, 0.9),
    offset=st.floats(-90, 90),
    outs=st.lists(st.floats(-20, 20), min_size=0, max_size=5).filter(lambda o: len(o) != 1),
)
def test_walls_pulls_and_points_come_back_where_they_were(
    turn: Any, scale: float, shift: Any, about: float, lean: float, offset: float, outs: list[float]
) -> None:
    """Mould frame to sheet to mould frame: within the rounding that a sheet is written with."""
    to_mould = frame(turn, scale, shift)
    flat = np.cos(lean)
    normal = (float(flat * np.cos(about)), float(flat * np.sin(about)), float(np.sin(lean)))
    bend = tuple((13.0 * n - 20, out) for n, out in enumerate(outs))
    wall = PartingWall(normal, offset, bend)
    pull = np.array([[0.6, 0.0, 0.8]])
    written = sheet(
        walls=[wall_in_file(wall_as_json(wall), to_mould)],
        pulls=directions_for_sheet(pull, to_mould) * 2,
    )
    back = steering_of(written, to_mould)
    assert back.pulls is not None
    # 8 digits of a direction, 1e-4 mm of a point, over at most a metre
    np.testing.assert_allclose(back.pulls[0], pull[0], atol=3e-8)
    points = np.random.default_rng(5).uniform(-100, 100, (50, 3))
    np.testing.assert_allclose(
        back.walls[0].depth(*points.T), wall.depth(*points.T), atol=2e-3, rtol=0
    )
    there = points_for_sheet(points, to_mould) @ to_mould[:3, :3].T + to_mould[:3, 3]
    np.testing.assert_allclose(there, points, atol=2e-4)


PLANE = {"through": [0, 0, 0], "facing": [1, 0, 0]}
REFUSED = [
    ({"walls": [{**PLANE, "facing": [0.1, 0, 1]}]}, "number 1, leans 84 degrees from upright"),
    ({"walls": [PLANE, {**PLANE, "facing": [0, 0, -1]}]}, "shell.walls, number 2, leans 90"),
    (
        {"walls": [{**PLANE, "bend": [[0, 0, 0], [2, 9, 0], [1, 5, 0]]}]},
        "number 1, bend turns back at point 3",
    ),
    ({"pulls": [[0, 0, 1], [1, 0, -1]]}, "shell.pulls, number 2, leads 45 degrees down"),
    ({"pulls": [[1, 0, 0]]}, "number 1, runs level, along the board"),
]


@pytest.mark.parametrize(("shell", "words"), REFUSED)
def test_what_cannot_be_is_refused(shell: dict[str, Any], words: str) -> None:
    with pytest.raises(BadSteering) as refusal:
        steering_of(sheet(**shell), np.eye(4))
    assert words in str(refusal.value) and refusal.value.remedy


def test_directions_of_any_length_are_taken() -> None:
    pulls = [[0, 0, 1e-200], [1e200, 0, 1e200]]
    turned = steering_of(sheet(pulls=pulls), np.eye(4)).pulls
    assert turned is not None
    np.testing.assert_allclose(turned, [[0, 0, 1], [0.5**0.5, 0, 0.5**0.5]])


@pytest.mark.parametrize("out_mm", [0.0, 6.0, 20.0])
@pytest.mark.parametrize("about", [0.0, 1.1, 2.9])
def test_a_wall_follows_a_drawn_line_to_half_a_millimetre(out_mm: float, about: float) -> None:
    line = wavy(out_mm) @ Rotation.from_rotvec([0, 0, about]).as_matrix().T
    wall = wall_along(line, DOME)
    assert np.abs(wall.depth(*line.T)).max() <= 0.5
    assert wall.normal[2] == 0.0
    assert bool(wall.bend) == (out_mm > 0)
    ahead = line[-1] - line[0]
    assert np.cross(ahead, wall.normal)[2] < 0  # it looks to the right of the line
    assert wall.across @ ahead > 0


def test_the_same_line_drawn_backwards_is_the_same_wall_seen_from_its_other_side() -> None:
    line = wavy(12.0)
    there, back = wall_along(line, DOME), wall_along(line[::-1], DOME)
    points = np.random.default_rng(7).uniform(-70, 70, (200, 3))
    np.testing.assert_allclose(there.depth(*points.T), -back.depth(*points.T), atol=0.5)


def test_an_unsteady_hand_is_steadied() -> None:
    """Shaken by 0.3 mm sideways and along: half a millimetre and the shake, no more."""
    line = wavy(12.0, 400)
    shaken = line + np.random.default_rng(3).uniform(-0.3, 0.3, line.shape) * [1, 1, 0]
    wall = wall_along(shaken, DOME)
    assert np.abs(wall.depth(*line.T)).max() <= 0.5 + 0.3
    assert len(wall.bend) < 60


@pytest.mark.parametrize("tilt_deg", [12.0, 30.0, 45.0])
def test_a_line_drawn_in_a_leaning_plane_leans(tilt_deg: float) -> None:
    """A circle cut from the dome by a leaning plane: no upright plane holds it, this one does."""
    tilt = np.radians(tilt_deg)
    normal = np.array([np.cos(tilt), 0.0, np.sin(tilt)])
    about = np.array([-np.sin(tilt), 0.0, np.cos(tilt)])
    middle = 25.0
    ring = np.sqrt(RADIUS**2 - middle**2)
    turn = np.linspace(-np.pi / 2, np.pi / 2, 400)[:, None]
    circle = middle * normal + ring * (np.sin(turn) * [0, 1, 0] + np.cos(turn) * about)
    line = circle[circle[:, 2] > 1]
    wall = wall_along(line, DOME)
    np.testing.assert_allclose(wall.normal, normal, atol=1e-6)
    assert np.abs(wall.depth(*line.T)).max() < 0.01


def test_a_line_across_a_flat_top_parts_an_upright_side() -> None:
    """Beyond the ends the sides go straight down: the wall goes on there by itself."""
    block = menagerie.box(size_mm=(100, 80, 60), at=(-50, -40, 0))
    wall = wall_along([[5, -40, 60], [5, 0, 60], [5, 40, 60]], block)
    np.testing.assert_allclose(wall.normal, [1, 0, 0], atol=1e-12)
    assert wall.offset_mm == pytest.approx(5.0)


def ring_line(height: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 80)
    flat = np.sqrt(RADIUS**2 - height**2)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), 0 * turn + height], axis=1)


def hook() -> np.ndarray:
    y = np.concatenate([np.linspace(-79.9, 30, 40), np.linspace(30, 10, 12), np.linspace(10, 79.9)])
    x = np.concatenate([np.zeros(40), np.linspace(0, 6, 12), np.linspace(6, 0)])
    return on_dome(x, y)


BAD_LINES = [
    (wavy(5.0)[:2], "has 2 points", None),
    (np.zeros((0, 3)), "has 0 points", None),
    (np.full((5, 3), np.nan), "are no numbers", None),
    (on_dome(np.linspace(0, 2, 9), 0.0), "is 2.0 mm long seen from above", (0, 0, 80)),
    (
        wavy(5.0) + np.array([0, 0, 9]),
        "away from the body's surface; a line must be drawn on it",
        None,
    ),
    (ring_line(40.0), "closes on itself there", None),
    (hook(), "turns back there, by 20 mm", (0, 30, 74.16)),
    (wavy(0.0)[:30], "does not close; both ends must come within 15 mm", (0, -1.35, 80)),
    (wavy(0.0)[8:], "does not close", None),
]


@pytest.mark.parametrize(("line", "words", "place"), BAD_LINES)
def test_a_bad_line_is_refused_with_its_place(line: Any, words: str, place: Any) -> None:
    with pytest.raises(BadLine) as refusal:
        wall_along(line, DOME)
    sentence = str(refusal.value)
    assert words in sentence and refusal.value.remedy and len(sentence) < 320
    if place is not None:
        np.testing.assert_allclose(refusal.value.place_mm, place, atol=0.6)


def test_a_line_that_runs_sideways_down_a_steep_side_is_refused() -> None:
    """Down two upright sides and 20 mm out and back on them: no upright wall takes both."""
    block = menagerie.box(size_mm=(100, 80, 60), at=(-50, -40, 0))
    line = [[0, -40, 0], [20, -40, 30], [0, -40, 60], [0, 40, 60], [20, 40, 30], [0, 40, 0]]
    with pytest.raises(BadLine, match="runs along the wall's own direction there") as refusal:
        wall_along(line, block)
    assert "let the line run straight down" in str(refusal.value).lower()


def test_a_line_that_slants_down_both_sides_alike_leans() -> None:
    """20 mm over 60 on either side: the four points lie in one plane, 18.4 degrees off upright."""
    block = menagerie.box(size_mm=(100, 80, 60), at=(-50, -40, 0))
    wall = wall_along([[20, -40, 0], [0, -40, 60], [0, 40, 60], [20, 40, 0]], block)
    np.testing.assert_allclose(wall.normal, np.array([3, 0, 1]) / np.sqrt(10), atol=1e-9)


def test_a_refusal_names_its_place_in_the_files_axes() -> None:
    to_mould = np.diag([10.0, 10, 10, 1])
    to_mould[2, 3] = 13.0
    with pytest.raises(BadLine) as refusal:
        wall_along(hook(), DOME)
    told = refusal.value.in_file(to_mould, name="shell.walls, number 2")
    assert "shell.walls, number 2 near (0, 3, 6.116) of the mesh file's axes turns" in str(told)


def test_drawn_lines_take_their_place_among_the_walls() -> None:
    line = wavy(0.0)
    asked = sheet(
        walls=[
            {"through": [1, 0, 0], "facing": [1, 0, 0]},
            {"line": line.tolist()},
            {"through": [2, 0, 0], "facing": [1, 0, 0]},
        ]
    )
    steering = steering_of(asked, np.eye(4))
    walls = steering.walls_on(DOME)
    assert [round(w.offset_mm, 6) + 0.0 for w in walls] == [1, 0, 2]
    assert len(steering.walls) == 2 and steering.line_places == (1,)


def test_where_a_slope_is_steeper_than_the_pull_the_line_is_red() -> None:
    """A wall that swings out along a sine with slope a: a pull square to it locks where the
    local facing leans less than the draft: from atan(slope) > 90 - draft - lean, closed form."""
    slope = np.tan(np.radians(50.0))
    wall = PartingWall((1.0, 0.0, 0.0), 0.0, ((-20.0, 0.0), (0.0, 20.0 * slope), (20.0, 0.0)))
    # facing of the rising stretch: (cos 50, -sin 50); a pull at 45 degrees off keeps it or not
    pulls = np.array([[np.cos(a), np.sin(a), 0.0] for a in np.radians([42.0, 180.0])])
    stretches = locked_stretches(wall, pulls, draft_deg=3.0)
    (one,) = stretches
    # rising: facing at -50 degrees, pull at 42: lean 90 - 92 = -2; falling: 90 - 8 = 82
    assert (one.piece, round(one.lean_deg, 6)) == (1, -2.0)
    assert one.from_mm == pytest.approx(-20, abs=0.51) and one.to_mm == pytest.approx(0, abs=0.51)
    assert np.abs(wall.depth(*one.points_mm.T)).max() < 1e-3
    assert "runs 2 degrees into the wall" in one.sentence
    assert locked_stretches(wall, [[1, 0, 0], [-1, 0, 0]], draft_deg=3.0) == ()
    along = locked_stretches(wall, [[0, 0, 1], [-1, 0, 0]], draft_deg=3.0)
    assert len(along) == 1 and along[0].lean_deg == pytest.approx(0.0, abs=1e-9)


def test_a_drawn_line_is_red_where_its_own_points_lock() -> None:
    line = wavy(20.0, 200)
    wall = wall_along(line, DOME)
    steepest = np.degrees(np.arctan(20.0 * np.pi / RADIUS))  # of the sine, 38 degrees
    lean_off = np.radians(60.0)
    pulls = np.array([[np.cos(lean_off), np.sin(lean_off), 0.3], [-1, 0, 0.3]])
    stretches = locked_stretches(wall, pulls, draft_deg=3.0, line_mm=line)
    assert 60 + steepest > 90 and {s.piece for s in stretches} == {1}
    for stretch in stretches:
        rising = np.gradient(stretch.points_mm[:, 0], stretch.points_mm[:, 1])
        assert (rising > 0.3).all()
        # on the drawn line, between whose points the way is straight
        away = RADIUS - np.linalg.norm(stretch.points_mm, axis=1)
        assert away.max() < 0.2 + SAGITTA_MM
