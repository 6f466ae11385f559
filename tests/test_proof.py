"""The release proof: good moulds pass, and each way of spoiling one is named.

The moulds come from proof_cases.py, where they follow from closed forms; nothing here uses the
mould generator.
"""

from __future__ import annotations

import json
from dataclasses import replace

import igl
import manifold3d
import numpy as np
import pytest

import proof_cases as cases
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mould.proof import CannotProve, MouldProof, prove_mould
from firstpull.core.mould.proof_distance import NearestSurface, nearest_approach
from firstpull.core.mould.proof_parts import Part, sampled
from firstpull.core.mould.proof_release import Noise, overlap_of


def proved(case: cases.MouldCase) -> MouldProof:
    return prove_mould(**case.arguments())


def failed(case: cases.MouldCase) -> set[str]:
    """Names of the checks that a case fails, each with a sentence that ends."""
    result = proved(case)
    for check in result.failures:
        assert check.sentence.endswith(".") and "nan" not in check.sentence
    assert result.passed == (not result.failures)
    return {check.name for check in result.failures}


# --- what must pass ----------------------------------------------------------------------


@pytest.mark.parametrize("name", cases.GOOD)
def test_a_mould_that_comes_off_by_construction_passes(name):
    assert failed(cases.GOOD[name]()) == set()


@pytest.mark.parametrize(
    "name",
    [
        "block",
        *(
            pytest.param(name, marks=pytest.mark.long)
            for name in ("dome_halves", "cylinder_without_draft", "mushroom")
        ),
    ],
)
def test_a_hundredth_of_a_millimetre_of_noise_is_no_fault(name):
    case = cases.GOOD[name]()
    noisy = replace(
        case,
        body=cases.jittered(case.body, size_mm=0.01, seed=1),
        skin=cases.jittered(case.skin, size_mm=0.01, seed=2),
        pieces=tuple(
            cases.jittered(p, size_mm=0.01, seed=3 + k) for k, p in enumerate(case.pieces)
        ),
    )
    assert failed(noisy) == set()


def touching() -> cases.MouldCase:
    """A shell whose faces are the rubber's own, with walls along the pull."""
    return cases.turned_case(cases.box(-30, 0, 30, 40), draft_deg=0.0, clearance_mm=0.0)


def test_a_shell_may_slide_off_on_the_rubber_itself():
    assert failed(touching()) == set()


def test_noise_without_any_clearance_is_still_below_the_depth_that_counts():
    case = touching()
    noisy = replace(
        case,
        skin=cases.jittered(case.skin, size_mm=0.01, seed=5),
        pieces=(cases.jittered(case.pieces[0], size_mm=0.01, seed=6),),
    )
    assert failed(noisy) == set()


@pytest.mark.parametrize("grid_mm", [1.5, pytest.param(2.0, marks=pytest.mark.long)])
def test_the_crumbs_of_a_coarse_grid_are_no_fault_but_a_turned_pull_is(grid_mm):
    case = cases.gridded_case(grid_mm=grid_mm)
    assert failed(case) == set()
    turned = replace(case, pulls=(cases.turned(case.pulls[0], 5.0, about=(1, 0, 0)),))
    assert "draft: piece 1" in failed(turned)
    # Taken as exact solids the same meshes do touch in the crease.
    assert "release: piece 1" in failed(replace(case, grid_mm=0.0))


def test_two_crossing_edges_overlap_by_what_lies_between_them():
    """Two square bars lie crosswise on their edges, sqrt(2) tall each side: lowered by 0.2 they
    share a tetrahedron whose corners have no depth; its edges do, 0.2 sin 45 from the faces.
    """
    bar = manifold3d.Manifold.cube((2, 2, 20), True).rotate((0, 0, 45)).rotate((0, 90, 0))
    other = bar.rotate((0, 0, 90)).translate((0, 0, 2 * np.sqrt(2) - 0.2))
    low, high = (Part(n, cases.mesh_of(b, edge_mm=50)) for n, b in (("a", bar), ("b", other)))
    found = overlap_of(low, high, shift_mm=np.zeros(3), noise=Noise(0.05))
    assert found.is_real
    assert found.depth_mm == pytest.approx(0.2 * np.sin(np.pi / 4), abs=1e-6)


