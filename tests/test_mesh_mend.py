"""Mending makes one sound solid, counts what it changed, and leaves openings open."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import CannotMend, NoArea, NoTriangles, WallOutOfRange
from firstpull.core.mesh.solid import solid
from firstpull.core.mesh.topology import is_closed, open_loops

BALL = m.ball()
CLOSED = {
    "soup": (m.soup(BALL), {"vertices_merged": 3 * len(BALL.faces) - len(BALL.vertices_mm)}),
    "one hole": (m.without(BALL, 700), {"holes_closed": 1}),
    "turned faces": (m.with_turned(BALL, 5, 200, 900), {"faces_turned": 3}),
    "inside out": (BALL.flipped(), {"bodies_turned": 1}),
    "repeated faces": (m.with_repeated(BALL, 7, 8), {"duplicate_faces_dropped": 2}),
    "exported twice": (
        joined([BALL, BALL]),
        {"duplicate_faces_dropped": len(BALL.faces), "vertices_merged": len(BALL.vertices_mm)},
    ),
    "collapsed faces": (m.with_collapsed(BALL), {"degenerate_faces_dropped": 3}),
    "scrap beside": (joined([BALL, m.scrap()]), {"loose_bits_dropped": 1}),
    "inner wall": (m.with_inner_wall(), {"inner_wall_faces_dropped": 48}),
}


@pytest.mark.parametrize("name", CLOSED)
def test_a_ball_with_one_thing_wrong_is_a_ball_again(name: str) -> None:
    broken, changed = CLOSED[name]
    mended = mend(broken)
    assert mended.changed == changed
    assert mended.findings_left == ()
    assert mended.mesh.volume_mm3 == pytest.approx(BALL.volume_mm3, rel=1e-9)
    assert solid(mended.mesh).volume() == pytest.approx(BALL.volume_mm3, rel=1e-9)


def test_a_sound_solid_comes_back_as_it_was() -> None:
    mended = mend(BALL)
    assert mended.mesh is BALL
    assert mended.changed == {} and mended.notes == ()


@pytest.mark.parametrize(
    "broken",
    [m.soup(BALL), m.dome(rings=16), m.open_box(), m.touching_boxes(), m.hourglass(), m.cone()],
)
def test_mending_twice_changes_no_more_than_once(broken: Mesh) -> None:
    once = mend(broken)
    twice = mend(once.mesh)
    assert twice.changed == {}
    assert np.array_equal(twice.mesh.faces, once.mesh.faces)


@pytest.mark.parametrize("broken", [m.dome(rings=16), m.soup(BALL), m.with_inner_wall()])
def test_turning_first_or_mending_first_is_the_same(broken: Mesh) -> None:
    matrix = m.turning(50, (3, 1, 2), (10, 20, -30))
    one, other = mend(broken.moved(matrix)), mend(broken)
    assert one.changed == other.changed
    assert one.mesh.volume_mm3 == pytest.approx(other.mesh.volume_mm3, rel=1e-6)


def test_bodies_that_touch_along_an_edge_come_apart() -> None:
    mended = mend(m.touching_boxes())
    assert is_closed(mended.mesh)
    assert mended.changed == {"vertices_parted": 2}
    assert mended.mesh.volume_mm3 == pytest.approx(2 * 60 * 50 * 40)


def test_a_body_that_touches_itself_along_an_edge_is_parted_there() -> None:
    given = m.pinched()
    assert [f.kind for f in find_defects(given)] == ["edge of more than two faces"]
    mended = mend(given)
    assert mended.findings_left == ()
    assert mended.mesh.volume_mm3 == pytest.approx(5 * 40**3)


def test_overlapping_bodies_become_one() -> None:
    mended = mend(joined([m.box(), m.box(at=(30, 20, 10))]))
    assert mended.changed == {"bodies_united": 2}
    assert mended.mesh.volume_mm3 == pytest.approx(2 * 60 * 50 * 40 - 30 * 30 * 30)


def test_bodies_apart_stay_as_they_are_and_a_hollow_stays_hollow() -> None:
    apart = joined([m.box(), m.box(at=(200, 0, 0))])
    assert mend(apart).mesh is apart
    hollow = joined([BALL, m.ball(radius_mm=50).flipped()])
    assert mend(hollow).mesh.volume_mm3 == pytest.approx(
        BALL.volume_mm3 - m.ball(radius_mm=50).volume_mm3
    )


def test_an_eye_opening_and_a_rim_are_never_closed() -> None:
    dome = m.dome()
    centres = dome.face_centres_mm
    eyes = np.abs(centres - np.array([30, 55, 50])) @ np.ones(3) < 20
    mask = dome.with_faces(~eyes)
    assert len(open_loops(mask)) == 2
    mended = mend(mask)
    assert "holes_closed" not in mended.changed
    # a wall with one hole through it is a ring: Euler number 0, by Euler-Poincare 2 - 2 genus
    faces = len(mended.mesh.faces)
    assert len(mended.mesh.vertices_mm) - 3 * faces // 2 + faces == 0


def test_a_crack_of_rounding_is_closed_without_moving_anything() -> None:
    half = BALL.face_centres_mm[:, 2] > 0
    upper, lower = BALL.with_faces(half), BALL.with_faces(~half)
    rounded = Mesh(lower.vertices_mm + 1e-4, lower.faces)
    mended = mend(joined([upper, rounded]))
    assert mended.changed == {"vertices_merged": 48}
    assert mended.mesh.volume_mm3 == pytest.approx(BALL.volume_mm3, rel=1e-5)


def test_what_cannot_be_mended_is_refused_by_name() -> None:
    with pytest.raises(CannotMend, match="half twist"):
        mend(m.twisted_strip())
    with pytest.raises(NoTriangles):
        mend(Mesh(np.zeros((0, 3)), np.zeros((0, 3))))
    with pytest.raises(NoArea):
        mend(BALL.moved(np.diag([1.0, 0.0, 0.0, 1.0])))
    with pytest.raises(WallOutOfRange, match=r"0\.8 to 20 mm"):
        mend(m.dome(), wall_mm=0.1)
    with pytest.raises(WallOutOfRange, match="two walls"):
        mend(m.dome(radius_mm=1.0), wall_mm=3.0)


# Thickening of an open surface.


@pytest.mark.parametrize("rings", [20, 40, 80])
def test_a_half_ball_becomes_a_half_shell(rings: int) -> None:
    """Closed form: 2/3 pi (R^3 - (R - t)^3). A ball of n rings to the quarter turn has chords
    whose sagitta is R (pi / 4n)^2 / 2: inside and outside shrink alike, so the volume is
    short by no more than twice sagitta / R."""
    radius, wall = 80.0, 3.0
    exact = 2 / 3 * np.pi * (radius**3 - (radius - wall) ** 3)
    volume = mend(m.dome(radius_mm=radius, rings=rings), wall_mm=wall).mesh.volume_mm3
    assert volume == pytest.approx(exact, rel=2 * (np.pi / (4 * rings)) ** 2 + 2e-4)


@pytest.mark.parametrize("times", [0, 2, 4])
def test_an_open_box_gets_walls_of_even_thickness(times: int) -> None:
    """Closed form: outer box less inner box, (a - 2t)(b - 2t)(c - t)."""
    exact = 60 * 50 * 40 - 54 * 44 * 37
    volume = mend(m.open_box(times=times), wall_mm=3.0).mesh.volume_mm3
    assert volume == pytest.approx(exact, rel=0.005)


@pytest.mark.parametrize("surface", [m.dome(rings=20), m.open_box(), m.cone()])
def test_the_show_side_does_not_move(surface: Mesh) -> None:
    """Every triangle of the surface is a triangle of the wall, and the inside is inward."""
    for given in (surface, surface.flipped()):
        mended = mend(given, wall_mm=2.0)
        assert is_closed(mended.mesh)
        assert not any(finding.blocks for finding in find_defects(mended.mesh))

        def corners(mesh: Mesh) -> set[tuple[float, ...]]:
            order = np.sort(mesh.corners_mm.round(9).view("f8,f8,f8").reshape(-1, 3), axis=1)
            return {tuple(map(tuple, row)) for row in order.tolist()}

        assert corners(surface) <= corners(mended.mesh)
        low, high = surface.bounds_mm
        inner_low, inner_high = mended.mesh.bounds_mm
        # the rim is square to the surface, so only downward may the wall reach past it
        assert (inner_low[:2] >= low[:2] - 1e-9).all() and (inner_high <= high + 1e-9).all()


def test_where_the_hollow_is_too_tight_it_becomes_solid() -> None:
    """Closed form of a cone with wall t: the inner cone's tip lies t L / r lower, L the slant."""
    surface = m.cone(radius_mm=20.0, high_mm=100.0)
    mended = mend(surface, wall_mm=3.0)
    slant = np.hypot(20.0, 100.0)
    inner_high = 100.0 - 3.0 * slant / 20.0
    inner_radius = inner_high * 20.0 / 100.0
    exact = np.pi / 3 * (20.0**2 * 100.0 - inner_radius**2 * inner_high)
    assert mended.mesh.volume_mm3 == pytest.approx(exact, rel=0.01)
    assert any("made solid" in note for note in mended.notes)


