"""The release proof over the gallery, and a second opinion that shares no code with the mould's.

The second opinion reads each solid back from its written file with trimesh, moves every piece
along its pull in steps, and lets manifold3d intersect it with skin, body and the other pieces.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import igl
import manifold3d
import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.grid import Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.body import build_body
from firstpull.core.mould.fill import FROM_PLAIN
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.place import stand_on_board, turn_up
from firstpull.core.mould.shell import SkinAndShell, build_shell, room_for_shell
from firstpull.core.mould.skin import shape_skin
from firstpull.core.mould.sweep import with_soft_valleys
from firstpull.core.mould.up import find_up
from firstpull.core.mould.zone import EVERYWHERE
from firstpull.files.write_stl import write_stl
from gallery import GALLERY, Exhibit
from mould_cases import (
    BELOW_RIM_MM,
    CLEARANCE_MM,
    DRAFT_DEG,
    SHELL_MM,
    SKIN_MM,
    WholeMould,
    whole_mould,
)

STEP_MM = 2.0
TOL_MM = 0.05
TRAVELS_MM = (0.0, 0.5, 3.0, 15.0, 60.0)
SHORT = ("bossed plate", "bracer", "hollow horn", "blobs 6")
BY_NAME = {exhibit.name: exhibit for exhibit in GALLERY}

Array = NDArray[np.float64]


def marked(exhibit: Exhibit) -> object:
    marks = () if exhibit.name in SHORT else (pytest.mark.long,)
    return pytest.param(exhibit, id=exhibit.name, marks=marks)


def test_the_gallery_is_large_enough():
    moulded = [exhibit for exhibit in GALLERY if exhibit.refused is None]
    assert len(moulded) >= 30
    assert len(BY_NAME) == len(GALLERY)
    assert set(SHORT) <= set(BY_NAME)


@pytest.mark.parametrize("exhibit", [marked(e) for e in GALLERY])
def test_every_shape_has_a_proven_shell_or_is_refused_by_name(exhibit: Exhibit, tmp_path: Path):
    mesh = exhibit.make()
    if exhibit.refused is not None:
        with pytest.raises(WorkshopError, match=exhibit.refused):
            whole_mould(mesh, pieces=exhibit.pieces, step_mm=STEP_MM, given_up=exhibit.up)
        return
    mould = whole_mould(mesh, pieces=exhibit.pieces, step_mm=STEP_MM, given_up=exhibit.up)
    assert tuple(mould.built) == exhibit.pieces
    for pieces in exhibit.pieces:
        assert [check.sentence for check in mould.proof(pieces).failures] == []
        assert list(second_opinion(mould, pieces, tmp_path)) == []


# The second opinion


def second_opinion(mould: WholeMould, pieces: int, folder: Path) -> Iterator[str]:
    """What a piece meets on its way, and which files do not hold one closed solid."""
    built = mould.built[pieces]
    meshes = {"body": mould.body.mesh, "skin": built.skin}
    meshes |= {f"piece {k + 1}": piece.mesh for k, piece in enumerate(built.pieces)}
    solids = {}
    for name, mesh in meshes.items():
        read = read_back(mesh, folder / f"{name}.stl")
        if not (read.is_watertight and read.is_winding_consistent and read.body_count == 1):
            yield f"{name} is read back in {read.body_count} parts, closed: {read.is_watertight}"
        solids[name] = as_manifold(read)
    for k, piece in enumerate(built.pieces):
        name = f"piece {k + 1}"
        others = ["skin", "body", *(f"piece {j + 1}" for j in range(k + 1, pieces))]
        for travel in TRAVELS_MM:
            shifted = solids[name].translate(tuple(travel * np.array(piece.pull)))
            for other in others:
                deep = real_overlap_mm(shifted ^ solids[other])
                if deep > TOL_MM:
                    yield f"{name} stands {deep:.2f} mm in the {other} after {travel} mm"


def read_back(mesh: Mesh, path: Path) -> trimesh.Trimesh:
    write_stl(path, mesh)
    read = trimesh.load(path)
    read.merge_vertices()
    return read


def as_manifold(read: trimesh.Trimesh) -> manifold3d.Manifold:
    made = manifold3d.Manifold(
        manifold3d.Mesh64(np.array(read.vertices), np.array(read.faces, dtype=np.uint64))
    )
    assert made.status() == manifold3d.Error.NoError
    return made


def real_overlap_mm(common: manifold3d.Manifold) -> float:
    """Mean thickness, 2 V / A, of the thickest connected overlap that is more than a crumb.

    On a crease a line across a cell of edge h misses the surface by up to sqrt 2 / 4 h, so a
    crumb two cells long and as wide as it is deep holds up to 2 h (0.354 h)^2 = h^3 / 4.
    """
    if common.is_empty():
        return 0.0
    thick = [
        2.0 * part.volume() / part.surface_area()
        for part in common.decompose()
        if part.volume() > 0.25 * STEP_MM**3
    ]
    return max(thick, default=0.0)


def test_the_second_opinion_sees_a_spoilt_mould(tmp_path: Path):
    """A piece moved the wrong way, 60 degrees off its pull, runs into skin."""
    mould = shape_of("bossed plate")
    (piece,) = mould.built[1].pieces
    turn = Rotation.from_rotvec([np.radians(60.0), 0.0, 0.0])
    shift = 8.0 * turn.apply(piece.pull)
    read = {
        name: as_manifold(read_back(mesh, tmp_path / f"{name}.stl"))
        for name, mesh in (("skin", mould.built[1].skin), ("piece", piece.mesh))
    }
    assert real_overlap_mm(read["piece"] ^ read["skin"]) <= TOL_MM
    assert real_overlap_mm(read["piece"].translate(tuple(shift)) ^ read["skin"]) > 0.5


# Gap and cover


@lru_cache(maxsize=4)
def shape_of(name: str) -> WholeMould:
    exhibit = BY_NAME[name]
    return whole_mould(exhibit.make(), pieces=(1,), step_mm=STEP_MM, given_up=exhibit.up)


def inner_points(mould: WholeMould, built: SkinAndShell) -> Array:
    """(N, 3) points of the shell's faces from which a ray meets the body before any shell."""
    whole = [trimesh.Trimesh(p.mesh.vertices_mm, p.mesh.faces, process=False) for p in built.pieces]
    body = trimesh.Trimesh(mould.body.mesh.vertices_mm, mould.body.mesh.faces, process=False)
    found = []
    for piece in whole:
        points = piece.triangles_center + 1e-3 * piece.face_normals
        away = first_hit(body, points, piece.face_normals)
        shell = np.min([first_hit(w, points, piece.face_normals) for w in whole], axis=0)
        found.append(piece.triangles_center[away < shell])
    return np.concatenate(found)


