"""What the maker's brush changes of the show surface, and what it leaves alone."""

from __future__ import annotations

import re
from functools import lru_cache

import manifold3d
import numpy as np
import pytest
import yaml
from scipy.spatial import cKDTree

import menagerie
import shapes
from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mesh.unit import choose_unit
from firstpull.core.mould.body import ShowBuried
from firstpull.core.mould.place import LOWEST_MM, Standing, repainted, stand_on_board
from firstpull.core.mould.show import ShowUnclear, find_show
from firstpull.core.mould.show_paint import (
    Canvas,
    PaintOffSurface,
    ShowDab,
    ShowInPieces,
    dabs_in,
    painted,
    show_with_paint,
)
from firstpull.core.mould.up import find_up
from firstpull.core.sheet import JobSheet
from firstpull.core.sheet_check import BadSheet
from firstpull.files.write_stl import write_stl
from firstpull.services.plan_geometry import shape_mould
from firstpull.services.plan_job import plan_job
from firstpull.services.plan_types import PlanRequest
from firstpull.services.read_sheet import sheet_from_text
from firstpull.services.stages import Stages
from firstpull.store.memory import MemoryStore

BRUSH_MM = 4.0
PLATE = menagerie.divided(menagerie.box(size_mm=(60, 50, 3), at=(-30, -25, 0)), 5)


@lru_cache(maxsize=2)
def mask(seed: int = 1) -> tuple[Standing, np.ndarray]:
    """A half-mask on the board, and which side each face is by build."""
    shell = shapes.implicit_shell("half-mask", seed, 20_000)
    x, y, z = (float(c) for c in shell.up)
    return stand_on_board(
        shell.mesh, find_up(shell.mesh, given=(x, y, z)), below_rim_mm=13.0
    ), shell.labels


@lru_cache(maxsize=1)
def canvas() -> Canvas:
    return Canvas.of(mask()[0].master)


def strip(standing: Standing, loop: int, *, wide_mm: float = 6.0) -> list[ShowDab]:
    """Dabs side by side on what is hidden along a border."""
    mesh, show = standing.master, standing.show
    hidden = np.flatnonzero(~show.faces)
    border = cKDTree(mesh.vertices_mm[show.loops[loop]])
    centres = mesh.face_centres_mm[hidden]
    centres = centres[border.query(centres)[0] < wide_mm]
    kept: list[np.ndarray] = []
    for centre in centres:
        if all(np.linalg.norm(centre - other) > 0.6 * BRUSH_MM for other in kept):
            kept.append(centre)
    return [ShowDab(tuple(c.tolist()), BRUSH_MM, True) for c in kept]


def turned_over(dabs: list[ShowDab]) -> list[ShowDab]:
    return [ShowDab(dab.place_mm, dab.radius_mm, not dab.copied) for dab in dabs]


def outer_place(standing: Standing) -> tuple[float, float, float]:
    """The flattest place of the show surface that is 18 mm from every border."""
    mesh, show = standing.master, standing.show
    shown = mesh.face_centres_mm[show.faces]
    normals = mesh.face_normals[show.faces]
    border = cKDTree(mesh.vertices_mm[np.concatenate(show.loops)])
    free = np.flatnonzero(border.query(shown)[0] > 18.0)[::25]
    near = cKDTree(shown).query_ball_point(shown[free], 15.0)
    flat = [np.linalg.norm(normals[faces].mean(axis=0)) for faces in near]
    x, y, z = shown[free[int(np.argmax(flat))]].tolist()
    return x, y, z


def inner_place(standing: Standing, labels: np.ndarray) -> tuple[float, float, float]:
    """The middle of the inside face that is farthest from every border."""
    mesh = standing.master
    border = cKDTree(mesh.vertices_mm[np.concatenate(standing.show.loops)])
    inner = mesh.face_centres_mm[labels == shapes.INSIDE]
    x, y, z = inner[np.argmax(border.query(inner)[0])].tolist()
    return x, y, z


