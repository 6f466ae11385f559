"""The show surface of shells whose outside is known by build, and of solids on a flat base."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

import shapes
from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.place import stand_on_board, turn_up
from firstpull.core.mould.show import Show, ShowUnclear, find_show
from firstpull.core.mould.up import find_up

RIGHT = 0.995


@lru_cache(maxsize=32)
def shown(kind: str, seed: int) -> tuple[shapes.Shell, Mesh, Show]:
    """A shell, turned up as built, and its show surface. Faces on a sharp edge are half one
    side and half the other; more of them leave less area in doubt."""
    shell = shapes.implicit_shell(kind, seed, 60_000 if kind == "plate" else 20_000)
    x, y, z = (float(c) for c in shell.up)
    mesh = shell.mesh.moved(turn_up((x, y, z)))
    return shell, mesh, find_show(mesh)


def right_share(mesh: Mesh, labels: NDArray[np.int8], show: Show) -> float:
    """Share of the area, rims left out, that is rightly shown or rightly hidden."""
    area = np.where(labels == shapes.RIM, 0.0, mesh.face_areas_mm2)
    return float(area[show.faces == (labels == shapes.OUTSIDE)].sum() / area.sum())


@pytest.mark.parametrize("kind", shapes.KINDS)
@pytest.mark.parametrize("seed", [0, 1, pytest.param(2, marks=pytest.mark.long)])
def test_the_outside_of_a_shell_is_its_show_surface(kind, seed):
    shell, mesh, show = shown(kind, seed)
    assert right_share(mesh, shell.labels, show) >= RIGHT
    assert show.is_shell


@pytest.mark.parametrize("kind", shapes.KINDS)
def test_borders_are_the_rim_and_each_opening(kind):
    shell, mesh, show = shown(kind, 1)
    assert len(show.loops) == 1 + shell.openings
    spans = [np.linalg.norm(np.ptp(mesh.vertices_mm[run], axis=0)) for run in show.loops]
    assert spans[0] == max(spans)


@pytest.mark.parametrize("kind", ["half-mask", "helmet, one slot", "bracer"])
def test_borders_run_with_the_show_surface_on_their_left(kind):
    """Each step of a loop is an edge of a shown face, walked as the face walks it, and no
    vertex is passed twice."""
    _, mesh, show = shown(kind, 1)
    faces = mesh.faces[show.faces]
    walked = {(int(f[k]), int(f[(k + 1) % 3])) for f in faces for k in range(3)}
    every = np.concatenate(show.loops)
    assert len(np.unique(every)) == len(every)
    for run in show.loops:
        steps = set(zip(run.tolist(), np.roll(run, -1).tolist(), strict=True))
        assert steps <= walked
        assert not {(b, a) for a, b in steps} & walked


@pytest.mark.parametrize("kind", ["half-mask", "bowl"])
def test_the_wall_behind_the_show_surface_is_measured(kind):
    """Thickness by build; a ray that leaves at a slant through curved walls reads a little
    more, and never less than the wall."""
    shell, mesh, show = shown(kind, 2)
    walls = show.wall_mm[show.faces & np.isfinite(show.wall_mm)]
    assert np.median(walls) == pytest.approx(shell.wall_mm, rel=0.05)
    area = mesh.face_areas_mm2
    assert area[show.faces].sum() == pytest.approx(show.area_mm2)


@pytest.mark.parametrize("kind", ["full mask", "snout", "helmet, two slots"])
def test_a_tilt_of_ten_degrees_does_not_change_the_show_surface(kind):
    shell = shapes.implicit_shell(kind, 3, 15_000)
    x, y, z = (float(c) for c in shell.up)
    upright = shell.mesh.moved(turn_up((x, y, z)))
    for axis in ([1.0, 0.0, 0.0], [0.3, 1.0, 0.0]):
        tilt = Rotation.from_rotvec(np.radians(10.0) * np.array(axis) / np.linalg.norm(axis))
        mesh = Mesh(upright.vertices_mm @ tilt.as_matrix().T, upright.faces)
        assert right_share(mesh, shell.labels, find_show(mesh)) >= RIGHT


def test_the_demos_show_surface_has_a_rim_and_two_eyes():
    mesh = heron_half_mask(triangles=60_000)
    standing = stand_on_board(mesh, find_up(mesh), below_rim_mm=13.0)
    assert len(standing.show.loops) == 3
    rim, *eyes = (standing.master.vertices_mm[run] for run in standing.show.loops)
    assert np.ptp(rim[:, 0]) == pytest.approx(np.ptp(mesh.vertices_mm[:, 0]), rel=0.05)
    left, right = sorted(float(eye[:, 0].mean()) for eye in eyes)
    assert left == pytest.approx(-right, abs=1.0)


SOLIDS = {
    "box": lambda: shapes.box(80, 60, 30),
    "hemisphere": lambda: shapes.hemisphere(40),
    "cone": lambda: shapes.cone(30, 60),
    "cylinder": lambda: shapes.cylinder(30, 40),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_a_sculpt_shows_all_but_its_base(name):
    mesh = SOLIDS[name]()
    base = mesh.face_normals[:, 2] < -0.999
    show = find_show(mesh)
    np.testing.assert_array_equal(show.faces, ~base)
    assert len(show.loops) == 1
    assert not show.is_shell
    np.testing.assert_allclose(mesh.vertices_mm[show.loops[0], 2], 0.0, atol=1e-12)


def test_a_closed_ball_has_no_border():
    made = trimesh.creation.icosphere(subdivisions=3, radius=40.0)
    with pytest.raises(ShowUnclear, match="--up"):
        find_show(Mesh(made.vertices, made.faces))
