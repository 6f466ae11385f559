"""Where to part, what it costs, and how far the skin must stretch; and the laws of all of it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import trimesh

import shapes
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.options import Option, recommend, weigh_option
from firstpull.core.mould.parting import (
    LEAST_SHARE,
    Parting,
    part_in_one,
    part_in_two,
)
from firstpull.core.mould.shadows import STEEPEST_ONE_PIECE, cast_shadows
from firstpull.core.mould.shell import build_shell
from firstpull.core.mould.stretch import ONCE, REPEATED, Stretch, stripping_stretch
from mould_cases import DRAFT_DEG, WALL, shell_mould, skin_of, standing_body, whole_mould


@lru_cache(maxsize=8)
def parted(name: str) -> tuple[Parting, Parting]:
    mesh = {
        "half ball": lambda: shapes.hemisphere(40, 120),
        "leaning": lambda: leaning_column(25.0),
        "ridge": lambda: ridge(),
    }[name]()
    shadows = cast_shadows(skin_of(standing_body(mesh), step_mm=2.0), draft_deg=DRAFT_DEG)
    return tuple(part(shadows, draft_deg=DRAFT_DEG) for part in (part_in_one, part_in_two))


def leaning_column(lean_deg: float) -> Mesh:
    """A round column of 30 mm that leans toward +x and ends in half a ball."""
    lean = np.radians(lean_deg)
    way = np.array([np.sin(lean), 0.0, np.cos(lean)])
    balls = [
        trimesh.creation.icosphere(subdivisions=3, radius=15.0).vertices + way * d
        for d in (-40.0, 60.0)
    ]
    hull = trimesh.convex.convex_hull(np.concatenate(balls))
    made = solid(Mesh(hull.vertices, hull.faces)).trim_by_plane((0, 0, 1), 0.0)
    return mesh_of(made)


def ridge() -> Mesh:
    """A bar along y, mushroomed: it overhangs to both sides in x, so only a plane along y
    frees it."""
    import manifold3d

    stem = manifold3d.Manifold.cube((16, 100, 40), True).translate((0, 0, 20))
    head = manifold3d.Manifold.cylinder(104, 18, circular_segments=48, center=True)
    head = head.rotate((90, 0, 0)).translate((0, 0, 40))
    return mesh_of(stem + head)


def test_a_half_ball_needs_next_to_no_fill_either_way():
    """Its own wall is upright only at the board, where the skin and the flange meet: the draft
    takes a wedge no wider than 40 (1 - cos 3) + 8 tan 3 = 0.5 mm off a height of 8 mm."""
    outline = 2 * np.pi * 46 * 0.5 * 8 / 2 / 1000
    for parting in parted("half ball"):
        assert parting.fill_cm3 <= outline + 0.5


def test_one_piece_follows_a_lean():
    """The column leans 25 degrees to +x; pulled along itself it casts no shadow."""
    pull = parted("leaning")[0].pulls[0]
    lean = np.degrees(np.arctan2(pull[0], pull[2]))
    # within the draft, of which it needs none against its own side
    assert lean == pytest.approx(25.0, abs=8.0)
    assert abs(pull[1]) < 0.15


def test_two_pieces_part_a_ridge_along_itself():
    one, two = parted("ridge")
    assert two.fill_cm3 < 0.3 * one.fill_cm3
    normal = np.array(two.zones[0].walls[0].normal)
    assert abs(normal[0]) > np.cos(np.radians(16))


@pytest.mark.parametrize("name", ["half ball", "leaning", "ridge"])
def test_partings_keep_their_promises(name):
    """Pulls are unit vectors off the board that leave their zone; zones are two halves of one
    upright plane through the middle of the body."""
    one, two = parted(name)
    for parting in (one, two):
        assert len(parting.zones) == len(parting.pulls)
        np.testing.assert_allclose(np.linalg.norm(parting.pulls, axis=1), 1.0)
        for zone, pull in zip(parting.zones, parting.pulls, strict=True):
            assert pull[2] >= np.sin(np.radians(DRAFT_DEG))
            assert zone.is_left_by(pull, draft_deg=DRAFT_DEG)
        assert parting.fill_cm3 >= 0
    assert one.pulls[0, 2] >= STEEPEST_ONE_PIECE
    (ahead,), (behind,) = (zone.walls for zone in two.zones)
    np.testing.assert_allclose(ahead.normal, -np.array(behind.normal))
    assert ahead.offset_mm == -behind.offset_mm
    assert ahead.normal[2] == 0.0
    assert 0 < LEAST_SHARE < 0.5


# --- laws ------------------------------------------------------------------------------------


def snout() -> Mesh:
    return shapes.implicit_shell("snout", 0, 15_000).mesh


def volumes(mould) -> dict[str, float]:
    built = mould.built[1]
    return {
        "body": mould.body.volume_cm3,
        "skin": built.skin_cm3 - built.fill_cm3,
        "fill": built.fill_cm3,
        "shell": built.pieces[0].volume_cm3,
    }


@pytest.mark.long
@pytest.mark.parametrize("turn_deg, shift", [(0.0, (0.37, -5.2, 9.1)), (33.0, (0.0, 0.0, 0.0))])
def test_a_mould_turns_and_shifts_with_its_mesh(turn_deg, shift):
    """Volumes from another fall of the grid differ by no more than a tenth of a millimetre over
    their surface: at 2 mm the chord of a round of 8 mm is 2^2 / 64 = 0.06 mm off, and creases
    take more but are few. The fill also depends on how the search for its pull ended, on a
    grid four times as coarse."""
    first = whole_mould(snout(), pieces=(1,), given_up=(0, 0, 1))
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    frame = np.array([[c, -s, 0, shift[0]], [s, c, 0, shift[1]], [0, 0, 1, shift[2]], [0, 0, 0, 1]])
    moved = whole_mould(snout().moved(frame), pieces=(1,), given_up=(0, 0, 1))
    assert moved.standing.show.area_mm2 == pytest.approx(first.standing.show.area_mm2, rel=0.005)
    one, two = volumes(first), volumes(moved)
    for name, area in (
        ("body", first.body.mesh.area_mm2),
        ("skin", first.built[1].skin.area_mm2),
        ("shell", first.built[1].pieces[0].mesh.area_mm2),
    ):
        assert two[name] == pytest.approx(one[name], abs=0.1 * area / 1000), name
    assert two["fill"] == pytest.approx(one["fill"], rel=0.15)


@pytest.mark.long
def test_a_sculpts_skin_follows_its_scale():
    """Body, thickness, flange and grid twice as large: eight times the silicone, to 1 %. Keys
    and what rounds the flange's edge keep their size; they are left out by a skin without."""
    from firstpull.core.mould.skin import shape_skin

    found = []
    for k in (1.0, 2.0):
        mesh = shapes.hemisphere(30, 120)
        body = standing_body(Mesh(k * mesh.vertices_mm, mesh.faces))
        shape = shape_skin(
            body,
            thickness_mm=6 * k,
            flange_width_mm=1.0,
            flange_thickness_mm=-20.0 * k,
            step_mm=1.5 * k,
            room_mm=40.0 * k,
        )
        parting = Parting(
            part_in_one(cast_shadows(shape, draft_deg=3.0), draft_deg=3.0).zones,
            np.array([[0.0, 0.0, 1.0]]),
            0.0,
        )
        built = build_shell(
            body, shape, parting, thickness_mm=8 * k, clearance_mm=0.3 * k, draft_deg=3.0
        )
        found.append((built.skin_cm3, built.pieces[0].volume_cm3))
    for small, large in zip(*found, strict=True):
        assert large == pytest.approx(8 * small, rel=0.01)


