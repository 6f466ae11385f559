"""A run planned for real: it can be looked at early, and its folder holds what is asked of it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import shapes
from firstpull.core.errors import WorkshopError
from firstpull.core.job.kinds import OwnFigure
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.preview import preview_shadows
from firstpull.core.mould.steering import BadSteering
from firstpull.files.mesh_box import mesh_of_box, read_box
from firstpull.files.write_stl import write_stl
from firstpull.services import write_sheet
from firstpull.services.jobs.look import LOOK_READY, look_of
from firstpull.services.jobs.look_answers import RunShown, preview_of
from firstpull.services.jobs.look_write import COARSE, View, kept_skin
from firstpull.services.jobs.plan_here import PlanOrder, _request, plan_here
from firstpull.services.plan_types import PlanRequest
from firstpull.services.write_sheet import SheetNotEdited
from firstpull.store.memory import MemoryStore
from mould_cases import skin_of, standing_body
from test_mould_adjust import winding_ridge
from test_runs import NOW

OWN = OwnFigure("silicone-tin-30a", "density", 1.1, 1.2, 1.3, "a cup weighed", NOW)


def order_for(home: Path, mesh: Mesh, sheet: str, **more: object) -> PlanOrder:
    home.mkdir(parents=True, exist_ok=True)
    write_stl(home / "1-dome.stl", mesh)
    return PlanOrder(home / "run", home / "1-dome.stl", "River: dome", sheet, **more)


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory):
    """A small dome, planned; what was told, and what could be looked at when."""
    home = tmp_path_factory.mktemp("job")
    dome = shapes.implicit_shell("dome", 0, 15_000)
    x, y, z = (float(c) for c in dome.up)
    sheet = f"# ours\ngrid_mm: 2\nmaster: {{up: [{x}, {y}, {z}], unit: mm}}\nshell: {{pieces: 1}}\n"
    order = order_for(home, dome.mesh, sheet, figures=(OWN,))
    told: list[tuple[str, float]] = []
    early: list[dict] = []

    def progress(what: str, share: float) -> None:
        told.append((what, share))
        if what == LOOK_READY:
            early.append(look_of(order.run_dir))
            early[-1]["plan there"] = (order.run_dir / "plan").exists()

    summary = plan_here(order, MemoryStore(), progress=progress)
    return order, dome, told, early, summary


@pytest.mark.long
def test_the_mesh_can_be_looked_at_before_the_long_work(planned) -> None:
    """As soon as it is read, without findings; and with them once it is checked."""
    _, dome, told, early, _ = planned
    unchecked, look = early
    assert unchecked["is_checked"] is False and look["is_checked"] is True
    assert unchecked["meshes"] == look["meshes"]
    assert look["stage"] == "read" and look["file_axes"] is True and look["to_mould"] is None
    assert look["plan there"] is False and look["unit"] == "mm"
    assert [entry["name"] for entry in look["meshes"]] == ["arrived"]
    assert look["size_mm"] == pytest.approx(np.ptp(dome.mesh.vertices_mm, axis=0), abs=0.01)
    words = [what for what, _ in told]
    assert words.index(LOOK_READY) < words.index("mending the mesh")
    assert told[-1][1] == 1.0


@pytest.mark.long
def test_the_plan_is_there_with_names_and_own_figures(planned) -> None:
    order, _, _, _, summary = planned
    plan = json.loads((order.run_dir / "plan/plan.json").read_text())
    assert plan["job"]["name"] == "River: dome" and plan["job"]["part"] == "River dome"
    assert [own["now"]["typical"] for own in plan["own_figures"]] == [1.2]
    assert summary["out"] == str(order.run_dir / "plan")
    assert set(plan["files"]) == set(summary["files"])
    assert {path.name for path in order.run_dir.iterdir()} == {"plan", "sheet.yaml", "view"}
    assert (order.run_dir / "sheet.yaml").read_text().startswith(order.sheet_text)


@pytest.mark.long
def test_what_is_shown_is_what_was_planned(planned) -> None:
    order, dome, _, _, _ = planned
    look = look_of(order.run_dir)
    assert look["stage"] == "planned"
    plan = json.loads((order.run_dir / "plan/plan.json").read_text())
    mould = plan["parts"][0]["moulds"][0]
    pulls = [entry["pull"] for entry in look["meshes"] if entry["role"] == "shell"]
    assert np.allclose(pulls, [piece["pull"] for piece in mould["shell"]["pieces"]], atol=1e-5)
    run = RunShown(order.run_dir)
    for name in ("body", "skin"):
        assert run.mesh(name).volume_mm3 / 1000 == pytest.approx(
            mould[name]["volume_cm3"], rel=1e-3
        )
    matrix = np.reshape(look["to_mould"], (4, 4))
    assert np.allclose(matrix, np.reshape(mould["frame"]["to_mould"], (4, 4)), atol=1e-6)
    assert run.show.shape == (len(run.mesh("master").faces),)
    shown = run.mesh("master").face_areas_mm2[run.show].sum() / 100
    assert shown == pytest.approx(mould["show_area_cm2"], abs=0.02)
    assert preview_of(run, walls=[])["pieces"] == 1
    arrived = mesh_of_box(read_box(order.run_dir / "view/arrived.box")[0])
    assert np.allclose(arrived.bounds_mm, dome.mesh.bounds_mm, atol=1e-3)


def test_a_bad_sheet_is_refused_by_its_own_lines_before_the_mesh_is_read(tmp_path: Path) -> None:
    order = order_for(tmp_path, shapes.box(60, 60, 60), "# ours\nskin:\n  thickness_mm: 900\n")
    with pytest.raises(WorkshopError, match=r'Line 3 of "sheet\.yaml"'):
        plan_here(order, MemoryStore())
    assert not (order.run_dir / "plan").exists()


def test_a_mesh_that_is_refused_is_called_as_its_maker_calls_it(tmp_path: Path) -> None:
    stored = tmp_path / "1-notes.stl"
    stored.write_bytes(b"Cast on Monday. " * 40)
    order = PlanOrder(tmp_path / "run", stored, "notes", "", file_name="Notes.stl")
    with pytest.raises(WorkshopError, match=r"^Notes\.stl is text"):
        plan_here(order, MemoryStore())


def test_a_mesh_whose_plan_is_refused_can_still_be_looked_at(tmp_path: Path) -> None:
    """A wall that lies flat is refused only once the part stands."""
    flat = "{through: [0, 0, 0], facing: [0, 0, 1]}"
    sheet = f"master: {{up: [0, 0, 1]}}\nshell: {{walls: [{flat}]}}\n"
    order = order_for(tmp_path, shapes.box(60, 60, 60), sheet)
    with pytest.raises(BadSteering):
        plan_here(order, MemoryStore())
    assert look_of(order.run_dir)["stage"] == "read"
    assert {path.name for path in order.run_dir.iterdir()} == {"sheet.yaml", "view"}


def test_a_sheet_that_cannot_be_edited_is_planned_as_it_is(tmp_path: Path, monkeypatch) -> None:
    """Then the mesh file gives the names."""

    def refuse(text: str, fields: object, *, name: str) -> str:
        raise SheetNotEdited(where=name, found="is written in odd lines")

    monkeypatch.setattr(write_sheet, "with_fields", refuse)
    request: PlanRequest = _request(order_for(tmp_path, shapes.box(60, 60, 60), "grid_mm: 2"))
    assert request.sheet_path is not None and request.sheet_path.read_text() == "grid_mm: 2"


@pytest.mark.parametrize(
    "step_mm",
    [pytest.param(1.0, marks=pytest.mark.long), 1.5, pytest.param(2.0, marks=pytest.mark.long)],
)
def test_the_kept_field_casts_the_shadows_that_core_casts(tmp_path: Path, step_mm: float) -> None:
    shape = skin_of(standing_body(winding_ridge()), step_mm=step_mm)
    View(tmp_path).keep_skin(shape)
    kept = kept_skin(tmp_path, COARSE)
    assert kept.phi.nbytes < 2_000_000
    mine, cores = (preview_shadows(s, draft_deg=3.0) for s in (kept, shape))
    assert mine.grid == cores.grid and np.array_equal(mine.fills, cores.fills)
    assert np.array_equal(mine.phi, cores.phi)
