"""A plan is worked out in a worker and its folder is written whole, or nothing is."""

from __future__ import annotations

import json
import os
import signal
import struct
import subprocess
import sys
import textwrap
import time
import types
from pathlib import Path

import pytest

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.progress import Progress
from firstpull.files.plan_folder import BadFolder, DiscFull
from firstpull.services.plan_types import PlanRequest, PlanResult
from firstpull.services.run_plan import run_plan, summary_of
from firstpull.services.stages import Stages
from firstpull.services.worker import WorkerBug
from firstpull.store.disk import DiskStore
from sample_plan import sample_plan
from test_worker import gone

TETRAHEDRON = Mesh(
    [[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10]],
    [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
)


def tetrahedron(size: float) -> Mesh:
    return Mesh(TETRAHEDRON.vertices_mm * size, TETRAHEDRON.faces)


def small_planner(request: PlanRequest, stages: Stages, progress: Progress) -> PlanResult:
    master = stages.run("master", tetrahedron, 2.0)
    progress("mould", 0.5)
    plan = {**sample_plan(), "ran": stages.ran}
    meshes = {"mask/master.stl": master, "mask/mould/body.stl": TETRAHEDRON}
    return PlanResult(plan, meshes, {"mask/front.png": b"\x89PNG"}, b"%PDF-1.7")


def refusing_planner(request: PlanRequest, stages: Stages, progress: Progress) -> PlanResult:
    raise WorkshopError(where="Mesh", found="has no hollow", remedy="Give --up.")


def faulty_planner(request: PlanRequest, stages: Stages, progress: Progress) -> PlanResult:
    raise KeyError("flange")


@pytest.fixture(autouse=True)
def plain_stl(monkeypatch: pytest.MonkeyPatch) -> None:
    """Enough of a binary STL for counting bytes."""

    def write_stl(path: Path, mesh: Mesh) -> None:
        head = b"\0" * 80 + struct.pack("<I", len(mesh.faces))
        path.write_bytes(head + b"\0" * 50 * len(mesh.faces))

    module = types.ModuleType("firstpull.files.write_stl")
    module.write_stl = write_stl
    monkeypatch.setitem(sys.modules, "firstpull.files.write_stl", module)


def planned(home: Path, planner=small_planner, **more):
    request = PlanRequest(home / "plan", demo_triangles=2000)
    return run_plan(request, store=DiskStore(home / "store"), planner=planner, **more)


def test_the_folder_holds_the_plan_and_the_summary_names_it(tmp_path: Path) -> None:
    seen: list[tuple[str, float]] = []
    told: list[dict] = []
    summary = planned(tmp_path, progress=lambda *report: seen.append(report), on_done=told.append)
    files = ["mask/front.png", "mask/master.stl", "mask/mould/body.stl", "packet.pdf", "plan.json"]
    assert sorted(summary["files"]) == files
    out = tmp_path / "plan"
    assert all((out / f).stat().st_size == size for f, size in summary["files"].items())
    plan = json.loads((out / "plan.json").read_text())
    assert plan["schema"] == 1 and plan["files"] == files
    assert told == [summary] and summary["out"] == str(out)
    shares = [share for _, share in seen]
    assert shares == sorted(shares) and shares[-1] == 1.0
    assert {"master", "mould", "writing files"} <= {what for what, _ in seen}


def test_a_second_run_finds_its_stages_in_the_store(tmp_path: Path) -> None:
    for ran in (["master"], []):
        planned(tmp_path)
        assert json.loads((tmp_path / "plan/plan.json").read_text())["ran"] == ran


@pytest.mark.parametrize(
    ("planner", "error"), [(refusing_planner, WorkshopError), (faulty_planner, WorkerBug)]
)
def test_a_refusal_or_a_fault_leaves_the_earlier_plan(tmp_path, planner, error) -> None:
    planned(tmp_path)
    before = (tmp_path / "plan/plan.json").read_bytes()
    with pytest.raises(error):
        planned(tmp_path, planner)
    assert (tmp_path / "plan/plan.json").read_bytes() == before
    assert {p.name for p in tmp_path.iterdir()} == {"plan", "store"}


def test_a_bad_folder_is_refused_before_any_work(tmp_path: Path) -> None:
    with pytest.raises(BadFolder):
        planned(tmp_path / "missing", faulty_planner)


def test_a_disc_without_room_is_refused_with_both_figures(tmp_path, monkeypatch) -> None:
    usage = types.SimpleNamespace(free=100_000)
    monkeypatch.setattr("shutil.disk_usage", lambda path: usage)
    with pytest.raises(DiscFull, match=r"0\.1 MB free\); it needs 0\.2 MB"):
        planned(tmp_path)
    assert not (tmp_path / "plan").exists()


def test_the_summary_picks_out_what_a_maker_asks_first() -> None:
    plan = sample_plan()
    part = plan["parts"][0]
    (shown,) = summary_of(plan, out="here", files={})["parts"]
    assert shown["size_mm"] == part["sizes"]["cast"]
    assert shown["pull_mass_g"] == part["cast"]["pull_mass_g"]
    assert shown["silicone_g"] == part["moulds"][0]["skin"]["mass_g"]["p50"]
    assert shown["shell_pieces"] == 2
    assert shown["shell_g"] == pytest.approx(200.5 + 199.9)
    assert shown["fill_cm3"] == 21.5 and shown["castings"] == 9
    # Mixed resin of the sample's coats: 88 / (1 + 2.96) + 3 x 41, each rounded to 0.01 twice.
    assert shown["resin_g"] == pytest.approx(88 / 3.96 + 3 * 41, abs=4 * 2 * 0.005)
    assert shown["powder_g"] == pytest.approx(88 * 2.96 / 3.96, abs=0.01)


def test_the_worst_warning_is_the_plans_own_first_one() -> None:
    """What was found in the mesh counts after it: mending has removed most of that."""

    def worst(plan: dict) -> str:
        return summary_of(plan, out="", files={})["parts"][0]["worst_warning"]

    plan = sample_plan()
    master = plan["parts"][0]["master"]
    master["findings"] = [
        {"sentence": "A bit is loose.", "blocks": []},
        {"sentence": "The wall is 0.9 mm.", "blocks": ["print"]},
    ]
    plan["warnings"] = ["The inside is small."]
    said = []
    for clear in (plan["warnings"].clear, master["findings"].pop, master["findings"].clear):
        said.append(worst(plan))
        clear()
    assert said == ["The inside is small.", "The wall is 0.9 mm.", "A bit is loose."]
    assert worst(plan) == ""


def test_an_unproved_removal_is_told() -> None:
    plan = sample_plan()
    mould = plan["parts"][0]["moulds"][0]
    assert summary_of(plan, out="", files={})["parts"][0]["removal_proved"]
    mould["proof"]["passed"] = False
    assert not summary_of(plan, out="", files={})["parts"][0]["removal_proved"]


def slow_planner(request: PlanRequest, stages: Stages, progress: Progress) -> PlanResult:
    (request.out_dir.parent / "worker").write_text(str(os.getpid()))
    time.sleep(60)
    raise AssertionError("nobody called it off")


COMMAND = """
    import functools, sys
    sys.path.insert(0, {here!r})
    from firstpull import wiring
    from firstpull.cli import app
    from test_worker_run_plan import slow_planner
    if __name__ == "__main__":
        wiring.plan_in_worker = functools.partial(wiring.plan_in_worker, planner=slow_planner)
        sys.argv = ["firstpull", "demo", "--out", {out!r}]
        app.main()
"""


@pytest.mark.parametrize(
    ("number", "code", "said"),
    [(signal.SIGINT, 130, "Stopped; nothing was written.\n"), (signal.SIGTERM, 143, "")],
)
def test_the_command_called_off_leaves_no_worker_and_no_folder(tmp_path, number, code, said):
    """As in a terminal: the signal reaches the command and its worker alike."""
    file, home, note = tmp_path / "command.py", tmp_path / "home", tmp_path / "home/worker"
    home.mkdir()
    here, out = str(Path(__file__).parent), str(home / "plan")
    file.write_text(textwrap.dedent(COMMAND.format(here=here, out=out)))
    run = subprocess.Popen(
        [sys.executable, str(file)],
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "FIRSTPULL_STORE": str(tmp_path / "store")},
    )
    for _ in range(600):
        if (note.exists() and note.read_text()) or run.poll() is not None:
            break
        time.sleep(0.05)
    worker = int(note.read_text())
    os.killpg(run.pid, number)
    _, errors = run.communicate(timeout=20)
    assert (run.returncode, errors) == (code, said)
    assert gone(worker)
    assert [p.name for p in home.iterdir()] == ["worker"]