@pytest.mark.parametrize("radius_mm", [2.0, 8.0, 40.0])
def test_a_dab_on_a_plate_takes_the_faces_within_its_radius_on_that_side(radius_mm):
    """By brute force: centres within the radius, on the top alone, though 40 mm reach around
    the edge and through the 3 mm."""
    at = np.array([4.0, -3.0, 3.0])
    (last,) = (Canvas.of(PLATE).under([ShowDab((4.0, -3.0, 3.0), radius_mm, True)]),)
    top = PLATE.face_normals[:, 2] > 0.99
    near = np.linalg.norm(PLATE.face_centres_mm - at, axis=1) <= radius_mm
    np.testing.assert_array_equal(last == 0, top & near)


def test_a_dab_smaller_than_a_face_takes_the_face_under_it():
    block = menagerie.box(size_mm=(60, 50, 40))
    last = Canvas.of(block).under([ShowDab((31.0, 20.0, 40.0), 0.5, True)])
    (face,) = np.flatnonzero(last == 0)
    assert block.face_normals[face, 2] == 1.0


def test_a_dab_on_the_outside_does_not_bleed_through_the_wall():
    standing, labels = mask()
    place = outer_place(standing)
    under = canvas().under([ShowDab(place, 15.0, False)]) == 0
    assert not under[labels == shapes.INSIDE].any()
    area = standing.master.face_areas_mm2[under].sum()
    # a ball cuts about a disc from a surface; a mask bends out of it
    assert area == pytest.approx(np.pi * 15.0**2, rel=0.15)


def test_of_two_dabs_over_a_face_the_later_wins():
    here, beside = ShowDab((0, 0, 3), 8.0, True), ShowDab((6, 0, 3), 8.0, False)
    both = Canvas.of(PLATE).under([here, beside])
    back = Canvas.of(PLATE).under([beside, here])
    shared = (both >= 0) & (Canvas.of(PLATE).under([here]) >= 0)
    shared &= Canvas.of(PLATE).under([beside]) >= 0
    assert shared.sum() > 20
    assert (both[shared] == 1).all() and (back[shared] == 1).all()
    np.testing.assert_array_equal(both >= 0, back >= 0)


@pytest.mark.parametrize("loop", [0, 1])
def test_a_strip_behind_a_border_is_copied_and_little_else(loop):
    """All that was painted is copied; the border runs within two steps of the paint, and is no
    longer than the ragged one around the painted faces."""
    standing, _ = mask()
    mesh, show, pairs = standing.master, standing.show, canvas().pairs
    dabs = strip(standing, loop)
    made = painted(mesh, show, dabs)
    under = canvas().under(dabs) >= 0
    wanted = show.faces | under
    assert made.faces[under].all()
    areas = mesh.face_areas_mm2
    grown, asked = areas[made.faces & ~show.faces].sum(), areas[wanted & ~show.faces].sum()
    assert asked > 300.0
    edge = float(np.median(pairs.length_mm))
    was, ragged, now = (f[pairs.a] != f[pairs.b] for f in (show.faces, wanted, made.faces))
    border, teeth = (pairs.length_mm[line & ~was].sum() for line in (now, ragged))
    assert border < 0.92 * teeth
    assert 0.0 <= grown - asked <= 2 * edge * border
    assert made.area_mm2 == pytest.approx(show.area_mm2 + grown)
    assert len(made.loops) == len(show.loops)
    np.testing.assert_array_equal(made.unpainted, show.faces)


def test_paint_taken_out_or_saying_what_holds_leaves_the_show_surface_as_found():
    standing, _ = mask()
    mesh, show = standing.master, standing.show
    idle = [ShowDab(outer_place(standing), 12.0, True)]
    assert painted(mesh, show, idle) is show
    made = painted(mesh, show, strip(standing, 1))
    again = painted(mesh, made, [])
    np.testing.assert_array_equal(again.faces, show.faces)
    assert again.unpainted is None and again.area_mm2 == pytest.approx(show.area_mm2)
    for one, other in zip(again.loops, show.loops, strict=True):
        assert set(one.tolist()) == set(other.tolist())


