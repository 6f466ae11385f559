"""The demo's mask through the whole line: fill, proof, gap, show surface, files."""

from __future__ import annotations

from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import solid
from firstpull.core.mould.options import recommend, weigh_option
from firstpull.core.mould.stretch import stripping_stretch
from firstpull.files.write_stl import write_stl
from mould_cases import CLEARANCE_MM, SKIN_MM, WALL, WholeMould, demo_mould

SIZES = [
    pytest.param(60_000, id="60k"),
    pytest.param(400_000, id="400k", marks=pytest.mark.long),
]


def mould_of(triangles: int) -> WholeMould:
    return demo_mould(triangles=triangles)


def away_from(mesh: Mesh, points) -> np.ndarray:
    """(N,) distance by libigl."""
    return np.sqrt(
        igl.point_mesh_squared_distance(
            np.array(points), np.array(mesh.vertices_mm), mesh.faces.astype(np.int64)
        )[0]
    )


@pytest.mark.parametrize("triangles", SIZES)
def test_two_pieces_need_less_fill_than_one(triangles):
    mould = mould_of(triangles)
    assert mould.built[1].fill_cm3 > 20.0
    assert mould.built[2].fill_cm3 < mould.built[1].fill_cm3


@pytest.mark.parametrize("triangles", SIZES)
@pytest.mark.parametrize("pieces", [1, 2])
def test_the_demo_is_proven(triangles, pieces):
    result = mould_of(triangles).proof(pieces)
    assert [check.sentence for check in result.failures] == []


@pytest.mark.parametrize("pieces", [1, pytest.param(2, marks=pytest.mark.long)])
def test_the_shell_keeps_the_skins_thickness_from_the_body(pieces):
    """Read from the shell's own corners by libigl; the body's corners lie less than 2 mm apart,
    so a corner of the shell that is 9 mm from all of them is far enough."""
    mould = mould_of(60_000)
    near = cKDTree(mould.body.mesh.vertices_mm)
    for piece in mould.built[pieces].pieces:
        corners = piece.mesh.vertices_mm
        corners = corners[near.query(corners, distance_upper_bound=9.0)[0] < 9.0]
        assert len(corners) > 1_000
        gap = away_from(mould.body.mesh, corners)
        assert gap.min() >= SKIN_MM + CLEARANCE_MM - 0.2


@pytest.mark.parametrize("triangles", SIZES)
def test_the_body_keeps_the_masters_show_surface(triangles):
    """Every shown corner lies on the body, but for such as lie within a cell of 1 mm, on which
    filler is shaped, of a border."""
    mould = mould_of(triangles)
    master, show = mould.standing.master, mould.standing.show
    corners = master.vertices_mm[np.unique(master.faces[show.faces])]
    border = cKDTree(master.vertices_mm[np.concatenate(show.loops)])
    corners = corners[border.query(corners)[0] > 1.0]
    assert away_from(mould.body.mesh, corners).max() <= 0.05


def test_the_body_stands_on_the_board_and_holds_the_master():
    mould = mould_of(60_000)
    body = solid(mould.body.mesh)
    assert mould.body.mesh.bounds_mm[0, 2] == 0.0
    assert len(body.decompose()) == 1
    outside = (solid(mould.standing.master) - body).volume()
    # both surfaces are the same triangles: what is left is rounding
    assert outside < 1e-6 * mould.standing.master.volume_mm3
    clay = (mould.body.mesh.volume_mm3 - mould.standing.master.volume_mm3) / 1000
    assert mould.body.clay_cm3 == pytest.approx(clay, rel=1e-6)


@pytest.mark.parametrize("pieces", [1, 2])
def test_the_skin_is_what_lies_between_outside_and_body(pieces):
    """Two routes, one number: the skin's own volume, and what it encloses less the body.

    Filled with the body again the skin has no inner surface, so it is one solid whose volume
    is the sum of both.
    """
    mould = mould_of(60_000)
    built = mould.built[pieces]
    enclosed = (solid(built.skin) + solid(mould.body.mesh)).volume() / 1000
    assert enclosed == pytest.approx(built.skin_cm3 + mould.body.volume_cm3, rel=1e-4)
    assert built.skin_cm3 == pytest.approx(built.skin.volume_mm3 / 1000)