def test_the_gap_found_is_the_skin_and_the_clearance():
    """Offset circles of 24 segments a quarter lie within r (1 - cos(pi / 96)) of the true one."""
    check = next(c for c in proved(cases.dome()).checks if c.name == "gap")
    sag_mm = 48.1 * (1 - np.cos(np.pi / 96))
    assert 8.1 - 2 * sag_mm <= check.found <= 8.1 + 1e-6


# --- sabotage ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["cylinder", "mushroom", "block"])
@pytest.mark.parametrize("about", [(1, 0, 0), (0.6, 0.8, 0)])
def test_a_pull_turned_by_five_degrees_fails(name, about):
    case = cases.GOOD[name]()
    turned = replace(case, pulls=(cases.turned(case.pulls[0], 5.0, about=about),))
    names = failed(turned)
    assert names and names <= {"release: piece 1", "draft: piece 1"}


@pytest.mark.parametrize("degrees, comes_off", [(5.0, True), (14.0, False), (20.0, False)])
def test_a_dome_takes_as_much_turning_as_its_foot_has_draft(degrees, comes_off):
    """The shell starts at the flange, 8.1 mm up a ball of 48.1 mm: there its own draft is
    asin(8.1 / 48.1) = 9.7 degrees, of which 3 are promised.
    """
    case = cases.dome()
    turned = replace(case, pulls=(cases.turned(case.pulls[0], degrees, about=(0, 1, 0)),))
    assert (failed(turned) == set()) == comes_off


@pytest.mark.parametrize("name", ["cylinder", "block"])
def test_a_turned_pull_runs_high_walls_into_the_silicone(name):
    case = cases.GOOD[name]()
    turned = replace(case, pulls=(cases.turned(case.pulls[0], 5.0, about=(0, 1, 0)),))
    assert "release: piece 1" in failed(turned)


def test_the_collision_of_a_cylinder_comes_when_the_clearance_is_used_up():
    """Walls along z, pull 5 degrees off: contact at travel c / sin 5, real at (c + tol) / sin 5."""
    case = cases.cylinder_without_draft()
    turned = replace(case, pulls=(cases.turned(case.pulls[0], 5.0, about=(0, 1, 0)),))
    check = next(c for c in proved(turned).checks if c.name == "release: piece 1")
    assert not check.passed
    travel = float(check.sentence.split(" after ")[1].split(" mm")[0])
    least = (0.1 + 0.05) / np.sin(np.radians(5))
    assert least * 0.99 <= travel <= least * 2.5  # steps grow by 2.5
    assert abs(check.where_mm[0]) > 35 and check.where_mm[2] < 50


def test_halves_pulled_toward_each_other_fail():
    case = cases.dome_halves()
    pulls = tuple(
        cases.turned(p, 50.0, about=(0, -s, 0)) for p, s in zip(case.pulls, (1, -1), strict=True)
    )
    assert {"release: piece 1"} <= failed(replace(case, pulls=pulls))


def test_a_skin_one_millimetre_thin_fails():
    thin = cases.turned_case(cases.dome_section(), skin_mm=7.0, promised_mm=8.0)
    assert failed(thin) == {"gap"}


def test_an_undercut_buried_in_clay_fails():
    """The space under the ball is blocked up with clay down to the board."""
    case = cases.mushroom()
    clay = cases.mushroom_section().union(cases.box(-22, 0, 22, 45))
    buried = cases.turned_case(clay)
    spoilt = replace(buried, master=case.master, show_faces=case.show_faces)
    assert failed(spoilt) == {"show bare", "show true"}


def test_a_thin_smear_of_clay_on_the_show_surface_fails():
    """0.3 mm of clay on a dome: nothing else would notice."""
    case = cases.dome()
    smeared = cases.turned_case(cases.above(cases.disc(0, 0, 40.3)))
    spoilt = replace(smeared, master=case.master, show_faces=case.show_faces)
    assert failed(spoilt) == {"show bare", "show true"}


def unfilled(*, shell_too: bool) -> cases.MouldCase:
    """The mushroom without its fill; the shell follows the bare coat or the filled form."""
    case = cases.mushroom()
    bare = cases.turned_sections(
        cases.mushroom_section(), skin_mm=8.0, clearance_mm=0.1, draft_deg=3.0, filled=False
    )
    skin = cases.mesh_of(cases.revolved(bare.coat))
    pieces = (cases.mesh_of(cases.revolved(bare.shell)),) if shell_too else case.pieces
    return replace(case, skin=skin, pieces=pieces)