def first_hit(mesh: trimesh.Trimesh, points: Array, ways: Array) -> Array:
    far = np.full(len(points), np.inf)
    place, ray, _ = mesh.ray.intersects_location(points, ways, multiple_hits=False)
    far[ray] = np.linalg.norm(place - points[ray], axis=1)
    return far


def away_from(mesh: Mesh, points: Array) -> Array:
    faces = mesh.faces.astype(np.int64)
    return np.sqrt(igl.point_mesh_squared_distance(points, np.array(mesh.vertices_mm), faces)[0])


GAPS = [
    "bossed plate",
    *(
        pytest.param(n, marks=pytest.mark.long)
        for n in ("spherical plate", "blobs 2", "solid horn")
    ),
]


@pytest.mark.parametrize("name", GAPS)
def test_the_gap_is_the_skin_and_its_clearance_where_nothing_is_filled(name):
    """Never less by more than 0.2 mm; more by 0.3 mm at the most away from fill, from the
    flange on the board and its keys. Fill thinner than FROM_PLAIN steps is not told as fill.

    Valleys of the skin are rounded over one grid step (a normal spread of one step): a kink of
    slope jump J is raised by J / sqrt(2 pi) steps, and J is sqrt 2 where two fronts meet at
    right angles.
    """
    mould = shape_of(name)
    built, shape = mould.built[1], mould.shape
    points = inner_points(mould, built)
    assert len(points) > 2_000
    gap = away_from(mould.body.mesh, points)
    assert gap.min() >= SKIN_MM + CLEARANCE_MM - 0.2
    plain = far_from(built.fill.cells, shape.grid, points)
    flange_and_keys_mm = 8.0 + 8.0 + SKIN_MM + 2 * STEP_MM
    plain &= points[:, 2] > flange_and_keys_mm
    most = SKIN_MM + CLEARANCE_MM + 0.3 + FROM_PLAIN * STEP_MM
    assert gap[plain].max() <= most + STEP_MM * 2**0.5 / np.sqrt(2 * np.pi)
    raised = shape.phi - with_soft_valleys(shape.phi, shape.grid) > FROM_PLAIN * STEP_MM
    valleys = np.flatnonzero(raised & (np.abs(shape.phi) < 2 * STEP_MM))
    plain &= far_from(valleys, shape.grid, points)
    assert plain.sum() > 200
    assert gap[plain].max() <= most