@pytest.mark.parametrize("pieces", [1, 2])
def test_the_chart_agrees_with_what_is_built(pieces):
    """Counted in cells of twice the step against solids: the skin within 2 %, and the fill
    within the chart's cells along its own surface, 1.5 cm3 here, besides 10 %."""
    mould = mould_of(60_000)
    option = weigh_option(mould.body, mould.shape, mould.partings[pieces], **WALL)
    built = mould.built[pieces]
    assert option.skin_cm3 == pytest.approx(built.skin_cm3, rel=0.02)
    assert option.fill_cm3 == pytest.approx(built.fill_cm3, rel=0.10, abs=1.5)
    assert option.pieces == pieces


def test_the_recommendation_is_one_of_the_options_and_says_why():
    mould = mould_of(60_000)
    options = [weigh_option(mould.body, mould.shape, mould.partings[n], **WALL) for n in (1, 2)]
    chosen, why = recommend(options)
    assert chosen in options
    assert why.endswith(".") and "nan" not in why


@pytest.mark.parametrize("pieces", [1, 2])
def test_pieces_leave_off_the_board_with_draft(pieces):
    built = mould_of(60_000).built[pieces]
    for piece in built.pieces:
        assert np.linalg.norm(piece.pull) == pytest.approx(1.0)
        assert piece.pull[2] >= np.sin(np.radians(WALL["draft_deg"]))
        assert piece.mesh.bounds_mm[0, 2] >= 0.0
        assert piece.volume_cm3 == pytest.approx(piece.mesh.volume_mm3 / 1000)
    assert len(built.pieces[0].bolts_mm) == (0 if pieces == 1 else len(built.pieces[1].bolts_mm))


def test_bolts_pass_through_both_flanges():
    """Each hole is free in both pieces, and is surrounded by both."""
    built = mould_of(60_000).built[2]
    (plane,) = built.parting.zones[0].walls
    n = np.array(plane.normal)
    side = np.cross(n, [0.0, 0.0, 1.0])
    bolts = built.pieces[0].bolts_mm
    assert len(bolts) >= 2
    np.testing.assert_allclose(bolts @ n, plane.offset_mm, atol=1e-6)
    for piece, into in zip(built.pieces, (1.0, -1.0), strict=True):
        held = trimesh.Trimesh(piece.mesh.vertices_mm, piece.mesh.faces, process=False)
        middle = bolts + into * 4.0 * n
        assert not held.contains(middle).any()
        around = np.concatenate([middle + d * side for d in (-5.0, 5.0)])
        assert held.contains(around).all()


@pytest.mark.parametrize("triangles", SIZES)
def test_every_solid_is_closed_when_read_back_from_its_file(triangles, tmp_path: Path):
    mould = mould_of(triangles)
    meshes = {"master": mould.standing.master, "body": mould.body.mesh}
    for n, built in mould.built.items():
        meshes[f"skin {n}"] = built.skin
        meshes |= {f"shell {n}-{k}": piece.mesh for k, piece in enumerate(built.pieces)}
    for name, mesh in meshes.items():
        path = tmp_path / "solid.stl"
        write_stl(path, mesh)
        again = trimesh.load(path)
        again.merge_vertices()
        assert again.is_watertight and again.is_winding_consistent, name
        # 32-bit coordinates of up to 256 mm are right to 2^-17 mm
        slack = again.area * 2.0**-17
        assert again.volume == pytest.approx(mesh.volume_mm3, abs=slack), name


def test_the_skin_slides_off_without_much_stretch():
    stretch = stripping_stretch(mould_of(60_000).body.mesh)
    assert 1.0 <= stretch.ratio < stretch.limit