def test_a_nearly_flat_surface_keeps_the_side_it_faces_and_says_so() -> None:
    plate = m.divided(
        Mesh([[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]])
    )
    mended = mend(plate, wall_mm=2.0)
    assert mended.mesh.bounds_mm[:, 2] == pytest.approx([-2.0, 0.0])
    assert any("nearly flat" in note for note in mended.notes)


def test_a_scene_of_many_open_sheets_is_refused_by_name() -> None:
    sheets = joined(
        [m.open_box(times=0).moved(m.turning(0, (0, 0, 1), (90 * k, 0, 0))) for k in range(30)]
    )
    with pytest.raises(CannotMend, match="30 open parts"):
        mend(sheets)


def test_bodies_that_touch_in_a_tip_come_apart() -> None:
    mended = mend(m.hourglass())
    assert mended.changed == {"vertices_parted": 1}
    assert [f.kind for f in find_defects(mended.mesh)] == ["separate parts"]


def test_a_rebuilt_surface_is_measured_against_the_one_that_could_not_be_mended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A refusal at the first stage: what was kept is the mesh as it was then, not the new one."""
    from firstpull.core.mesh.mending import mend as module
    from firstpull.core.mesh.revision.compare import compare

    def refused(work: object) -> None:
        raise CannotMend(where="Mesh", found="cannot be parted", remedy="Part it by hand.")

    monkeypatch.setattr(module, "parted", refused)
    holed = m.without(BALL, 700)
    mended = mend(holed, rebuild_step_mm=3.0)
    assert mended.changed["rebuilt_at_step_mm"] == 3.0
    assert mended.kept is not None and np.array_equal(mended.kept.faces, holed.faces)
    # corners that a grid of 3 mm cuts off show as what they are
    assert compare(mended.kept, mended.mesh).back.least_mm > 1e-6
