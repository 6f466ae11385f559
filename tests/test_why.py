"""Every number of a plan answers why, and the answers are true of what the program does."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from firstpull.cli.app import app
from firstpull.core.demo import heron_half_mask
from firstpull.files.write_stl import write_stl
from firstpull.services.plan_job import plan_job
from firstpull.services.plan_types import PlanRequest
from firstpull.services.stages import Stages
from firstpull.services.why import (
    ROOMS,
    WITHOUT_ANSWER,
    UnknownNumber,
    is_without_answer,
    number_paths,
    numbers_of,
    why,
)
from firstpull.services.why_entry import Entry, value_at
from firstpull.services.why_folder import NoPlanToAsk, plan_to_ask
from firstpull.store.memory import MemoryStore
from sample_plan import sample_plan
from why_cases import bench_plan, slack, worked_out

BENCHES = {
    "laid in plaster, bronze": {},
    "printed, plain": {"shell": "printed-plastic", "powder": "none", "temperature_c": 20.0},
    "glass, platinum": {"shell": "glass-polyester", "silicone": "silicone-platinum-30a"},
    "epoxy": {"resin": "epoxy", "temperature_c": 24.0},
}
SHEETS = {
    "powder": "grid_mm: 2\ncast: {powder: bronze-irregular}\nskin: {price_per_kg: 22}\n",
    "printed in a small box": (
        "grid_mm: 2\nshell: {kind: printed, material: printed-plastic, clearance_mm: 1}\n"
        "shop: {build_box_mm: [150, 150, 150], temperature_c: 25}\n"
    ),
}


@pytest.fixture(scope="module", params=list(BENCHES))
def bench(request: pytest.FixtureRequest) -> dict[str, Any]:
    return json.loads(json.dumps(bench_plan(**BENCHES[request.param])))


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Whole plans of the demo's mask, as they stand in plan.json."""
    folder = tmp_path_factory.mktemp("why")
    mesh = folder / "heron.stl"
    write_stl(mesh, heron_half_mask(triangles=50_000))
    store, plans = MemoryStore(), {}
    for name, text in SHEETS.items():
        (folder / "job.yaml").write_text(text)
        request = PlanRequest(folder / "plan", mesh_path=mesh, sheet_path=folder / "job.yaml")
        plans[name] = json.loads(json.dumps(plan_job(request, Stages(store)).plan))
    return plans


def unanswered(plan: dict[str, Any]) -> list[str]:
    lost = []
    for path in number_paths(plan):
        if not is_without_answer(path):
            try:
                why(plan, path)
            except UnknownNumber:
                lost.append(path)
    return lost


def wrong(plan: dict[str, Any]) -> tuple[list[str], int]:
    """Numbers that come out otherwise from what their answer names, and how many came out so."""
    faults, right = [], 0
    for path in number_paths(plan):
        if is_without_answer(path):
            continue
        told = why(plan, path)
        anew = worked_out(plan, path, told)
        if anew is None:
            continue
        if abs(anew - told["value"]) > slack(path, told["value"], len(told["inputs"])):
            faults.append(f"{path}: {told['value']}, worked out {anew:.3f}")
        else:
            right += 1
    return faults, right


def test_every_number_that_is_worked_out_without_geometry_answers(bench: dict[str, Any]) -> None:
    assert unanswered(bench) == []


def test_answers_give_the_number_anew_from_what_they_name(bench: dict[str, Any]) -> None:
    faults, right = wrong(bench)
    assert faults == []
    assert right > 200


@pytest.mark.long
@pytest.mark.parametrize("name", list(SHEETS))
def test_every_number_of_a_whole_plan_answers_and_comes_out_anew(
    planned: dict[str, dict[str, Any]], name: str
) -> None:
    """With powder and a price; and of a printed shell that is cut to fit a small build box."""
    plan = planned[name]
    assert unanswered(plan) == []
    faults, right = wrong(plan)
    assert faults == []
    assert right > 250
    used = {path.rpartition(".")[2] for path in number_paths(plan)}
    assert used > {"silicone_cost"} if name == "powder" else {"printed"}
    cut = [
        p for p in plan["parts"][0]["moulds"][0]["shell"]["pieces"] if len(p.get("parts", ())) > 1
    ]
    assert bool(cut) == (name != "powder")