# --- the choice ------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("pieces", [1, 2])
def test_the_chart_counts_what_is_built(pieces):
    mould = shell_mould("snout", step_mm=2.0)
    option = weigh_option(mould.body, mould.shape, mould.partings[pieces], **WALL)
    built = mould.built[pieces]
    assert option.skin_cm3 == pytest.approx(built.skin_cm3, rel=0.02)
    assert option.fill_cm3 == pytest.approx(built.fill_cm3, rel=0.1, abs=1.5)
    if pieces == 1:  # flanges along the plane are not counted
        assert option.shell_cm3 == pytest.approx(built.pieces[0].volume_cm3, rel=0.02)


def option(pieces: int, fill: float, deepest: float) -> Option:
    return Option(pieces, fill, 300.0 + fill, 500.0, deepest)


def test_few_pieces_are_taken_unless_more_are_worth_it():
    assert recommend([option(1, 5.0, 4.0), option(2, 1.0, 2.0)])[0].pieces == 1
    assert recommend([option(1, 100.0, 20.0), option(2, 1.0, 2.0)])[0].pieces == 2
    chosen, why = recommend([option(1, 30.0, 40.0), option(2, 1.0, 2.0)])
    assert chosen.pieces == 2 and "deep" in why
    assert recommend([option(1, 0.0, 0.0)])[0].pieces == 1


# --- stretch ---------------------------------------------------------------------------------


@pytest.mark.parametrize("opening, exact", [(40.0, 1.0), (32.0, 40 / 32), (24.0, 40 / 24)])
def test_the_stretch_over_a_ball_is_its_radius_over_its_opening(opening, exact):
    """lambda = R / r, for a ball of radius R that stands on a circle of radius r. Sections are
    taken at 60 heights, the lowest a thousandth of the height above the board."""
    import manifold3d

    under = np.sqrt(40.0**2 - opening**2)
    ball = manifold3d.Manifold.sphere(40.0, 160).translate((0, 0, under))
    body = mesh_of(ball.trim_by_plane((0, 0, 1), 0.0))
    assert stripping_stretch(body).ratio == pytest.approx(exact, rel=0.01)


def test_a_cone_slides_off_and_a_flared_one_does_not():
    cone = stripping_stretch(shapes.cone(30, 50))
    assert cone.ratio == 1.0 and "slides off" in cone.sentence
    import manifold3d

    flared = manifold3d.Manifold.cylinder(50.0, 20.0, 30.0, circular_segments=64)
    found = stripping_stretch(mesh_of(flared))
    assert found.ratio == pytest.approx(1.5, rel=0.01)
    assert found.loop_z_mm < 1.0 and found.passes_z_mm > 49.0
    assert "Plan a slit" in found.sentence


def test_a_loop_bridges_a_hollow():
    """A star's band runs over its points: lengths are of hulls, so a star that turns into its
    own hull above does not stretch the skin."""
    import manifold3d

    angle = np.arange(10) / 10 * 2 * np.pi
    radius = np.where(np.arange(10) % 2, 15.0, 30.0)
    star = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    section = manifold3d.CrossSection([star])
    made = section.extrude(20) + section.hull().extrude(20).translate((0, 0, 20))
    assert stripping_stretch(mesh_of(made)).ratio == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    "ratio, words",
    [(1.0, "slides off"), (1.3, "again and again"), (1.6, "Plan a slit"), (2.2, "will tear")],
)
def test_the_stretch_is_told_in_words(ratio, words):
    assert words in Stretch(ratio, 1 + REPEATED, 3.0, 50.0).sentence
    assert 1 + REPEATED < 1.6 < 1 + ONCE < 2.2
