"""A mould that the generator made, spoiled: the proof must fail and name what is wrong.

The mask has a snout at a slant, whose underside locks a shell in one piece.
"""

from __future__ import annotations

from typing import Any

import manifold3d
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import signed_distance
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, mesh_of_largest, solid
from firstpull.core.mould.proof import prove_mould
from firstpull.core.mould.shell import build_shell
from firstpull.core.mould.sweep import with_soft_valleys
from mould_cases import CLEARANCE_MM, SHELL_MM, SKIN_MM, WALL, WholeMould, shell_mould, skin_of


def mask() -> WholeMould:
    return shell_mould("snout", step_mm=2.0)


def failures(count: int, **changes: Any) -> dict[str, str]:
    """Names of the failed checks of the shell in so many pieces, each with its sentence."""
    result = prove_mould(**(mask().proof_arguments(count) | changes))
    return {check.name: check.sentence for check in result.failures}


def above_board(made: Any) -> Any:
    return made.trim_by_plane((0.0, 0.0, 1.0), 0.0)


@pytest.mark.parametrize("pieces", [1, pytest.param(2, marks=pytest.mark.long)])
def test_as_generated_it_passes(pieces):
    assert failures(pieces) == {}
    assert mask().built[1].fill_cm3 > 10.0


@pytest.mark.parametrize(
    "about",
    [(1.0, 0.0, 0.0), *(pytest.param(a, marks=pytest.mark.long) for a in [(0, 1, 0), (-1, 0, 0)])],
)
def test_a_pull_turned_by_five_degrees_is_caught(about):
    """More than the draft of 3 degrees: some wall that leaned to the pull is now in the way."""
    turn = Rotation.from_rotvec(np.radians(5.0) * np.array(about, dtype=float))
    pulls = [turn.apply(piece.pull) for piece in mask().built[1].pieces]
    found = failures(1, pulls=pulls)
    assert {"release: piece 1", "draft: piece 1"} & set(found)


@pytest.mark.long
@pytest.mark.parametrize("turned", [0, 1])
def test_a_turned_pull_of_one_half_is_laid_on_that_half(turned):
    """Turned by 35 degrees across the parting plane, a half runs into the other or the skin."""
    built = mask().built[2]
    pulls = [np.array(piece.pull) for piece in built.pieces]
    axis = np.cross(pulls[turned], built.parting.zones[turned].walls[0].normal)
    turn = Rotation.from_rotvec(-np.radians(35.0) * axis / np.linalg.norm(axis))
    pulls[turned] = turn.apply(pulls[turned])
    found = failures(2, pulls=pulls)
    assert any(name.endswith(f"piece {turned + 1}") for name in found)


def test_a_skin_one_millimetre_too_thin_is_caught():
    mould = mask()
    thin = skin_of(mould.body, step_mm=2.0, skin_mm=SKIN_MM - 1.0)
    built = build_shell(mould.body, thin, mould.partings[1], **WALL)
    found = failures(1, skin=built.skin, pieces=[piece.mesh for piece in built.pieces])
    assert set(found) == {"gap"}
    assert "Thicken the skin" in found["gap"]


def under_the_snout() -> Any:
    """A block around the middle of all that faces down on the show surface."""
    mould = mask()
    master, show = mould.standing.master, mould.standing.show
    under = show.faces & (master.face_normals[:, 2] < -0.3) & (master.face_centres_mm[:, 2] > 40)
    middle = np.average(master.face_centres_mm[under], axis=0, weights=master.face_areas_mm2[under])
    return manifold3d.Manifold.cube((24.0, 24.0, 24.0), True).translate(tuple(middle))


def test_an_undercut_buried_in_clay_is_caught():
    """Clay takes the silicone's place under the snout: the casting would lose its show there."""
    mould = mask()
    built = mould.built[1]
    clay = solid(built.skin) ^ under_the_snout()
    assert clay.volume() > 500.0
    body = mesh_of_largest(solid(mould.body.mesh) + clay)
    skin = mesh_of_largest(solid(built.skin) - clay)
    found = failures(1, body=body, skin=skin)
    assert "show bare" in found
    assert "only silicone may close an undercut" in found["show bare"]


def plain_skin() -> Any:
    """Skin, flange and keys without any fill, as a solid that holds the body as well."""
    shape = mask().shape
    return above_board(solid(contour(with_soft_valleys(shape.phi, shape.grid), shape.grid)))


def test_missing_fill_is_caught_as_a_void_behind_the_shell():
    body = solid(mask().body.mesh)
    found = failures(1, skin=mesh_of_largest(plain_skin() - body))
    assert set(found) == {"support: piece 1"}
    assert "void" in found["support: piece 1"]


def test_a_shell_that_follows_the_skin_without_fill_does_not_come_off():
    """A band of even thickness around the bare skin: it holds the snout from below."""
    mould = mask()
    shape = mould.shape
    field = np.maximum(shape.phi - (CLEARANCE_MM + SHELL_MM), CLEARANCE_MM - shape.phi)
    piece: Mesh = mesh_of_largest(above_board(solid(contour(field, shape.grid))))
    skin = mesh_of_largest(plain_skin() - solid(mould.body.mesh))
    found = failures(1, skin=skin, pieces=[piece])
    assert "release: piece 1" in found


def strapped() -> list[Mesh]:
    """The two halves, the first with a strap that lies 0.5 mm over the top of the other's flange.

    It leaves with the first half upward and to its side; the second half, going first, lifts
    its flange into it.
    """
    mould = mask()
    built = mould.built[2]
    grid, (first, second) = mould.shape.grid, (piece.mesh for piece in built.pieces)
    to_first, to_second = (signed_distance(p, grid, reach_mm=12.0) for p in (first, second))
    zone = built.parting.zones[1]
    into_second, across = zone.into(*grid.axes()), zone.walls[0].across
    top = second.vertices_mm[second.vertices_mm[:, 2].argmax()]
    x, y, z = (axis - at for axis, at in zip(grid.axes(), top, strict=True))
    # along the arch of the flange only where it runs level
    along = np.abs(x * across[0] + y * across[1]) - 9.0
    band = np.maximum(np.minimum(to_first, to_second) - 6.0, 0.5 - to_second)
    within = np.maximum(np.maximum(into_second - 9.0, -10.0 - into_second), along)
    within = np.maximum(within, -10.0 - z)
    strap = contour(np.maximum(band, within).astype(np.float32), grid)
    return [mesh_of_largest(solid(first) + solid(strap)), second]


def test_a_strap_over_the_other_half_is_fine_in_its_own_order():
    assert failures(2, pieces=strapped()) == {}


def test_the_wrong_order_is_caught():
    """The half under the strap named to come off first."""
    pulls = [piece.pull for piece in mask().built[2].pieces]
    found = failures(2, pieces=strapped()[::-1], pulls=pulls[::-1])
    assert set(found) == {"release: piece 1"}
    assert "runs into piece 2" in found["release: piece 1"]


@pytest.mark.long
def test_a_hole_in_the_skin_over_the_show_surface_is_caught():
    skin = mesh_of(solid(mask().built[1].skin) - under_the_snout())
    assert "show covered" in failures(1, skin=skin)
