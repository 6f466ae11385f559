"""Master and filler on the board: closed forms of a dome, clay that stands before no show face."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

import shapes
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import solid
from firstpull.core.mould.body import RIM_STEP_MM, Body, ShowBuried, build_body
from firstpull.core.mould.drape import cone_drape
from firstpull.core.mould.membrane import evened, membrane
from firstpull.core.mould.place import Standing, stand_on_board
from firstpull.core.mould.up import find_up

DRAFT_DEG = 4.0
BELOW_RIM_MM = 13.0


@lru_cache(maxsize=8)
def made(kind: str, seed: int = 0, triangles: int = 15_000) -> tuple[Standing, Body]:
    shell = shapes.implicit_shell(kind, seed, triangles)
    up = find_up(shell.mesh, given=shell.up)
    standing = stand_on_board(shell.mesh, up, below_rim_mm=BELOW_RIM_MM)
    return standing, build_body(standing.master, standing.show, wall_draft_deg=DRAFT_DEG)


KINDS = [
    "dome",
    "snout",
    *(
        pytest.param(k, marks=pytest.mark.long)
        for k in ("helmet, two slots", "bowl", "half-mask", "plate", "bracer")
    ),
]


@pytest.mark.parametrize("kind", KINDS)
def test_a_body_is_one_solid_on_the_board_that_holds_the_master(kind):
    standing, body = made(kind)
    assert body.mesh.bounds_mm[0, 2] == pytest.approx(0.0, abs=1e-9)
    found = solid(body.mesh)
    assert len(found.decompose()) == 1
    assert found.genus() == 0  # openings are closed
    master = standing.master.volume_mm3
    # the same triangles bound both: nothing but rounding may be left over
    assert (solid(standing.master) - found).volume() < 1e-6 * master
    assert body.volume_cm3 == pytest.approx(found.volume() / 1000)
    assert body.clay_cm3 == pytest.approx(body.volume_cm3 - master / 1000, rel=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_no_clay_stands_before_the_show_surface(kind):
    """Half a millimetre before each shown face, but for a cell's width along the borders."""
    standing, body = made(kind)
    master, show = standing.master, standing.show
    centres = master.face_centres_mm[show.faces]
    border = cKDTree(master.vertices_mm[np.concatenate(show.loops)])
    clear = border.query(centres)[0] > 3.0
    before = centres + 0.5 * master.face_normals[show.faces]
    buried = clear & is_inside(body.mesh, before) & ~is_inside(master, before)
    area = master.face_areas_mm2[show.faces]
    assert area[buried].sum() <= 0.001 * area.sum()


def test_a_dome_on_clay_has_the_volume_of_ball_and_cone():
    """Half a ball on its rim, an upright step of 1 mm under it, and a cone of 4 degrees down to
    the board. The rim's border zigzags between its two edges by a face or two, so the step's
    radius lies between those of outside and inside."""
    standing, body = made("dome", triangles=60_000)
    radius = float(standing.master.bounds_mm[1, 2]) - BELOW_RIM_MM
    rim = standing.master.vertices_mm[standing.show.loops[0]]
    foot = np.linalg.norm(rim[:, :2] - rim[:, :2].mean(axis=0), axis=1)
    volumes = []
    for r in (foot.min(), foot.max()):
        high = BELOW_RIM_MM - RIM_STEP_MM
        low = r + high * np.tan(np.radians(DRAFT_DEG))
        cone = np.pi * high / 3 * (r**2 + r * low + low**2)
        volumes.append((2 / 3 * np.pi * radius**3 + np.pi * r**2 * RIM_STEP_MM + cone) / 1000)
    assert 0.995 * volumes[0] < body.volume_cm3 < 1.005 * volumes[1]


def test_the_wall_under_the_rim_leans_out_by_its_draft():
    _, body = made("dome", triangles=60_000)
    high = np.array([1.0, 10.0])
    # the hull: notches of the rim close on the way down
    radius = [np.sqrt(solid(body.mesh).slice(z).hull().area() / np.pi) for z in high]
    lean = np.degrees(np.arctan((radius[0] - radius[1]) / (high[1] - high[0])))
    assert lean == pytest.approx(DRAFT_DEG, abs=0.3)


def test_the_body_goes_straight_on_below_the_board():
    """Offsets at the board see a wall below it, not an edge."""
    _, body = made("dome")
    assert body.below.bounds_mm[0, 2] < -10.0
    above = solid(body.below).trim_by_plane((0, 0, 1), 0.0).volume()
    assert above == pytest.approx(body.mesh.volume_mm3, rel=1e-9)