def test_paint_painted_away_again_leaves_the_show_surface_as_found():
    """On the inside, where nothing that was found to be copied lies under the brush."""
    standing, _ = mask()
    mesh, show = standing.master, standing.show
    dabs = strip(standing, 1)
    copied = canvas().under(dabs) >= 0
    apart = [d for d in dabs if not (show.faces & (canvas().under([d]) >= 0)).any()]
    assert (copied & ~show.faces).any() and len(apart) > 5
    back = show_with_paint(show, [*apart, *turned_over(apart)], canvas=canvas())
    np.testing.assert_array_equal(back, show.faces)
    # where the brush went over the border, what it left is no longer copied, and nothing else
    over = show_with_paint(show, [*dabs, *turned_over(dabs)], canvas=canvas())
    changed = over != show.faces
    assert not over[copied].any() and not changed[~show.faces].any()
    assert mesh.face_areas_mm2[changed].sum() < 0.1 * mesh.face_areas_mm2[copied].sum()


def test_a_place_painted_as_left_becomes_an_opening_of_the_show_surface():
    standing, _ = mask()
    dab = ShowDab(outer_place(standing), 9.0, False)
    made = repainted(standing, [dab], below_rim_mm=13.0)
    assert len(made.show.loops) == len(standing.show.loops) + 1
    copied_cm2, left_cm2 = made.painted_cm2
    under = canvas().under([dab]) == 0
    assert copied_cm2 == 0.0
    painted_cm2 = standing.master.face_areas_mm2[under].sum() / 100
    assert left_cm2 == pytest.approx(painted_cm2, rel=0.25) and left_cm2 >= painted_cm2 - 1e-9
    np.testing.assert_array_equal(made.frame, standing.frame)
    assert standing.painted_cm2 == (0.0, 0.0)


def test_a_rim_that_paint_moves_stands_over_the_board_anew():
    standing, _ = mask()
    made = repainted(standing, strip(standing, 0, wide_mm=8.0), below_rim_mm=13.0)
    rim = made.master.vertices_mm[made.show.loops[0]]
    over_mm = rim[:, 2].min() - 13.0, made.master.bounds_mm[0, 2] - LOWEST_MM
    assert min(over_mm) == pytest.approx(0.0, abs=1e-9)
    assert not np.allclose(made.frame, standing.frame, atol=0.1)
    back = made.master.moved(np.linalg.inv(made.frame))
    np.testing.assert_allclose(
        back.vertices_mm,
        standing.master.moved(np.linalg.inv(standing.frame)).vertices_mm,
        atol=1e-9,
    )


def test_dabs_come_into_the_moulds_frame_with_their_radius_as_printed():
    """A sheet in inches, y up, printed at half size: worked out by hand."""
    sheet = JobSheet.model_validate(
        {"master": {"paint": [{"at": [1, 2, 3], "radius_mm": 7, "copied": False}]}}
    )
    s = 25.4 * 0.5
    matrix = [[s, 0, 0, 5], [0, 0, -s, 0], [0, s, 0, 13], [0, 0, 0, 1]]
    assert sheet.master.paint is not None
    (dab,) = dabs_in(sheet.master.paint, matrix)
    np.testing.assert_allclose(dab.place_mm, (s + 5, -3 * s, 2 * s + 13))
    assert (dab.radius_mm, dab.copied) == (7.0, False)


def test_a_dab_in_the_air_is_refused_with_its_number_and_gap():
    near = ShowDab((0.0, 0.0, 8.0), 5.1, True)
    with pytest.raises(PaintOffSurface) as refusal:
        Canvas.of(PLATE).under([near, ShowDab((0.0, 0.0, 8.0), 4.9, True)])
    assert str(refusal.value) == (
        "master.paint, number 2, touches no surface: the nearest is 5 mm from its middle; it "
        "reaches 4.9 mm. Put its middle on the surface, or take it out."
    )


def test_a_copied_dab_alone_on_the_inside_is_refused_with_its_place():
    standing, labels = mask()
    x, y, z = inner_place(standing, labels)
    first = ShowDab(outer_place(standing), 5.0, True)
    with pytest.raises(ShowInPieces) as refusal:
        show_with_paint(standing.show, [first, ShowDab((x, y, z), 6.0, True)], canvas=canvas())
    assert refusal.value.dab == 1 and "master.paint, number 2," in str(refusal.value)
    assert np.linalg.norm(np.array(refusal.value.place_mm) - (x, y, z)) < 6.0
    # the dab and what straightening adds at its edge
    assert refusal.value.area_mm2 == pytest.approx(np.pi * 36, rel=0.3)


