"""Thin places made thicker from behind: closed forms, and a show side that stays."""

from __future__ import annotations

import numpy as np
import pytest

import headmasks
import menagerie as m
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.solid import NotASolid
from firstpull.core.mesh.thickness import wall_thickness
from firstpull.core.mesh.topology import components, is_closed
from firstpull.core.mesh.wall.fatten import CannotFatten, Fattened, fattened
from firstpull.core.mesh.wall.sides import show_side
from firstpull.core.mesh.wall.thicken import thickened
from test_mesh_hollow import triangles


def assert_kept(made: Fattened, body: Mesh, show: np.ndarray) -> None:
    assert is_closed(made.mesh)
    assert not crosses_itself(made.mesh)
    assert components(made.mesh).max() == components(body).max()
    assert triangles(made.mesh.with_faces(made.show)) == triangles(body.with_faces(show))


def uneven_balls(rings: int = 80) -> tuple[Mesh, np.ndarray]:
    """A hollow ball whose hollow lies off the middle: the wall runs from 1 to 4 mm."""
    outer = m.ball(radius_mm=40.0, rings=rings)
    hollow = m.ball(radius_mm=37.5, rings=rings, at=(0.0, 0.0, 1.5)).flipped()
    show = np.arange(len(outer.faces) + len(hollow.faces)) < len(outer.faces)
    return joined([outer, hollow]), show


def test_an_uneven_hollow_ball_gets_what_two_balls_have_not_in_common() -> None:
    body, show = uneven_balls()
    made = fattened(body, least_mm=2.0, show=show)
    assert_kept(made, body, show)
    assert made.least_mm > 0.99 * 2.0 and made.left_mm2 == 0.0
    # the new hollow is what the old one and the ball of 38 mm have in common: the lens of two
    # balls, volume after Weisstein, Sphere-Sphere Intersection (MathWorld)
    a, b, apart = 38.0, 37.5, 1.5
    lens = np.pi * (a + b - apart) ** 2 * (apart**2 + 2 * apart * (a + b) - 3 * (a - b) ** 2)
    exact = 4 / 3 * np.pi * b**3 - lens / (12 * apart)
    # both are faceted: a ball of 80 rings lacks (pi / 80)^2 / 2 of its volume, the sliver
    # between two that are as coarse is off by their sagitta over the hollow's thin half
    sagitta = 38.0 * (np.pi / 80) ** 2 / 8.0
    assert abs(made.added_mm3 - exact) < sagitta * made.thin_mm2
    # an independent measure: balls that fit into the wall under the show side
    wall = wall_thickness(made.mesh, most_mm=6.0).wall_mm[made.show]
    assert wall.min() > 0.99 * 2.0 - sagitta


def test_what_is_thick_enough_comes_back_as_it_was() -> None:
    body, show = uneven_balls(rings=24)
    made = fattened(body, least_mm=0.9, show=show)
    assert made.mesh is body
    assert made.added_mm3 == 0.0 and made.thin_mm2 == 0.0


def test_a_thin_bowl_becomes_the_bowl_of_the_least_wall_and_keeps_its_rim_level() -> None:
    surface = m.dome(radius_mm=60.0, rings=40)
    body = thickened(surface, wall_mm=1.0).mesh
    show = np.arange(len(body.faces)) < len(surface.faces)
    made = fattened(body, least_mm=2.0, show=show)
    assert_kept(made, body, show)
    wanted = thickened(surface, wall_mm=2.0).mesh
    assert made.mesh.volume_mm3 == pytest.approx(wanted.volume_mm3, rel=0.002)
    # the lowest faces lean by half a ring, 90 / 40 / 2 degrees: a wall square to them dips
    assert made.mesh.bounds_mm[0, 2] > -2.0 * np.sin(np.pi / 160) * 1.001


def test_creases_are_filled_by_a_wall_made_anew() -> None:
    surface = m.open_box(times=4)
    body = thickened(surface, wall_mm=1.0).mesh
    show = np.arange(len(body.faces)) < len(surface.faces)
    made = fattened(body, least_mm=2.5, show=show)
    assert_kept(made, body, show)
    assert made.left_mm2 == 0.0 and made.least_mm > 0.98 * 2.5
    wanted = thickened(surface, wall_mm=2.5).mesh
    assert made.mesh.volume_mm3 == pytest.approx(wanted.volume_mm3, rel=1e-6)


def test_large_inner_faces_are_divided_and_show_faces_are_not() -> None:
    plate = m.box(size_mm=(60, 50, 2))
    show = plate.face_normals[:, 2] > 0.5
    made = fattened(plate, least_mm=3.0, show=show)
    assert_kept(made, plate, show)
    assert made.show.sum() == 2 and (~made.show).sum() > 10
    assert made.added_mm3 == pytest.approx(60 * 50 * 1.0)


def test_the_side_that_sees_the_sky_is_the_show_side() -> None:
    body, show = uneven_balls(rings=24)
    assert (show_side(body, most_mm=8.0) == show).all()
    surface = m.dome(radius_mm=60.0, rings=24)
    bowl = thickened(surface, wall_mm=2.0).mesh
    outer = np.arange(len(bowl.faces)) < len(surface.faces)
    found = show_side(bowl, most_mm=8.0)
    wrong = bowl.face_areas_mm2[found != outer].sum()
    assert wrong < 0.02 * bowl.area_mm2
    made = fattened(bowl, least_mm=3.0)
    assert any("sky" in note for note in made.notes)
    assert made.mesh.volume_mm3 == pytest.approx(
        thickened(surface, wall_mm=3.0).mesh.volume_mm3, rel=0.02
    )


def test_what_cannot_be_done_is_refused_by_name() -> None:
    body, show = uneven_balls(rings=24)
    with pytest.raises(CannotFatten, match="above 0"):
        fattened(body, least_mm=0.0, show=show)
    for wrong in (np.ones(len(show), dtype=bool), np.zeros(len(show), dtype=bool), show[:9]):
        with pytest.raises(CannotFatten, match="Show side"):
            fattened(body, least_mm=2.0, show=wrong)
    with pytest.raises(NotASolid):
        fattened(m.dome(), least_mm=2.0)
    crossing = joined([m.box(), m.box(at=(11, 12, 13))])
    with pytest.raises(CannotFatten, match="crosses itself"):
        fattened(crossing, least_mm=2.0)


@pytest.mark.long
def test_a_mask_of_a_head_gets_thicker_and_says_where_not() -> None:
    mask = headmasks.head_mask(headmasks.head_path(headmasks.HEADS[0]))
    show = show_side(mask, most_mm=16.0)
    made = fattened(mask, least_mm=4.0, show=show)
    assert_kept(made, mask, show)
    assert made.thin_mm2 > 0.3 * mask.area_mm2
    assert made.left_mm2 < 0.12 * made.thin_mm2
