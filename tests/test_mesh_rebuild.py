"""A surface made anew: closed forms, meshes beyond mending, and the winding number beneath."""

from __future__ import annotations

import numpy as np
import pytest

import headmasks
import menagerie as m
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import CannotMend, NoTriangles
from firstpull.core.mesh.repair.rebuild import MOST_POINTS, GridTooLarge, Rebuilt, rebuilt
from firstpull.core.mesh.topology import components, is_closed
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.turns import Turns

igl = pytest.importorskip("igl")


def assert_sound(made: Rebuilt) -> None:
    assert is_closed(made.mesh)
    assert made.mesh.volume_mm3 > 0
    assert not crosses_itself(made.mesh)


@pytest.mark.parametrize(
    "mesh", [m.ball(), m.dome(), m.twisted_strip(), m.without(m.box(), 3), joined([m.box()] * 2)]
)
def test_turns_agree_with_the_exact_sum_of_libigl(mesh: Mesh) -> None:
    points = np.random.default_rng(5).normal(size=(3000, 3)) * 60.0
    exact = igl.winding_number(
        np.array(mesh.vertices_mm), np.array(mesh.faces, dtype=np.int64), points
    )
    assert np.abs(Turns.of(mesh).at(points) - exact).max() < 0.03


@pytest.mark.parametrize("step_mm", [4.0, 2.0, 1.0])
def test_a_ball_keeps_its_volume_to_the_square_of_the_step(step_mm: float) -> None:
    ball = m.ball(radius_mm=60.0, rings=240)
    made = rebuilt(ball, step_mm=step_mm)
    assert_sound(made)
    # corners on the ball, so faces cut in by their sagitta at most: side² / (8 r) at the
    # middle of a side as long as the diagonal of a cell, and a bit for sides pulled longer
    sagitta = 1.5 * 3.0 * step_mm**2 / (8.0 * 60.0)
    assert made.off_mm < sagitta + 60.0 * (np.pi / 240) ** 2
    lost = 1.0 - made.mesh.volume_mm3 / ball.volume_mm3
    assert 0.0 < lost < 3.0 * sagitta / 60.0


@pytest.mark.parametrize("step_mm", [2.0, 1.0])
def test_only_the_edges_of_a_box_are_rounded(step_mm: float) -> None:
    box = m.box(size_mm=(60, 50, 40))
    made = rebuilt(box, step_mm=step_mm)
    assert_sound(made)
    assert made.off_mm < step_mm
    # a chamfer within a step of each edge takes half a square step at the most
    lost = box.volume_mm3 - made.mesh.volume_mm3
    assert 0.0 < lost < 0.5 * step_mm**2 * 4 * (60 + 50 + 40)
    inner = np.abs(made.mesh.vertices_mm - box.vertices_mm.mean(axis=0)) / [30, 25, 20]
    flat = np.sort(inner, axis=1)[:, 1] < 1.0 - 2.0 * step_mm / 20
    assert flat.sum() > 100
    assert inner[flat].max(axis=1) == pytest.approx(1.0, abs=1e-9)


def test_two_bodies_that_cross_become_one() -> None:
    one, two = m.box(size_mm=(60, 50, 40)), m.box(size_mm=(60, 50, 40), at=(31.3, 11.1, 9.7))
    both = joined([one, two])
    assert crosses_itself(both)
    made = rebuilt(both, step_mm=0.5)
    assert_sound(made)
    assert components(made.mesh).max() == 0
    volume = 2 * 60 * 50 * 40 - (60 - 31.3) * (50 - 11.1) * (40 - 9.7)
    edges = 4 * 2 * (60 + 50 + 40)
    assert abs(made.mesh.volume_mm3 - volume) < 0.5 * 0.5**2 * edges


def test_holes_are_bridged_and_what_is_there_stays() -> None:
    dome = m.dome(radius_mm=80.0)
    made = rebuilt(dome, step_mm=1.0)
    assert_sound(made)
    # a half ball winds half a turn just across its open plane, by symmetry
    assert made.mesh.volume_mm3 == pytest.approx(2 / 3 * np.pi * 80**3, rel=0.005)
    assert made.bridged_mm2 == pytest.approx(np.pi * 80**2, rel=0.05)
    away, _, _ = Tree.of(made.mesh).closest(dome.vertices_mm[dome.vertices_mm[:, 2] > 3.0])
    assert away.max() < 0.15  # side² / (8 r) of the dome's own faces


@pytest.mark.parametrize(
    "mesh",
    [
        m.soup(m.ball()).flipped(),
        m.with_turned(m.ball(), *range(100, 140)),
        m.with_repeated(m.ball(), 5, 6, 7),
        m.with_collapsed(m.ball()),
        m.without(m.ball(), *range(100, 110)),
        joined([m.ball(), m.scrap()]),
    ],
)
def test_a_broken_ball_is_a_ball_again(mesh: Mesh) -> None:
    made = rebuilt(mesh, step_mm=2.0)
    assert_sound(made)
    assert made.mesh.volume_mm3 == pytest.approx(m.ball().volume_mm3, rel=0.003)


@pytest.mark.parametrize("mesh", [m.with_inner_wall(), m.touching_boxes(), m.pinched()])
def test_crowded_edges_and_points_come_apart_or_together(mesh: Mesh) -> None:
    assert_sound(rebuilt(mesh, step_mm=float(np.ptp(mesh.vertices_mm)) / 60))


def test_a_hollow_inside_stays_hollow() -> None:
    shell = joined([m.ball(radius_mm=40), m.ball(radius_mm=36).flipped()])
    made = rebuilt(shell, least_wall_mm=4.0)
    assert made.step_mm == 1.0
    assert_sound(made)
    assert components(made.mesh).max() == 1
    assert made.mesh.volume_mm3 == pytest.approx(shell.volume_mm3, rel=0.01)


def test_too_fine_a_grid_is_refused_with_the_step_that_fits() -> None:
    box = m.box(size_mm=(200, 200, 200))
    with pytest.raises(GridTooLarge, match="Use a step of") as refusal:
        rebuilt(box, step_mm=0.1)
    fits = float(str(refusal.value).split("step of ")[1].split(" mm")[0])
    assert (200 / fits) ** 3 < MOST_POINTS < (200 / (0.9 * fits)) ** 3
    with pytest.raises(GridTooLarge, match="above 0"):
        rebuilt(box, step_mm=0.0)


def test_a_sheet_without_inside_is_refused() -> None:
    plate = Mesh([[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]])
    with pytest.raises(CannotMend, match="has no inside"):
        rebuilt(plate, step_mm=1.0)
    with pytest.raises(NoTriangles):
        rebuilt(Mesh(np.zeros((0, 3)), np.zeros((0, 3))))


@pytest.mark.long
@pytest.mark.parametrize("name", headmasks.HEADS)
def test_a_head_whose_faces_cross_is_made_sound(name: str) -> None:
    import trimesh

    raw = trimesh.load(headmasks.head_path(name), process=False)
    made = rebuilt(Mesh(raw.vertices, raw.faces), step_mm=1.5)
    assert_sound(made)
    assert made.held_share < 0.01
    assert made.mesh.volume_mm3 == pytest.approx(raw.volume, rel=0.002)