def test_a_ring_of_left_that_cuts_the_show_surface_is_refused_with_the_piece():
    """A cylinder whose side is left half-way up: its top is a piece of its own."""
    post = menagerie.divided(shapes.cylinder(20, 50, 32), 3)
    show = find_show(post)
    turn = np.linspace(0, 2 * np.pi, 25)[:-1]
    ring = [ShowDab((20 * np.cos(a), 20 * np.sin(a), 25.0), 6.0, False) for a in turn]
    with pytest.raises(ShowInPieces, match=r"^master.paint cuts .* cm2 off") as refusal:
        painted(post, show, ring)
    assert refusal.value.dab is None
    whole = [*ring, ShowDab((0.0, 0.0, 50.0), 30.0, False)]
    sides = [ShowDab((20 * np.cos(a), 20 * np.sin(a), 40.0), 12.0, False) for a in turn]
    made = painted(post, show, [*whole, *sides])
    assert len(made.loops) == 2 and made.area_mm2 < 0.5 * show.area_mm2


@pytest.mark.parametrize(("copied", "words"), [(True, "nothing uncopied"), (False, "everything")])
def test_paint_that_leaves_no_border_is_refused(copied, words):
    block = menagerie.divided(menagerie.box(size_mm=(40, 40, 40)), 3)
    sides = [(20, 20, 0), (20, 20, 40), (0, 20, 20), (40, 20, 20), (20, 0, 20), (20, 40, 20)]
    dabs = [ShowDab((float(x), float(y), float(z)), 60.0, copied) for x, y, z in sides]
    with pytest.raises(ShowUnclear, match=words):
        painted(block, find_show(block), dabs)


def in_sheet(dabs: list[ShowDab], to_mould: np.ndarray) -> list[dict[str, object]]:
    back = np.linalg.inv(to_mould)
    return [
        {
            "at": (back @ [*dab.place_mm, 1.0])[:3].tolist(),
            "radius_mm": dab.radius_mm,
            "copied": dab.copied,
        }
        for dab in dabs
    ]


def shaped(mesh: Mesh, paint: list[dict[str, object]], stages: Stages, **more: object):
    """The geometry of a job in one piece, its mesh in centimetres."""
    sheet = JobSheet.model_validate(
        {"master": {"unit": "cm", "paint": paint, **more}, "shell": {"pieces": 1}, "grid_mm": 2.0}
    )
    unit = choose_unit(mesh, asked="cm")
    return shape_mould(mesh, unit, sheet, stages, span=(0.0, 1.0))


@pytest.mark.long
def test_a_painted_mask_is_planned_and_proven_from_its_sheet(tmp_path):
    """The demo with a strip behind one eye's rim copied, and a place on it left; the sheet is
    in the file's axes, centimetres, printed a tenth larger."""
    mesh = heron_half_mask(triangles=50_000)
    write_stl(tmp_path / "heron.stl", mesh.moved(np.diag([0.1, 0.1, 0.1, 1.0])))
    larger = mesh.moved(np.diag([1.1, 1.1, 1.1, 1.0]))
    standing = stand_on_board(larger, find_up(larger), below_rim_mm=13.0)
    dabs = [*strip(standing, 1, wide_mm=4.0), ShowDab(outer_place(standing), 8.0, False)]
    paint = in_sheet(dabs, standing.frame @ np.diag([11.0, 11.0, 11.0, 1.0]))
    (tmp_path / "job.yaml").write_text(
        yaml.safe_dump(
            {
                "master": {"unit": "cm", "scale": 1.1, "paint": paint},
                "shell": {"pieces": 1},
                "grid_mm": 2.0,
            }
        )
    )
    request = PlanRequest(
        out_dir=tmp_path / "plan",
        mesh_path=tmp_path / "heron.stl",
        sheet_path=tmp_path / "job.yaml",
    )
    mould = plan_job(request, Stages(MemoryStore()), today="2026-11-25").plan["parts"][0]["moulds"]
    told, expected = mould[0]["show_painted_cm2"], repainted(standing, dabs, below_rim_mm=13.0)
    assert (told["copied"], told["left"]) == pytest.approx(expected.painted_cm2, rel=0.02)
    assert told["copied"] > 4.0 and told["left"] > 0.8
    assert mould[0]["show_area_cm2"] == pytest.approx(expected.show.area_mm2 / 100, rel=1e-3)
    assert [check for check in mould[0]["proof"]["checks"] if not check["passed"]] == []


