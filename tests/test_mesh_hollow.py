"""Hollowing: closed forms for what is taken out, and an outside that stays."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
import shapes
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import CannotMend
from firstpull.core.mesh.solid import NotASolid
from firstpull.core.mesh.topology import components, is_closed
from firstpull.core.mesh.tree import Tree
from firstpull.core.mesh.wall.hollow import CannotHollow, Hollowed, hollowed

DOWN = (0.0, 0.0, -1.0)


def triangles(mesh: Mesh) -> set[bytes]:
    """Each face as its corners, bit for bit, whatever corner it starts from."""
    rows = mesh.corners_mm
    order = np.lexsort((rows[:, :, 2], rows[:, :, 1], rows[:, :, 0]), axis=1)
    return {row.tobytes() for row in np.take_along_axis(rows, order[:, :, None], axis=1)}


def assert_shell(made: Hollowed, body: Mesh, wall_mm: float) -> None:
    assert is_closed(made.mesh)
    assert not crosses_itself(made.mesh)
    assert components(made.mesh).max() == 0
    # the wall's slack: faces are moved until a thousandth of it is lacking, or crossings stop it
    assert made.least_wall_mm > 0.98 * wall_mm


def outer_ring(sheet_area_mm2: float, step_mm: float, edges_mm: float) -> float:
    """Volume that rounding on a grid may leave: a chamfer of a step at each inner edge, and
    the sagitta of faces a diagonal long on a bent wall."""
    return 0.5 * step_mm**2 * edges_mm + 0.02 * step_mm * sheet_area_mm2


def test_a_box_becomes_a_tray() -> None:
    box = m.box(size_mm=(60, 50, 40))
    made = hollowed(box, wall_mm=4.0, open_back=DOWN)
    assert_shell(made, box, 4.0)
    assert made.cut_mm == 0.0 and made.solid_mm3 == 0.0
    slack = outer_ring(0.0, made.step_mm, 2 * (52 + 42) + 4 * 36)
    assert 0.0 < 52 * 42 * 36 - made.removed_mm3 < slack
    # ten of the box's twelve triangles are outside the opened back
    assert len(triangles(box) & triangles(made.mesh)) == 10
    # the rim lies in the back, a wall wide
    flat = made.mesh.face_normals[:, 2] < -0.999
    lying = flat & (np.abs(made.mesh.face_centres_mm[:, 2] - box.vertices_mm[:, 2].min()) < 1e-9)
    assert made.mesh.face_areas_mm2[lying].sum() == pytest.approx(60 * 50 - 52 * 42, rel=0.01)


def test_a_cylinder_becomes_a_cup() -> None:
    body = shapes.cylinder(30.0, 60.0, n=192)
    made = hollowed(body, wall_mm=5.0, open_back=DOWN)
    assert_shell(made, body, 5.0)
    taken = np.pi * 25**2 * 55
    slack = outer_ring(2 * np.pi * 25 * 55, made.step_mm, 2 * np.pi * 25)
    assert 0.0 < taken - made.removed_mm3 < slack


def test_half_a_ball_becomes_a_bowl() -> None:
    ball = m.ball(radius_mm=40.0, rings=60)
    made = hollowed(ball, wall_mm=4.0, open_back=(0.0, 1.0, 0.0), back_mm=40.0)
    assert_shell(made, ball, 4.0)
    assert made.cut_mm == 40.0
    # half is cut off; in the rest the hollow is the half ball a wall smaller, whose edge
    # keeps its distance from the rim
    left = 2 / 3 * np.pi * (40**3 - 36**3)
    assert made.mesh.volume_mm3 == pytest.approx(left, rel=0.03)
    radius = np.linalg.norm(made.mesh.vertices_mm, axis=1)
    assert radius.min() > 35.0 and made.mesh.vertices_mm[:, 1].max() < 1e-9


def test_a_round_back_is_cut_one_wall_deep_and_says_so() -> None:
    made = hollowed(m.ball(radius_mm=40.0), wall_mm=5.0, open_back=(0.0, 0.0, -1.0))
    assert_shell(made, m.ball(), 5.0)
    assert made.cut_mm == 5.0
    assert any("cut 5 mm deep" in note for note in made.notes)


def test_a_cone_stays_solid_at_its_tip_and_says_how_much() -> None:
    cone = shapes.cone(12.0, 120.0, n=192)
    made = hollowed(cone, wall_mm=4.0, open_back=DOWN)
    assert_shell(made, cone, 4.0)
    # the hollow's tip lies wall / sin(half angle) below the cone's, and the material over it
    # is counted from 1.8 walls on
    half = np.arctan(12.0 / 120.0)
    above = 4.0 / np.sin(half) - 1.8 * 4.0
    # where the hollow is not a step wide, the grid has lost it
    lost = 0.5 * made.step_mm / np.tan(half)
    least, most = (np.pi / 3 * high**3 * np.tan(half) ** 2 for high in (above, above + lost))
    assert 0.95 * least < made.solid_mm3 < 1.05 * most
    assert any("stayed solid" in note for note in made.notes)


def test_a_pocket_behind_a_narrow_neck_is_not_hollowed() -> None:
    # two boxes joined by a bar thinner than two walls: only the one at the back opens
    from firstpull.core.mesh.solid import mesh_of, solid

    parts = [
        m.box(size_mm=(40, 40, 30)),
        m.box(size_mm=(7, 7, 30), at=(16.5, 16.5, 25)),
        m.box(size_mm=(40, 40, 30), at=(0, 0, 50)),
    ]
    made = hollowed(mesh_of(sum(map(solid, parts[1:]), solid(parts[0]))), wall_mm=4, open_back=DOWN)
    assert_shell(made, parts[0], 4.0)
    low = parts[0].vertices_mm[:, 2].min()
    inner = np.abs(made.mesh.vertices_mm[:, :2] - parts[0].vertices_mm[:, :2].mean(axis=0))
    deep = (inner.max(axis=1) < 15.9) & (inner.max(axis=1) > 4.0)
    assert made.mesh.vertices_mm[deep, 2].max() < low + 30 - 4 + 0.01
    assert made.solid_mm3 > 0.5 * (40 - 2 * 7.2) ** 2 * (30 - 2 * 7.2)


def test_the_largest_flat_face_is_the_back_when_nothing_is_said() -> None:
    made = hollowed(m.box(size_mm=(60, 50, 20)), wall_mm=4.0)
    opened = made.mesh.vertices_mm[:, 2]
    assert 52 * 42 * 16 * 0.98 < made.removed_mm3 < 52 * 42 * 16
    assert np.ptp(opened) == pytest.approx(20.0)


def test_the_wall_is_as_thick_seen_from_outside() -> None:
    # an independent route: from points of the outside inward to the hollow's faces
    body = shapes.torus(40.0, 14.0)
    made = hollowed(body, wall_mm=3.0, open_back=DOWN, back_mm=6.0)
    assert_shell(made, body, 3.0)
    inner = Tree.of(body).closest(made.mesh.face_centres_mm)[0] > 1.0
    above = made.mesh.face_centres_mm[:, 2] > made.mesh.vertices_mm[:, 2].min() + 0.01
    hollow = made.mesh.with_faces(inner & above)
    upper = body.vertices_mm[body.vertices_mm[:, 2] > 0]
    wall = Tree.of(hollow).closest(upper)[0]
    assert wall.min() > 0.98 * 3.0
    assert np.median(wall) == pytest.approx(3.0, abs=0.05)


def test_what_cannot_be_hollowed_is_refused_by_name() -> None:
    box = m.box()
    with pytest.raises(CannotHollow, match="no room"):
        hollowed(box, wall_mm=25.0, open_back=DOWN)
    with pytest.raises(CannotHollow, match="no large flat face"):
        hollowed(m.ball(), wall_mm=4.0)
    with pytest.raises(CannotHollow, match="must have a length"):
        hollowed(box, wall_mm=4.0, open_back=(0, 0, 0))
    with pytest.raises(CannotHollow, match="shallower"):
        hollowed(box, wall_mm=4.0, open_back=DOWN, back_mm=39.0)
    with pytest.raises(CannotHollow, match="million points"):
        hollowed(m.box(size_mm=(900, 900, 900)), wall_mm=2.0, open_back=DOWN)
    with pytest.raises(CannotHollow, match="hollow already"):
        hollowed(
            joined([box, m.box(size_mm=(20, 20, 20), at=(20, 15, 10)).flipped()]),
            wall_mm=4.0,
            open_back=DOWN,
        )
    with pytest.raises(NotASolid):
        hollowed(m.dome(), wall_mm=4.0, open_back=DOWN)
    with pytest.raises(CannotMend, match="crosses itself"):
        hollowed(joined([box, m.box(at=(11, 12, 13))]), wall_mm=4.0, open_back=DOWN)
