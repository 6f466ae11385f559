"""What a run tells of itself from its folder alone: its look, its maps, walls being tried."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firstpull.core.job.refusals import NoSuchThing
from firstpull.core.mould.drawn_line import BadLine
from firstpull.core.mould.preview import preview, preview_shadows
from firstpull.core.mould.show import Show
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.steered import NoParting
from firstpull.core.mould.steering import BadSteering
from firstpull.core.mould.surface_maps import BadPull, fill_for_pull, silicone_under
from firstpull.core.mould.zone import PartingWall
from firstpull.files.mesh_box import read_box
from firstpull.services.choice import wall_as_json
from firstpull.services.jobs import look_answers
from firstpull.services.jobs.look import NoDirection, NotYet, box_path, look_of, map_path, rounded
from firstpull.services.jobs.look_answers import RunShown, answer
from firstpull.services.jobs.look_write import View
from mould_cases import DRAFT_DEG
from run_cases import FRAME, kept_run
from test_mould_adjust import winding_ridge

FLAT = {"through": [12.0, 0.0, 20.0], "facing": [2.0, 0.0, 0.0]}


@pytest.fixture(scope="module")
def ridge(tmp_path_factory: pytest.TempPathFactory) -> tuple[RunShown, SkinShape]:
    run_dir = tmp_path_factory.mktemp("run")
    return RunShown(run_dir), kept_run(run_dir, winding_ridge())


def test_the_look_lists_what_there_is_and_how_it_lies(ridge) -> None:
    run, _ = ridge
    look = look_of(run.run_dir)
    assert look["stage"] == "planned" and look["file_axes"] is False
    assert look["to_mould"] == FRAME.ravel().tolist() and look["unit"] == "mm"
    roles = {entry["name"]: entry["role"] for entry in look["meshes"]}
    assert roles == {
        "arrived": "arrived", "master": "master", "body": "body", "skin": "skin",
        "shell-1": "shell",
    }  # fmt: skip
    for entry in look["meshes"]:
        path = box_path(run.run_dir, entry["name"])
        arrays, meta = read_box(path)
        assert path.stat().st_size == entry["bytes"] and meta["title"] == entry["title"]
        assert len(arrays["indices"]) == entry["triangles"]
        assert np.allclose(meta["low"], arrays["positions"].min(axis=0), atol=1e-3)
    assert [e["frame"] for e in look["meshes"]] == ["file"] + 4 * ["mould"]
    maps = {e["name"]: [m["name"] for m in e["maps"]] for e in look["meshes"]}
    assert maps["master"] == ["thickness", "show", "visibility"]
    assert maps["skin"] == ["skin_mm", "fill_mm"] and maps["body"] == []


def test_the_arrived_mesh_lies_on_the_master_once_it_is_moved(ridge) -> None:
    run, _ = ridge
    moved = run.mesh("arrived").moved(np.reshape(look_of(run.run_dir)["to_mould"], (4, 4)))
    assert np.allclose(moved.vertices_mm, run.mesh("master").vertices_mm, atol=1e-4)


def test_no_half_written_file_is_left(ridge) -> None:
    assert not [p for p in ridge[0].run_dir.rglob("*") if p.name.endswith(".part")]


def test_before_the_mesh_is_read_there_is_nothing_to_look_at(tmp_path: Path) -> None:
    with pytest.raises(NotYet):
        look_of(tmp_path)


@pytest.mark.parametrize("name", ["shell-2", "../plan/plan", "look"])
def test_a_mesh_that_is_not_there_is_refused(ridge, name) -> None:
    with pytest.raises(NoSuchThing, match="arrived, master"):
        box_path(ridge[0].run_dir, name)


@pytest.mark.parametrize(("mesh", "name"), [("body", "thickness"), ("master", "fill_mm")])
def test_a_map_that_does_not_lie_on_the_mesh_is_refused(ridge, mesh, name) -> None:
    with pytest.raises(NoSuchThing):
        map_path(ridge[0].run_dir, mesh, name)


def test_the_fill_map_needs_a_direction_off_the_board(ridge) -> None:
    run, _ = ridge
    with pytest.raises(NoDirection):
        answer(run, "map", mesh="skin", name="fill_mm")
    with pytest.raises(BadPull):
        answer(run, "map", mesh="skin", name="fill_mm", direction=(0.0, 1.0, 0.0))


@pytest.mark.parametrize(
    ("mesh", "name", "unit"),
    [("master", "thickness", "mm"), ("master", "show", ""), ("master", "visibility", ""),
     ("skin", "skin_mm", "mm")],
)  # fmt: skip
def test_a_map_has_a_number_for_each_vertex_and_is_kept(ridge, mesh, name, unit) -> None:
    run, _ = ridge
    path = Path(answer(run, "map", mesh=mesh, name=name))
    arrays, meta = read_box(path)
    assert arrays["values"].shape == (len(run.mesh(mesh).vertices_mm),)
    assert arrays["values"].dtype == np.float32
    assert meta["unit"] == unit and meta["low"] < meta["high"]
    if not unit:
        assert (meta["low"], meta["high"]) == (0.0, 1.0)
    before = path.stat().st_mtime_ns
    assert answer(run, "map", mesh=mesh, name=name) == str(path)
    assert path.stat().st_mtime_ns == before


def test_the_map_is_what_core_makes_of_the_same_surface(ridge) -> None:
    run, shape = ridge
    skin = run.mesh("skin")
    values = read_box(answer(run, "map", mesh="skin", name="skin_mm"))[0]["values"]
    assert np.array_equal(values, silicone_under(skin, run.mesh("body")), equal_nan=True)
    pull = (0.5, 0.0, 0.5)
    values = read_box(answer(run, "map", mesh="skin", name="fill_mm", direction=pull))[0]["values"]
    expected = fill_for_pull(skin, shape, rounded(pull), draft_deg=DRAFT_DEG)
    assert np.array_equal(values, expected, equal_nan=True)  # a grid of 2 mm is kept as it is
    assert np.nanmax(values) > 20


def test_the_oldest_fill_maps_go(ridge, monkeypatch) -> None:
    run, _ = ridge
    monkeypatch.setattr(look_answers, "FILL_MAPS_KEPT", 2)
    paths = [
        Path(answer(run, "map", mesh="skin", name="fill_mm", direction=(x, 0.0, 1.0)))
        for x in (0.1, 0.2, 0.3)
    ]
    assert len(set(paths)) == 3 and [path.exists() for path in paths] == [False, True, True]


@pytest.mark.long
def test_the_preview_is_cores_preview(ridge) -> None:
    run, shape = ridge
    told = answer(run, "preview", walls=[FLAT])
    shadows = preview_shadows(shape, draft_deg=DRAFT_DEG)
    expected = preview(shadows, [PartingWall((1.0, 0.0, 0.0), 12.0)], draft_deg=DRAFT_DEG)
    assert expected is not None and expected.locks
    assert {key: told[key] for key in expected.as_json()} == expected.as_json()
    assert told["walls"] == [{"through": [12.0, 0.0, 0.0], "facing": [1.0, 0.0, 0.0]}]
    assert told["pieces"] == 2 and told["stretches"] == []


def test_without_walls_it_is_one_piece(ridge) -> None:
    assert answer(ridge[0], "preview", walls=[])["pieces"] == 1


def test_a_line_drawn_on_the_body_becomes_a_wall(ridge) -> None:
    run, _ = ridge
    y = np.linspace(-80.0, 80.0, 33)
    x = 26 * np.sin(np.clip(y, -70, 70) / 70 * np.pi)
    top = np.where(np.abs(y) <= 70, 64.0, 46 + np.sqrt(np.maximum(18**2 - (abs(y) - 70) ** 2, 0)))
    line = [[float(c) for c in point] for point in np.column_stack([x, y, top])]
    down = [[0.0, -88.0, 46.0], *line, [0.0, 88.0, 46.0]]
    told = answer(run, "preview", walls=[{"line": down}])
    assert told["pieces"] == 2 and "bend" in told["walls"][0]
    assert told["fill_cm3"] < 0.6 * answer(run, "preview", walls=[FLAT])["fill_cm3"]
    again = answer(run, "preview", walls=told["walls"])
    assert again["fill_cm3"] == pytest.approx(told["fill_cm3"], abs=0.02)


def test_a_line_that_is_none_is_refused_by_its_number(ridge) -> None:
    with pytest.raises(BadLine, match="drawn line of wall 2"):
        answer(ridge[0], "preview", walls=[FLAT, {"line": [[0, 0, 64], [1, 0, 64], [2, 0, 64]]}])


def test_given_pulls_that_run_into_the_wall_are_shown_as_stretches(ridge) -> None:
    run, _ = ridge
    free = answer(run, "preview", walls=[FLAT])
    into = [[-0.5, 0.0, 0.8], [-0.5, 0.0, 0.8]]
    told = answer(run, "preview", walls=[FLAT], pulls=into)
    assert [stretch["piece"] for stretch in told["stretches"]] == [1]
    stretch = told["stretches"][0]
    assert stretch["lean_deg"] == pytest.approx(-np.degrees(np.arctan2(0.5, 0.8)), abs=0.1)
    assert stretch["pull"] == told["pulls"][0] and len(stretch["points_mm"]) > 2
    assert told["fill_cm3"] > free["fill_cm3"]
    assert sum(lock["volume_cm3"] for lock in told["locks"]) <= told["fill_cm3"] + 0.05


def test_the_cheapest_pulls_given_back_cost_the_same(ridge) -> None:
    run, _ = ridge
    free = answer(run, "preview", walls=[FLAT])
    told = answer(run, "preview", walls=[FLAT], pulls=free["pulls"])
    assert told["fill_cm3"] == pytest.approx(free["fill_cm3"], rel=0.02)
    assert told["stretches"] == []
    assert {(k["piece"], *k["place_mm"]) for k in told["locks"]} == {
        (k["piece"], *k["place_mm"]) for k in free["locks"]
    }


def test_walls_that_no_piece_can_leave_are_refused(ridge) -> None:
    wedge = PartingWall((1.0, 0.0, 0.0), 0.0, ((-30.0, 0.0), (0.0, 60.0), (30.0, 0.0)))
    run = RunShown(ridge[0].run_dir)
    run.draft_deg = 40.0
    with pytest.raises(NoParting, match="This wall parts the shell so that a piece has no way off"):
        answer(run, "preview", walls=[wall_as_json(wedge)])


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"walls": [{}]}, "no point or no direction"),
        ({"walls": [{"through": [0, 0, 0], "facing": [0, 0, 0]}]}, "no direction"),
        ({"walls": [{"through": [0, 0, 0], "facing": [0.1, 0, 1]}]}, "from upright"),
        ({"walls": [{**FLAT, "bend": [[1, 0, 0], [1, 9, 0], [1, 3, 0], [1, 12, 0]]}]}, "point 3"),
    ],
)
def test_what_is_no_wall_is_refused(ridge, asked, words) -> None:
    with pytest.raises(BadSteering, match=words):
        answer(ridge[0], "preview", **asked)


def test_pulls_that_do_not_fit_the_pieces_are_refused(ridge) -> None:
    with pytest.raises(NoParting, match="are 1 for a shell in 2 pieces"):
        answer(ridge[0], "preview", walls=[FLAT], pulls=[[0, 0, 1]])
    with pytest.raises(BadPull):
        answer(ridge[0], "preview", walls=[FLAT], pulls=[[0, 0, 1], [0, 1, 0]])


def test_what_was_copied_without_paint_is_kept_beside_what_is_copied(tmp_path: Path) -> None:
    """Painted, both are there; a run of before, or without paint, keeps the one."""
    run_dir = tmp_path / "run"
    kept_run(run_dir, winding_ridge())
    run = RunShown(run_dir)
    natural, master = run.show, run.mesh("master")
    faces = natural & (master.face_centres_mm[:, 0] > 10)
    show = Show(faces, (), 0.0, np.zeros(len(faces)), False, unpainted=natural)
    View(run_dir).keep_show(show)
    kept = RunShown(run_dir)
    assert np.array_equal(kept.show, faces) and np.array_equal(kept.unpainted, natural)
    assert np.array_equal(run.unpainted, natural)