@pytest.mark.long
def test_a_rim_that_turns_under_is_refused():
    """A helmet laid on its side: clay under the crown's edge would cover the other side."""
    shell = shapes.implicit_shell("helmet, two slots", 0, 15_000)
    up = find_up(shell.mesh, given=(0.0, 1.0, 0.0))
    standing = stand_on_board(shell.mesh, up, below_rim_mm=BELOW_RIM_MM)
    with pytest.raises(ShowBuried, match="turns under") as refusal:
        build_body(standing.master, standing.show)
    assert "--up" in str(refusal.value)


def test_nothing_hangs_through_the_board():
    """A peg inside a dome that is longer than the rim is low lifts the master, board and all."""
    shell = shapes.implicit_shell("dome", 0, 15_000)
    peg = trimesh.creation.cylinder(radius=6.0, height=90.0, sections=32)
    radius = float(shell.mesh.bounds_mm[1, 2])
    placed = Mesh(peg.vertices + np.array([0, 0, radius - 3.0 - 45.0]), peg.faces)
    both = solid(shell.mesh) + solid(placed)
    raw = both.to_mesh64()
    mesh = Mesh(raw.vert_properties[:, :3], raw.tri_verts)
    standing = stand_on_board(mesh, find_up(mesh, given=(0, 0, 1)), below_rim_mm=BELOW_RIM_MM)
    assert standing.master.bounds_mm[0, 2] > 0.0


# --- the parts it is made of -------------------------------------------------------------


def test_a_drape_of_one_point_is_a_cone():
    grid = Grid.around([-12.2, -12.3, -20.1], [12, 12, 8], step_mm=1.0)
    point = np.array([[0.3, -0.2, 5.0]] * 3)
    field = cone_drape(point, grid, slope_deg=20.0)
    x, y, z = grid.axes()
    a = np.radians(20.0)
    away = np.hypot(x - 0.3, y + 0.2)
    exact = (away - (5.0 - z) * np.tan(a)) * np.cos(a)
    inside = (away / np.tan(a) < 24.0) & (z < 99)
    np.testing.assert_allclose(field[inside], exact[inside], atol=1e-4)


def test_a_membrane_across_a_flat_ring_is_its_disc():
    angle = np.arange(60) / 60 * 2 * np.pi
    ring = np.stack([20 * np.cos(angle), 14 * np.sin(angle), 0 * angle], axis=1)
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])[:3, :3]
    found = membrane(ring @ turn.T)
    flat = 0.5 * abs(
        np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - np.roll(ring[:, 0], -1) * ring[:, 1])
    )
    assert found.area_mm2 == pytest.approx(flat, rel=1e-6)
    # it is wound with the run, and ends on it
    assert found.face_vectors_mm2.sum(axis=0) @ turn[:, 2] == pytest.approx(flat, rel=1e-6)
    outline = trimesh.Trimesh(found.vertices_mm, found.faces, process=False).outline()
    away = cKDTree(ring @ turn.T).query(outline.vertices[np.unique(outline.referenced_vertices)])
    assert away[0].max() < 20 * 2 * np.pi / 60  # border edges may be split, never moved


def test_a_membrane_is_harmonic_over_its_run():
    """z = x^2 - y^2 on a circle: its harmonic function inside is the same, so a stretched film
    lies there, to the accuracy of 3 mm triangles: h^2 / 8 times the curvature 2 / R."""
    angle = np.arange(90) / 90 * 2 * np.pi
    ring = 20 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    ring[:, 2] = (ring[:, 0] ** 2 - ring[:, 1] ** 2) / 60
    points = membrane(ring).vertices_mm
    exact = (points[:, 0] ** 2 - points[:, 1] ** 2) / 60
    assert np.abs(points[:, 2] - exact).max() < 4.2**2 / 8 * 2 / 30


def test_an_evened_run_loses_its_teeth():
    angle = np.arange(400) / 400 * 2 * np.pi
    ring = np.stack([50 * np.cos(angle), 50 * np.sin(angle), 0 * angle], axis=1)
    toothed = ring + np.stack([0 * angle, 0 * angle, np.where(np.arange(400) % 2, 0.05, -0.05)], 1)
    smooth = evened(toothed, over_mm=5.0)
    assert np.abs(smooth[:, 2]).max() < 0.005
    # the mean over +-5 mm of a circle of 50 mm lies at 50 sin(0.1) / 0.1; teeth of 0.1 mm make
    # the run 0.8 % longer, which changes that by 0.002 mm
    reach = np.linalg.norm(smooth[:, :2], axis=1)
    assert reach.mean() == pytest.approx(50 * np.sin(0.1) / 0.1, abs=0.005)