@pytest.mark.long
def test_a_number_without_an_answer_would_be_noticed(
    planned: dict[str, dict[str, Any]],
) -> None:
    plan = json.loads(json.dumps(planned["powder"]))
    plan["parts"][0]["moulds"][0]["skin"]["wobble_mm"] = 3
    plan["steps"][3]["title"] = "Sing to it"
    lost = unanswered(plan)
    assert "parts.0.moulds.0.skin.wobble_mm" in lost
    assert "steps.3.minutes_least" in lost


def test_a_formula_that_is_not_true_would_be_noticed(bench: dict[str, Any]) -> None:
    plan = json.loads(json.dumps(bench))
    plan["parts"][0]["cast"]["coats"][1]["b_g"] *= 1.05
    assert [fault.partition(":")[0] for fault in wrong(plan)[0]].count(
        "parts.0.cast.coats.1.b_g"
    ) == 1


def test_the_numbers_of_an_invented_plan_answer_as_far_as_it_says_what_it_is() -> None:
    """A plan by another hand may lack rows and whys: the answer is shorter, never a fault."""
    plan = sample_plan()
    told = why(plan, "parts.0.cast.coats.0.a_g")
    assert told["value"] == plan["parts"][0]["cast"]["coats"][0]["a_g"]
    assert told["rows"] == []
    assert told["formula"].startswith("area x thickness")


def test_an_estimate_is_one_number_with_its_spread(bench: dict[str, Any]) -> None:
    mass = bench["parts"][0]["cast"]["pull_mass_g"]
    told = why(bench, "parts.0.cast.pull_mass_g")
    assert told["value"] == mass["p50"]
    assert told["spread"] == mass
    assert told["unit"] == "g"
    low = why(bench, "parts.0.cast.pull_mass_g.p10")
    assert low["value"] == mass["p10"]
    assert low["what"].endswith("one in ten comes out below")


def test_an_answer_that_the_plan_carries_is_the_one_given(bench: dict[str, Any]) -> None:
    carried = bench["parts"][0]["moulds"][0]["skin"]["mass_why"]
    told = why(bench, "parts.0.moulds.0.skin.mass_g")
    assert told["formula"] == carried["formula"]
    assert [entry["value"] for entry in told["inputs"]] == list(carried["inputs"].values())
    assert [f"{row['row']}: {row['figure']}" for row in told["rows"]] == [
        row["row"] for row in carried["rows"]
    ]


def test_inputs_are_numbers_of_the_plan_that_answer_in_turn(bench: dict[str, Any]) -> None:
    for path in number_paths(bench):
        if is_without_answer(path):
            continue
        for entry in why(bench, path)["inputs"]:
            if entry["path"] is not None:
                assert why(bench, entry["path"])["value"] == entry["value"]


def test_rows_come_with_unit_source_and_mark(bench: dict[str, Any]) -> None:
    rows = [
        r for p in number_paths(bench) if not is_without_answer(p) for r in why(bench, p)["rows"]
    ]
    keys = {"row", "name", "figure", "low", "typical", "high", "unit", "mark", "source", "note"}
    assert rows and all(set(row) == keys for row in rows)


def test_a_field_that_nobody_gave_says_why_it_was_taken() -> None:
    plan = sample_plan()
    plan["assumed"] = [
        {"field": "skin.thickness_mm", "value": 6.0, "unit": "mm", "why": "usual for a half-mask"}
    ]
    told = why(plan, "parts.0.moulds.0.skin.thickness_mm")
    assert told["formula"].endswith("taken because: usual for a half-mask")
    assumed = why(plan, "assumed.0.value")
    assert (assumed["value"], assumed["unit"]) == (6.0, "mm")
    assert assumed["formula"] == "usual for a half-mask"
    plan["assumed"] = []
    assert why(plan, "parts.0.moulds.0.skin.thickness_mm")["formula"] == "as the job sheet says"


