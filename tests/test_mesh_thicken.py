"""Walls behind open surfaces: closed forms, tight hollows, creases, and crossing surfaces."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import components, edge_table, is_closed, open_loops
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.wall.thicken import CannotThicken, Thickened, thickened
from registry_meshes import MESHES, registry_mesh
from test_mesh_hollow import triangles


def assert_wall(made: Thickened, surface: Mesh, wall_mm: float) -> None:
    """Sound, in one piece, as thick as asked, and with the surface's own triangles."""
    assert is_closed(made.mesh)
    assert not crosses_itself(made.mesh)
    assert components(made.mesh).max() == 0
    assert triangles(surface) <= triangles(made.mesh)
    away = Tree.of(surface).closest(made.mesh.vertices_mm)[0]
    sides = [np.stack([loop, np.roll(loop, 1), loop], axis=1) for loop in open_loops(surface)]
    rim = Tree.of(Mesh(surface.vertices_mm, np.concatenate(sides)))
    to_rim = rim.closest(made.mesh.vertices_mm)[0]
    inner = (away > 1e-6) & (to_rim > 2.0 * wall_mm)
    assert away[inner].min() > 0.9 * wall_mm


def loops_through(mesh: Mesh) -> int:
    """Genus by Euler's formula: how many times a handle or tunnel runs through a solid."""
    corners = len(np.unique(mesh.faces))
    return 1 - (corners - len(edge_table(mesh).ends) + len(mesh.faces)) // 2


@pytest.mark.parametrize("times", [3, 5])
def test_square_creases_of_a_finely_divided_box_get_the_whole_wall(times: int) -> None:
    surface = m.open_box(times=times)
    made = thickened(surface, wall_mm=3.0)
    assert_wall(made, surface, 3.0)
    assert made.least_mm > 0.95 * 3.0
    assert loops_through(made.mesh) == 0


def test_a_tight_cone_is_carved_and_stays_one_solid() -> None:
    surface = m.cone(radius_mm=20.0, high_mm=100.0)
    made = thickened(surface, wall_mm=3.0)
    assert_wall(made, surface, 3.0)
    slant = np.hypot(20.0, 100.0)
    high = 100.0 - 3.0 * slant / 20.0  # of the inner cone, whose sides are 3 mm in
    exact = np.pi / 3 * (20.0**2 * 100.0 - (high * 0.2) ** 2 * high)
    assert made.mesh.volume_mm3 == pytest.approx(exact, rel=0.01)
    # solid is what lies over the inner tip, 100 - high, and was counted where the wall lacks
    # a tenth and more: above the height where 0.45 of the width is under 0.9 of the wall
    assert 0.0 < made.filled_mm3 < np.pi / 3 * (100.0 - 0.8 * high) ** 3 * 0.2**2


def test_two_domes_back_to_back_fill_up_between() -> None:
    """A dome with a deep dent from above: between both only 4 mm are left for two walls of 3."""
    profile = [(r, 40.0 - 0.01 * r * r) for r in np.linspace(0.0, 12.0, 25)]
    profile = [(r, z - 34.0 * max(0.0, 1.0 - (r / 9.0) ** 2)) for r, z in profile]
    profile += [(12.0 + 1.0 * np.sin(t), 37.0 - 37.0 * t / 3.0) for t in np.linspace(0.1, 3.0, 30)]
    vertices, faces = m._turned_profile(np.array(profile), 96)
    surface = Mesh(vertices, faces)
    made = thickened(surface, wall_mm=3.0)
    assert_wall(made, surface, 3.0)
    assert loops_through(made.mesh) == 0
    assert made.tight_share > 0.0


def test_an_opening_stays_as_wide_as_it_was() -> None:
    dome = m.divided(m.dome(radius_mm=60.0, rings=20), 1)
    centre = np.array([60.0, 0.0, 0.0]) * np.cos(0.6) + np.array([0.0, 0.0, 60.0]) * np.sin(0.6)
    surface = dome.with_faces(np.linalg.norm(dome.face_centres_mm - centre, axis=1) > 9.0)
    made = thickened(surface, wall_mm=4.0)
    assert_wall(made, surface, 4.0)
    assert loops_through(made.mesh) == len(open_loops(surface)) - 1
    # a line along the opening's axis meets nothing within the opening's radius, less its
    # jagged edge of one face, about 3 mm
    axis = centre / np.linalg.norm(centre)
    along = made.mesh.vertices_mm @ axis
    aside = np.linalg.norm(made.mesh.vertices_mm - along[:, None] * axis, axis=1)
    assert aside[along > 30.0].min() > 9.0 - 3.0


@pytest.mark.long
@pytest.mark.parametrize("name", ["face mask", "lion's head", "mannequin"])
def test_open_meshes_keep_every_triangle_and_cross_nowhere(name: str) -> None:
    surface = registry_mesh(next(c for c in MESHES if c.name == name))
    if surface.volume_mm3 < 0:
        surface = surface.flipped()
    made = thickened(surface, wall_mm=3.0)
    assert_wall(made, surface, 3.0)
    assert loops_through(made.mesh) == len(open_loops(surface)) - 1
    assert made.off_mm == 0.0


@pytest.mark.long
def test_a_surface_that_crosses_itself_is_made_anew_and_says_how_far_off() -> None:
    surface = registry_mesh(next(c for c in MESHES if c.name == "devil's head"))
    assert crosses_itself(surface)
    made = thickened(surface, wall_mm=6.0)
    assert is_closed(made.mesh)
    assert not crosses_itself(made.mesh)
    assert 0.0 < made.off_mm < 6.0
    assert loops_through(made.mesh) == 0


def test_a_wall_too_fine_for_the_size_is_not_guessed() -> None:
    # a cone four metres long whose tip is too tight: it would need a carved wall
    surface = m.cone(radius_mm=2000.0, high_mm=4000.0)
    made = thickened(surface, wall_mm=3.0)
    assert made.tight_share < 1e-3
    twice = Mesh(
        np.concatenate([surface.vertices_mm, surface.vertices_mm + np.array([900.0, 0.0, 0.0])]),
        np.concatenate([surface.faces, surface.faces + len(surface.vertices_mm)]),
    )
    with pytest.raises(CannotThicken, match="million points"):
        thickened(twice, wall_mm=3.0)