def far_from(cells: NDArray[np.int64], grid: Grid, points: Array) -> NDArray[np.bool_]:
    """(N,) which points lie more than two cells from all these points of a grid."""
    if not len(cells):
        return np.ones(len(points), dtype=bool)
    index = np.stack(np.unravel_index(cells, grid.shape), axis=1)
    places = np.array(grid.low_mm) + grid.step_mm * index
    return cKDTree(places).query(points)[0] > 2 * np.sqrt(3) * grid.step_mm


@pytest.mark.parametrize("name", GAPS)
def test_silicone_backs_the_shell(name):
    """At least 98 % of the shell's inner face lies within the clearance and 0.3 mm of skin."""
    mould = shape_of(name)
    built = mould.built[1]
    points = inner_points(mould, built)
    away = away_from(built.skin, points)
    assert (away <= CLEARANCE_MM + 0.3).mean() >= 0.98


# Laws

PULL = np.array([0.10, 0.06, 1.0]) / np.linalg.norm([0.10, 0.06, 1.0])


@dataclass(frozen=True)
class Filled:
    """Fill of a shell in one piece, and by how much a grid may miss it, both cm3."""

    cm3: float
    slack_cm3: float


def filled(mesh: Mesh, pull: Array, *, larger: float = 1.0) -> Filled:
    """Fill along a pull, every length of the mould ``larger`` times as long.

    Facets of a grid of step h lie up to h^2 / 8 r within a surface of radius r, and the skin's
    outside is nowhere rounder outward than its thickness; fill lies between two such surfaces.
    Grid points within half a step of the outer one count its area, h^2 each.
    """
    up = find_up(mesh, given=(0.0, 0.0, 1.0))
    standing = stand_on_board(mesh, up, below_rim_mm=BELOW_RIM_MM * larger)
    body = build_body(standing.master, standing.show)
    step, skin = STEP_MM * larger, SKIN_MM * larger
    wall = {"thickness_mm": SHELL_MM * larger, "clearance_mm": CLEARANCE_MM * larger}
    shape = shape_skin(
        body,
        thickness_mm=skin,
        flange_width_mm=35.0 * larger,
        flange_thickness_mm=8.0 * larger,
        step_mm=step,
        room_mm=room_for_shell(**wall),
    )
    parting = Parting((EVERYWHERE,), pull[None], 0.0)
    built = build_shell(body, shape, parting, **wall, draft_deg=DRAFT_DEG)
    area = float((np.abs(built.fill.levels_mm) < 0.5 * step).sum()) * step**2
    return Filled(built.fill_cm3, 2 * area * step**2 / (8 * skin) / 1000)


@lru_cache(maxsize=4)
def straight(name: str) -> tuple[Mesh, Filled]:
    """A shape of the gallery with its up along z, and its fill."""
    exhibit = BY_NAME[name]
    mesh = exhibit.make()
    upright = mesh.moved(turn_up(find_up(mesh, given=exhibit.up).direction))
    return upright, filled(upright, PULL)


def moved(mesh: Mesh, matrix: Array) -> Mesh:
    whole = np.eye(4)
    whole[:3, :3] = matrix
    return mesh.moved(whole)


LAWS = [pytest.param(n, marks=pytest.mark.long) for n in ("snout", "hollow horn", "blobs 5")]


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("degrees", [33.0, 200.0])
def test_fill_does_not_mind_being_turned(name, degrees):
    mesh, fill = straight(name)
    turn = Rotation.from_rotvec([0.0, 0.0, np.radians(degrees)]).as_matrix()
    turned = filled(moved(mesh, turn), turn @ PULL)
    assert fill.cm3 > 5 * fill.slack_cm3
    assert turned.cm3 == pytest.approx(fill.cm3, abs=fill.slack_cm3)


@pytest.mark.parametrize("name", LAWS)
def test_fill_does_not_mind_being_mirrored(name):
    mesh, fill = straight(name)
    mirror = np.diag([-1.0, 1.0, 1.0])
    mirrored = filled(moved(mesh, mirror), mirror @ PULL)
    assert mirrored.cm3 == pytest.approx(fill.cm3, abs=fill.slack_cm3)


@pytest.mark.parametrize("name", LAWS)
def test_fill_grows_with_the_third_power(name):
    mesh, fill = straight(name)
    larger = filled(moved(mesh, 1.5 * np.eye(3)), PULL, larger=1.5)
    assert larger.cm3 / 1.5**3 == pytest.approx(fill.cm3, abs=fill.slack_cm3)