def test_a_shell_that_follows_an_undercut_without_fill_collides():
    names = failed(unfilled(shell_too=True))
    assert "release: piece 1" in names and "support: piece 1" not in names


def test_rubber_without_the_fill_that_the_shell_counts_on_leaves_a_void():
    assert failed(unfilled(shell_too=False)) == {"support: piece 1"}


def test_the_wrong_order_fails():
    assert failed(wrong_order()) == {"release: piece 1"}


def test_a_piece_that_overlaps_the_later_one_fails():
    names = failed(cases.hooked(12.0, -0.5))
    assert "apart: piece 1 and piece 2" in names


def test_a_pull_into_the_board_fails():
    case = cases.dome()
    down = replace(case, pulls=((0.8, 0.0, -0.6),))
    assert {"pull: piece 1", "release: piece 1"} <= failed(down)


def test_a_pull_below_the_draft_fails_by_name():
    case = replace(cases.dome_halves(), pulls=((1.0, 0.0, 0.01), (-1.0, 0.0, 0.01)), draft_deg=1.0)
    assert {"pull: piece 1", "pull: piece 2"} <= failed(case)


@pytest.mark.parametrize("which", ["master", "body", "skin", "piece 1"])
def test_a_hole_in_a_solid_fails(which):
    case = cases.block()
    field = which.replace("piece 1", "pieces")
    whole = case.pieces[0] if field == "pieces" else getattr(case, field)
    holed = Mesh(whole.vertices_mm, whole.faces[1:])
    spoilt = replace(case, **{field: (holed,) if field == "pieces" else holed})
    if which == "master":
        spoilt = replace(spoilt, show_faces=case.show_faces[1:])
    result = proved(spoilt)
    assert {c.name for c in result.failures} == {f"solid: {which}"}
    # Three edges of the missing triangle are left with one face each.
    assert next(iter(result.failures)).found == 3


@pytest.mark.parametrize("spoil", ["inside out", "loose"])
def test_an_inside_out_or_scattered_skin_fails(spoil):
    case = cases.block()
    away = Mesh(case.skin.vertices_mm + np.array([300, 0, 0]), case.skin.faces)
    skin = case.skin.flipped() if spoil == "inside out" else joined([case.skin, away])
    assert failed(replace(case, skin=skin)) == {"solid: skin"}


def test_a_body_that_swells_into_the_skin_fails():
    case = cases.dome()
    swollen = cases.mesh_of(cases.revolved(cases.above(cases.disc(0, 0, 40.2))))
    assert "apart: body and skin" in failed(replace(case, body=swollen))


def test_a_void_between_body_and_skin_fails():
    """The skin stands off the body by 2 mm; its back is where it should be."""
    case = cases.dome()
    sections = cases.turned_sections(
        cases.dome_section(), skin_mm=8.0, clearance_mm=0.1, draft_deg=3.0
    )
    hollowed = sections.rubber.difference(cases.above(cases.disc(0, 0, 42)))
    spoilt = replace(case, skin=cases.mesh_of(cases.revolved(hollowed)))
    assert failed(spoilt) == {"show covered"}


def test_a_shell_pressed_into_the_rubber_fails():
    case = cases.dome()
    sunk = Mesh(case.pieces[0].vertices_mm - [0, 0, 0.3], case.pieces[0].faces)
    assert "apart: skin and piece 1" in failed(replace(case, pieces=(sunk,)))


def test_a_pin_between_the_steps_and_the_grid_is_caught():
    """A 0.3 mm nib of the shell in a pit of the skin, pulled sideways out of it."""
    case = cases.block()
    nib = manifold3d.Manifold.cube((0.3, 0.3, 2.0), True).translate((66.05, 56.05, 7.9))
    pit = manifold3d.Manifold.cube((0.9, 0.9, 1.4), True).translate((66.05, 56.05, 7.5))
    skin, shell = Part("skin", case.skin).manifold, Part("shell", case.pieces[0]).manifold
    flange_case = replace(
        case,
        skin=cases.mesh_of(skin - pit),
        pieces=(cases.mesh_of(shell + nib),),
        draft_deg=0.0,
    )
    assert failed(flange_case) == set()
    slant = (0.9, 0.0, float(np.sqrt(1 - 0.81)))
    assert "release: piece 1" in failed(replace(flange_case, pulls=(slant,)))


# --- the tools ------------------------------------------------------------------------------