@pytest.mark.parametrize(
    "path", ["", "parts.9.cast.waste_g", "parts.0.name", "parts.0.cast", "..", "schedule.nothing"]
)
def test_a_path_without_a_number_is_refused(bench: dict[str, Any], path: str) -> None:
    with pytest.raises(UnknownNumber, match="is no number of this plan") as refused:
        why(bench, path)
    assert refused.value.code == "unknown_number"


def test_a_coordinate_is_refused_with_the_reason() -> None:
    with pytest.raises(UnknownNumber, match="coordinates, directions and outlines"):
        why(sample_plan(), "parts.0.moulds.0.shell.pieces.0.pull.0")


def test_kinds_without_an_answer_are_few_and_name_a_reason() -> None:
    assert len(WITHOUT_ANSWER) == 5
    for reason, keys in WITHOUT_ANSWER.items():
        assert len(reason.split()) >= 1 and keys


def test_every_entry_has_a_formula_and_says_what_it_is() -> None:
    for _, catalogue in ROOMS:
        for key, entry in catalogue.items():
            for one in entry if isinstance(entry, tuple) else (entry,):
                assert isinstance(one, Entry)
                assert one.what and one.formula, key
                last = "." not in key or not key.split(".")[-1].isdigit()
                assert last or one.unit, f"{key} needs a unit of its own"


def test_numbers_are_listed_by_room_with_what_they_are(bench: dict[str, Any]) -> None:
    rooms = numbers_of(bench)
    listed = [number["path"] for numbers in rooms.values() for number in numbers]
    assert sorted(listed) == sorted(p for p in number_paths(bench) if not is_without_answer(p))
    assert all(n["what"] and value_at(bench, n["path"]) is not None for n in rooms["Shopping"])


def test_asking_why_needs_no_numerics() -> None:
    """The server answers without loading what shapes moulds."""
    code = (
        "import sys, firstpull.services.why, firstpull.services.why_folder; "
        "print([m for m in ('numpy', 'scipy', 'numba', 'pydantic') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plan.json").write_text(json.dumps(bench_plan()))
    return tmp_path


def run(*line: str):
    return CliRunner().invoke(app, list(line), env={"COLUMNS": "200"})


def test_the_command_tells_formula_inputs_and_rows(folder: Path) -> None:
    answer = run("why", str(folder), "parts.0.cast.coats.0.powder_g")
    assert answer.exit_code == 0, answer.output
    assert "  = area x thickness x density of the set mix x powder by weight" in answer.output
    assert "[parts.0.cast.coats.0.area_cm2]" in answer.output
    assert "bronze powder, irregular" in answer.output


def test_the_command_lists_all_numbers_where_no_path_is_given(folder: Path) -> None:
    answer = run("why", str(folder))
    assert answer.exit_code == 0
    assert "Coats and castings:\n" in answer.output
    assert "  parts.0.cast.castings: 9, castings to make\n" in answer.output
    listed = json.loads(run("why", str(folder), "--json").stdout)
    assert {"path", "what", "value", "unit"} == set(listed["Shopping"][0])


def test_the_command_gives_the_answer_to_machines(folder: Path) -> None:
    told = json.loads(run("why", str(folder), "parts.0.cast.waste_g", "--json").stdout)
    assert told == why(plan_to_ask(folder), "parts.0.cast.waste_g")


def test_the_command_refuses_a_path_that_is_none(folder: Path) -> None:
    answer = run("why", str(folder), "parts.0.cast.charm")
    assert answer.exit_code == 1
    assert "is no number of this plan" in answer.output


@pytest.mark.parametrize("content", [None, "[]", "{", '{"parts": 3}'])
def test_a_folder_without_a_plan_is_refused(tmp_path: Path, content: str | None) -> None:
    if content is not None:
        (tmp_path / "plan.json").write_text(content)
    with pytest.raises(NoPlanToAsk) as refused:
        plan_to_ask(tmp_path)
    assert refused.value.code == "no_plan_to_ask"
