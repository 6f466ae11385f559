"""The show surface of shells whose outside is known by build, and of solids on a flat base."""

from __future__ import annotations

from functools import lru_cache

import manifold3d
import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

import shapes
from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.adjacency import face_pairs, patches
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
@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(seed, marks=pytest.mark.long) for seed in (0, 2))]
)
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


@pytest.mark.parametrize(
    "kind",
    [
        "snout",
        *(pytest.param(k, marks=pytest.mark.long) for k in ("full mask", "helmet, two slots")),
    ],
)
def test_a_tilt_of_ten_degrees_does_not_change_the_show_surface(kind):
    shell = shapes.implicit_shell(kind, 3, 15_000)
    x, y, z = (float(c) for c in shell.up)
    upright = shell.mesh.moved(turn_up((x, y, z)))
    for axis in ([1.0, 0.0, 0.0], [0.3, 1.0, 0.0]):
        tilt = Rotation.from_rotvec(np.radians(10.0) * np.array(axis) / np.linalg.norm(axis))
        mesh = Mesh(upright.vertices_mm @ tilt.as_matrix().T, upright.faces)
        assert right_share(mesh, shell.labels, find_show(mesh)) >= RIGHT


@pytest.mark.long
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


def test_a_wide_base_of_few_faces_is_hidden_beside_a_soft_edge_of_many():
    """What a face sees is averaged with its neighbours by area: slivers around a base, bent
    from it by less than a crease, once made it look as if it saw the sky."""
    n = 32
    ring = shapes.hemisphere(36, n)
    high = ring.vertices_mm + np.array([0.0, 0.0, 3.0])
    foot = high[:n] * [30 / 36, 30 / 36, 0.0]
    i, j = np.arange(n), (np.arange(n) + 1) % n
    first = len(high)
    low = np.concatenate(
        [np.column_stack([first + i, first + j, j]), np.column_stack([first + i, j, i])]
    )
    k = np.arange(1, n - 1)
    fan = np.column_stack([np.full(n - 2, first), first + k + 1, first + k])
    mesh = Mesh(np.vstack([high, foot]), np.concatenate([ring.faces[n:], low, fan]))
    assert trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False).is_watertight
    base = np.arange(len(mesh.faces)) >= len(mesh.faces) - len(fan)
    show = find_show(mesh)
    assert not show.faces[base].any()
    assert len(show.loops) == 1


@pytest.mark.parametrize("radius, stands", [(8.0, False), (18.0, True)])
def test_a_figure_that_would_stand_on_next_to_nothing_is_refused(radius, stands):
    """A ball of 40 mm on a peg covers 5027 mm2 of the board and stands on 4 or 20 % of it."""
    peg = manifold3d.Manifold.cylinder(50.0, radius, circular_segments=64)
    ball = manifold3d.Manifold.sphere(40.0, 128) + peg.translate((0, 0, -50.0))
    raw = ball.to_mesh64()
    mesh = Mesh(raw.vert_properties[:, :3], raw.tri_verts)
    if stands:
        assert len(find_show(mesh).loops) == 1
        return
    with pytest.raises(ShowUnclear, match=r"all around .* 4 % of") as refusal:
        find_show(mesh)
    assert "--up" in str(refusal.value)


def test_no_single_faces_are_left_hidden():
    """Every hidden part but the inside belongs to a border of its own; none is one face."""
    for kind in ("snout", "plate"):
        _, mesh, show = shown(kind, 1)
        patch = patches(face_pairs(mesh), show.faces)
        assert len(np.unique(patch[show.faces])) == 1
        assert np.bincount(patch).min() > 100