def test_distances_agree_with_libigl():
    """Reference: libigl's AABB tree (point_mesh_squared_distance)."""
    mesh = cases.half_torus().skin
    points = np.random.default_rng(7).uniform(-90, 90, (4000, 3))
    ours = NearestSurface(mesh).distance(points)
    faces = mesh.faces.astype(np.int64)
    theirs = np.sqrt(igl.point_mesh_squared_distance(points, mesh.vertices_mm, faces)[0])
    assert np.abs(ours - theirs).max() < 1e-9
    assert nearest_approach(points, NearestSurface(mesh))[0] == pytest.approx(
        theirs.min(), abs=1e-9
    )


def test_distance_limits_only_cut_off():
    mesh = cases.block().body
    points = np.random.default_rng(8).uniform(-60, 60, (3000, 3))
    surface = NearestSurface(mesh)
    plain, cut = surface.distance(points), surface.distance(points, limit_mm=12.0)
    assert np.array_equal(np.isfinite(cut), plain <= 12.0)
    assert np.allclose(cut[plain <= 12.0], plain[plain <= 12.0])


def test_inside_agrees_with_the_exact_winding_number():
    """Reference: libigl's winding_number (generalised, summed over all faces)."""
    mesh = cases.mushroom().skin
    points = np.random.default_rng(9).uniform([-60, -60, -5], [60, 60, 85], (2000, 3))
    theirs = igl.winding_number(mesh.vertices_mm, mesh.faces.astype(np.int64), points) > 0.5
    assert np.array_equal(Part("skin", mesh).holds(points), theirs)


def test_samples_stand_for_the_whole_area_and_its_first_moment():
    mesh = cases.cone().body
    spread = sampled(mesh, spacing_mm=0.5)
    assert spread.areas_mm2.sum() == pytest.approx(mesh.area_mm2)
    moment = (spread.points_mm * spread.areas_mm2[:, None]).sum(axis=0) / mesh.area_mm2
    exact = (mesh.face_centres_mm * mesh.face_areas_mm2[:, None]).sum(axis=0) / mesh.area_mm2
    assert np.abs(moment - exact).max() < 0.05


def test_the_overlap_of_two_balls_is_a_lens_of_known_depth_and_volume():
    """Balls of radius R at distance d share pi (4 R + d)(2 R - d)^2 / 12, 2 R - d deep."""
    ball = cases.mesh_of(manifold3d.Manifold.sphere(20, 256))
    found = overlap_of(
        Part("a", ball), Part("b", ball), shift_mm=np.array([0, 0, 38.0]), noise=Noise(0.05)
    )
    sag_mm = 20 * (1 - np.cos(np.pi / 256))
    # The deepest corner need not stand on the axis: one edge of the mesh off at most.
    assert 2.0 - 2 * sag_mm - 0.05 < found.depth_mm <= 2.0 + 1e-9
    assert found.volume_mm3 == pytest.approx(np.pi * (80 + 38) * 2**2 / 12, rel=0.02)


def test_the_proof_as_data():
    data = json.loads(json.dumps(proved(cases.block()).as_json(), allow_nan=False))
    assert data["passed"] is True
    names = [c["name"] for c in data["checks"]]
    assert len(names) == len(set(names)) and "release: piece 1" in names


def test_what_does_not_fit_is_refused():
    case = cases.block()
    for wrong in (
        {"pieces": (), "pulls": np.zeros((0, 3))},
        {"pulls": ((0, 0, 1), (0, 0, 1))},
        {"pulls": ((0, 0, 0),)},
        {"show_faces": case.show_faces[1:]},
    ):
        with pytest.raises(CannotProve):
            prove_mould(**{**case.arguments(), **wrong})


def turned_cylinder() -> cases.MouldCase:
    case = cases.cylinder()
    return replace(case, pulls=(cases.turned(case.pulls[0], 5.0, about=(0, 1, 0)),))


def wrong_order() -> cases.MouldCase:
    case = cases.strapped()
    return replace(case, pieces=case.pieces[::-1], pulls=case.pulls[::-1])


@pytest.mark.parametrize("silenced", ["_by_steps", "_by_columns"])
@pytest.mark.parametrize("spoilt", [turned_cylinder, wrong_order, lambda: unfilled(shell_too=True)])
def test_steps_and_columns_each_find_a_collision_alone(monkeypatch, silenced, spoilt):
    monkeypatch.setattr(f"firstpull.core.mould.proof_release.{silenced}", lambda *_: None)
    assert "release: piece 1" in failed(spoilt())
