"""The commands: what they pass on, what they print, how they end."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
import trimesh
from typer.testing import CliRunner

from firstpull import wiring
from firstpull.cli.app import app
from firstpull.cli.bar import progress_bar
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.progress import quiet
from firstpull.files.write_stl import write_stl
from firstpull.services.plan_types import DEMO_TRIANGLES, Overrides, PlanRequest
from firstpull.services.run_plan import summary_of
from firstpull.services.worker import WorkerBug
from sample_plan import sample_plan

FILES = {"plan.json": 9, "packet.pdf": 9, "mask/front.png": 9, "mask/master.stl": 9}


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list:
    """Stands in for the planner; gathers what it was asked for."""
    requests: list[PlanRequest] = []

    def plan(request: PlanRequest, *, progress) -> dict:
        requests.append(request)
        progress("skin", 0.5)
        return summary_of(sample_plan(), out=str(request.out_dir), files=FILES)

    monkeypatch.setattr(wiring, "run_plan", plan)
    return requests


def planner_raises(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def plan(request: PlanRequest, *, progress) -> dict:
        raise error

    monkeypatch.setattr(wiring, "run_plan", plan)


def run(line: str):
    return CliRunner().invoke(app, line.split(), env={"COLUMNS": "100"})


def test_plan_passes_everything_on(asked: list) -> None:
    answer = run(
        "plan mask.stl --out here --sheet job.yaml --up -1,0,0.5 --wall 3 --unit in "
        "--scale 1.02 --shell-pieces 2 --paper letter"
    )
    assert answer.exit_code == 0, answer.output
    assert asked == [
        PlanRequest(
            Path("here"),
            Path("mask.stl"),
            Path("job.yaml"),
            overrides=Overrides("in", 1.02, (-1.0, 0.0, 0.5), 3.0, 2, "letter"),
        )
    ]


def test_plan_assumes_nothing_by_itself(asked: list) -> None:
    assert run("plan mask.stl --out here").exit_code == 0
    assert asked == [PlanRequest(Path("here"), Path("mask.stl"))]


def test_demo_plans_the_demo(asked: list) -> None:
    assert run("demo").exit_code == 0
    assert run("demo --out x --triangles 60000").exit_code == 0
    assert [r.is_demo for r in asked] == [True, True]
    assert [r.demo_triangles for r in asked] == [DEMO_TRIANGLES, 60000]


def test_the_table_says_what_was_made_and_where(asked: list) -> None:
    text = run("demo --out here").stdout
    rows = [" ".join(line.split()) for line in text.splitlines()]
    for row in [
        "size as cast, mm 155 x 182 x 66",
        "weight of the pull, g 203 (176 to 233)",
        "castings to make 9",
        "silicone, g 482",
        "of which fill, cm3 22",
        "shell pieces 2",
        "shell, g 400",
    ]:
        assert row in rows
    assert "Worst warning, mask: Fill under the beak is 21.5" in text
    assert "Assumed: 7 values" in text
    assert "Written to here: plan.json, packet.pdf, mask/master.stl and 1 picture." in text


def test_json_is_one_object_and_nothing_else(asked: list) -> None:
    answer = run("demo --json")
    assert json.loads(answer.stdout)["parts"][0]["shell_pieces"] == 2
    assert answer.stderr == ""


def test_a_refusal_is_one_sentence_and_exit_1(monkeypatch: pytest.MonkeyPatch) -> None:
    planner_raises(monkeypatch, WorkshopError(where="Wall", found="is 0 mm", remedy="Give more."))
    answer = run("plan mask.stl --out here")
    assert (answer.exit_code, answer.stdout, answer.stderr) == (
        1,
        "",
        "Wall is 0 mm. Give more.\n",
    )
    answer = run("plan mask.stl --out here --json")
    assert answer.exit_code == 1
    assert json.loads(answer.stdout)["refused"]["where"] == "Wall"


def test_ctrl_c_is_one_sentence_and_exit_130(monkeypatch: pytest.MonkeyPatch) -> None:
    planner_raises(monkeypatch, KeyboardInterrupt())
    answer = run("demo")
    assert (answer.exit_code, answer.stderr) == (130, "Stopped; nothing was written.\n")


@pytest.mark.parametrize(
    ("fault", "words"),
    [(KeyError("flange"), "KeyError: 'flange'"), (WorkerBug("KeyError: 'rim'", "Tr"), "'rim'")],
)
def test_a_fault_is_owned_in_one_sentence(monkeypatch, fault, words) -> None:
    monkeypatch.delenv(wiring.DEBUG, raising=False)
    planner_raises(monkeypatch, fault)
    answer = run("demo")
    assert answer.exit_code == 70
    assert words in answer.stderr and "FIRSTPULL_DEBUG=1" in answer.stderr
    assert "Traceback" not in answer.stderr and answer.stderr.count("\n") == 1


def test_debug_shows_the_workers_own_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(wiring.DEBUG, "1")
    planner_raises(monkeypatch, WorkerBug("KeyError", "Traceback: in the worker, line 7"))
    assert "in the worker, line 7" in run("demo").stderr
    planner_raises(monkeypatch, KeyError("flange"))
    assert "Traceback (most recent call last)" in run("demo").stderr


@pytest.mark.parametrize(
    "line",
    [
        "",
        "cast",
        "plan mask.stl",
        "plan --out here",
        "plan m.stl --out x --unit ft",
        "plan m.stl --out x --up 0,0",
        "plan m.stl --out x --up 0,0,0",
        "plan m.stl --out x --up up",
        "plan m.stl --out x --up nan,0,1",
        "plan m.stl --out x --scale 0",
        "plan m.stl --out x --scale inf",
        "plan m.stl --out x --shell-pieces 0",
        "plan m.stl --out x --paper a5",
        "check",
        "check m.stl --scale -1",
        "demo --triangles 3",
    ],
)
def test_wrong_usage_is_exit_2(asked: list, line: str) -> None:
    answer = run(line)
    assert answer.exit_code == 2
    assert asked == []


def box_file(folder: Path, *, without: int = 0) -> Path:
    box = trimesh.creation.box((170.0, 140.0, 90.0))
    path = folder / "box.stl"
    write_stl(path, Mesh(box.vertices, box.faces[without:]))
    return path


def test_check_of_a_sound_mesh(tmp_path: Path) -> None:
    answer = run(f"check {box_file(tmp_path)}")
    assert answer.exit_code == 0, answer.output
    assert "170.0 x 140.0 x 90.0 mm" in answer.stdout and "2,142.0 cm3" in answer.stdout
    assert answer.stdout.splitlines()[-1] == "Sound: nothing to mend."
    answer = run(f"check {box_file(tmp_path)} --unit cm --scale 2 --json")
    assert json.loads(answer.stdout)["measures"]["extents_mm"] == [3400.0, 2800.0, 1800.0]


def test_check_says_what_where_and_what_to_do(tmp_path: Path) -> None:
    answer = run(f"check {box_file(tmp_path, without=1)}")
    assert answer.exit_code == 0, answer.output
    for words in ["open", "stops print and mould until mended", "mm.", "A plan mends it"]:
        assert words in answer.stdout


def test_check_of_what_a_plan_would_refuse(tmp_path: Path) -> None:
    answer = run(f"check {box_file(tmp_path)} --unit m")
    assert answer.exit_code == 1
    assert "A plan would refuse it: The part is 170,000 mm at its longest" in answer.stdout
    answer = run(f"check {box_file(tmp_path)} --unit m --json")
    assert answer.exit_code == 1
    assert json.loads(answer.stdout)["mending"]["refused"]["code"] == "too_large"


def test_a_bar_is_drawn_only_for_somebody_who_looks(monkeypatch, capsys) -> None:
    with progress_bar(wanted=True) as progress:
        assert progress is quiet  # standard error is no terminal here
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with progress_bar(wanted=False) as progress:
        assert progress is quiet
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("FORCE_COLOR", "1")
    with progress_bar(wanted=True) as progress:
        progress("growing the skin", 0.5)
        progress("growing the skin", 0.4)  # a bar never runs back
    assert "growing the skin" in capsys.readouterr().err


def test_the_store_lies_where_the_surroundings_say() -> None:
    folder = wiring.store_folder
    assert folder({"FIRSTPULL_STORE": "/a", "XDG_CACHE_HOME": "/b"}) == Path("/a")
    assert folder({"XDG_CACHE_HOME": "/b"}) == Path("/b/firstpull")
    assert folder({}) == Path.home() / ".cache/firstpull"