def test_a_changed_dab_runs_the_painting_and_not_the_search_for_the_show_surface():
    standing, labels = mask()
    in_cm = standing.master.moved(np.diag([0.1, 0.1, 0.1, 1.0]))
    store, stages = MemoryStore(), []
    for radius_mm in (6.0, 7.0):  # refused, so that it ends there
        stages.append(Stages(store))
        alone = [ShowDab(inner_place(standing, labels), radius_mm, True)]
        paint = in_sheet(alone, np.diag([10.0, 10.0, 10.0, 1.0]))
        with pytest.raises(ShowInPieces):
            shaped(in_cm, paint, stages[-1], up=[0, 0, 1])
    assert "finding the show surface" in stages[0].ran
    assert "finding the show surface" in stages[1].found
    assert stages[1].ran == ["painting the show surface"]


def test_refusals_of_paint_are_told_in_the_files_axes():
    """A dab in the middle of the inside, in centimetres, hangs on nothing."""
    standing, labels = mask()
    mesh = standing.master
    in_cm = mesh.moved(np.diag([0.1, 0.1, 0.1, 1.0]) @ np.linalg.inv(standing.frame))
    to_found = standing.frame @ np.diag([10.0, 10.0, 10.0, 1.0])
    up = (np.linalg.inv(standing.frame)[:3, :3] @ [0.0, 0.0, 1.0]).tolist()
    place = inner_place(standing, labels)
    alone = ShowDab(place, 6.0, True)
    with pytest.raises(ShowInPieces, match="mesh file's axes") as refusal:
        shaped(in_cm, in_sheet([alone], to_found), Stages(MemoryStore()), up=up)
    away = np.array(refusal.value.place_mm) - (np.linalg.inv(to_found) @ [*place, 1.0])[:3]
    assert np.linalg.norm(away) < 0.6  # centimetres


def test_paint_that_clay_would_stand_on_is_refused_with_its_place_and_the_paint():
    """A cup of 30 mm stands mouth down, its inside copied for 12 mm from the mouth: from there
    the clay wall leans 4 degrees outward, into the upright side."""
    cup = manifold3d.Manifold.cylinder(40, 30, circular_segments=128)
    cup -= manifold3d.Manifold.cylinder(36, 26, circular_segments=128)
    mesh = mesh_of(cup.refine_to_length(2.0).scale((0.1, 0.1, 0.1)))
    turn = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    dabs = [
        ShowDab((*(r / 10 * xy).tolist(), z / 10), 4.0, True)
        for r, z in ((28.0, 0.0), (26.0, 2.0), (26.0, 6.0), (26.0, 9.0))
        for xy in ring
    ]
    with pytest.raises(ShowBuried, match=r"Where master\.paint changed that place") as refusal:
        shaped(mesh, in_sheet(dabs, np.eye(4)), Stages(MemoryStore()), up=[0, 0, 1])
    x, y, z = (float(c) for c in re.findall(r"near \((.*?)\)", str(refusal.value))[0].split(","))
    assert np.hypot(x, y) == pytest.approx(2.6, abs=0.1) and 0.0 < z < 1.3


@pytest.mark.parametrize(
    ("paint", "words"),
    [
        ("[{at: [0, 0, 1], radius_mm: 3}]", "number 1, copied is missing; it may be yes or no"),
        ("[{at: [0, 1], copied: yes}]", "number 1, at is [0, 1]; it may be three numbers"),
        ("[{at: [0, 0, 1], copied: yes, radius_mm: 0.4}]", "is 0.4 mm; it may be 0.5 to 200 mm"),
        ("[" + "{at: [0, 0, 1], copied: no}, " * 401 + "]", "holds 401; it may be up to 400 dabs"),
    ],
)
def test_bad_paint_in_a_sheet_is_refused_with_its_place_in_the_list(paint, words):
    with pytest.raises(BadSheet) as refusal:
        sheet_from_text(f"master:\n  paint: {paint}\n", name="heron.yaml")
    assert words in str(refusal.value) and '"heron.yaml": master.paint' in str(refusal.value)
