"""The whole line on the demo and on small files: the contract, the store, the refusals."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
import trimesh

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.topology import is_closed
from firstpull.files.read_mesh import read_mesh
from firstpull.files.write_stl import write_stl
from firstpull.services.plan_job import plan_job
from firstpull.services.plan_types import Overrides, PlanRequest, PlanResult
from firstpull.services.run_plan import run_plan
from firstpull.services.stages import Stages
from firstpull.store.memory import MemoryStore
from test_packet_schema import SCHEMA, faults, unknown_keys

STORE = MemoryStore()
COARSE = "grid_mm: 2\n"


def sheet(folder: Path, text: str) -> Path:
    path = folder / "job.yaml"
    path.write_text(text)
    return path


def planned(folder: Path, text: str = COARSE, **answers: Any) -> tuple[PlanResult, Stages]:
    stages = Stages(STORE)
    request = PlanRequest(
        out_dir=folder / "plan",
        sheet_path=sheet(folder, "cast: {powder: bronze-irregular}\n" + text),
        demo_triangles=50_000,
        overrides=Overrides(**answers),
    )
    return plan_job(request, stages, today="2026-11-25"), stages


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> PlanResult:
    return planned(tmp_path_factory.mktemp("demo"), shell_pieces=2)[0]


def test_the_plan_keeps_the_contract(demo: PlanResult) -> None:
    assert list(faults(demo.plan, SCHEMA)) == []
    assert list(unknown_keys(demo.plan, SCHEMA)) == []


def test_every_file_named_in_the_plan_is_there_and_closed(demo: PlanResult) -> None:
    part = demo.plan["parts"][0]
    mould = part["moulds"][0]
    named = [part["master"], mould["body"], mould["skin"], *mould["shell"]["pieces"]]
    named += mould["shell"]["loose"]
    assert {entry["file"] for entry in named} == set(demo.meshes)
    assert all(entry["closed"] and is_closed(demo.meshes[entry["file"]]) for entry in named)


def test_figures_are_those_of_the_solids(demo: PlanResult) -> None:
    part = demo.plan["parts"][0]
    mould = part["moulds"][0]
    for entry in [mould["body"], mould["skin"], *mould["shell"]["pieces"]]:
        volume = trimesh.Trimesh(
            demo.meshes[entry["file"]].vertices_mm, demo.meshes[entry["file"]].faces, process=False
        ).volume
        assert entry["volume_cm3"] == pytest.approx(volume / 1000, rel=1e-4)
    coats = mould["coats"]
    assert sum(c["volume_cm3"] for c in coats) == pytest.approx(
        mould["skin"]["volume_cm3"], rel=2e-3
    )
    assert mould["skin"]["fill_cm3"] < mould["skin"]["volume_cm3"]


def test_all_solids_stand_in_one_frame_over_the_board(demo: PlanResult) -> None:
    lowest = {name: mesh.bounds_mm[0, 2] for name, mesh in demo.meshes.items()}
    master = next(name for name in lowest if name.endswith("master.stl"))
    assert lowest.pop(master) == pytest.approx(13.0, abs=0.5)  # the rim's lowest point
    assert all(z == pytest.approx(0.0, abs=1e-4) for z in lowest.values())


def test_the_frame_takes_the_input_to_the_master(demo: PlanResult) -> None:
    from firstpull.core.demo import heron_half_mask

    mould = demo.plan["parts"][0]["moulds"][0]
    frame = np.array(mould["frame"]["to_mould"]).reshape(4, 4)
    mesh = heron_half_mask(triangles=50_000).moved(frame)
    master = next(m for name, m in demo.meshes.items() if name.endswith("master.stl"))
    assert mesh.bounds_mm == pytest.approx(master.bounds_mm, abs=1e-3)


def test_the_demo_is_proved_and_its_pulls_leave_the_board(demo: PlanResult) -> None:
    mould = demo.plan["parts"][0]["moulds"][0]
    failed = [c["sentence"] for c in mould["proof"]["checks"] if not c["passed"]]
    assert failed == [] and mould["proof"]["passed"]
    assert len(mould["shell"]["pieces"]) == 2
    assert all(piece["pull"][2] > 0 for piece in mould["shell"]["pieces"])


def test_one_piece_fills_more_than_two(demo: PlanResult) -> None:
    options = demo.plan["parts"][0]["moulds"][0]["options"]
    one, two = options[:2]
    assert (one["pieces"], two["pieces"]) == (1, 2)
    assert one["fill_cm3"] > 20 > two["fill_cm3"]
    assert [o["pieces"] for o in options if o["recommended"]] == [2]  # two were asked for
    fills = [o["fill_cm3"] for o in options]
    assert fills == sorted(fills, reverse=True)


def test_the_shell_tells_its_walls_as_its_option_does(demo: PlanResult) -> None:
    mould = demo.plan["parts"][0]["moulds"][0]
    chosen = next(o for o in mould["options"] if o["recommended"])
    assert len(mould["shell"]["walls"]) == 1
    assert mould["shell"]["walls"] == chosen["walls"]
    assert mould["shell"]["removal"] == "any order"
    assert mould["least_pieces"]["found"] >= mould["least_pieces"]["at_least"]


@pytest.mark.long
def test_the_fill_guide_is_told_drawn_and_shown(tmp_path: Path) -> None:
    """In one piece the demo has pockets deep enough for gauges."""
    one, _ = planned(tmp_path, shell_pieces=1)
    skin = one.plan["parts"][0]["moulds"][0]["skin"]
    fill = skin["fill"]
    assert fill["total_cm3"] == pytest.approx(skin["fill_cm3"], rel=0.05)
    cards = [place for place in fill["places"] if place["gauge"]]
    assert cards
    files = {file for place in cards for file in place["gauge"]["files"]}
    assert files == set(one.drawings)
    for place in cards:
        svg, dxf = (one.drawings[file] for file in place["gauge"]["files"])
        assert svg.lstrip().startswith(b"<")
        assert b"LWPOLYLINE" in dxf or b"POLYLINE" in dxf
        # 1.10 g/cm3 within a tenth: silicone of any row
        assert place["mass_g"] == pytest.approx(1.1 * place["volume_cm3"], rel=0.1)
    assert json.loads(json.dumps(one.plan)) == one.plan
    assert list(unknown_keys(one.plan, SCHEMA)) == []
    text = "".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(one.packet_pdf)).pages)
    assert "Fill guide" in text and "Profile gauges" in text
    assert {"pictures/part-1-mould-1-fill-1.png", "pictures/part-1-mould-1-fill-2.png"} <= set(
        one.pictures
    )


@pytest.mark.long
def test_a_printed_shell_is_cut_for_the_build_box(tmp_path: Path) -> None:
    box = [180.0, 180.0, 180.0]
    text = COARSE + f"shell: {{kind: printed}}\nshop: {{build_box_mm: {box}}}\n"
    result, _ = planned(tmp_path, text, shell_pieces=2)
    shell = result.plan["parts"][0]["moulds"][0]["shell"]
    assert list(faults(result.plan, SCHEMA)) == []
    for piece in shell["pieces"]:
        parts = piece["parts"]
        assert len(parts) > 1 and len(piece["joints"]) == len(parts) - 1
        assert sum(p["volume_cm3"] for p in parts) == pytest.approx(piece["volume_cm3"], rel=0.01)
        for part in parts:
            mesh = result.meshes[part["file"]]
            assert part["closed"] and is_closed(mesh)
            room = np.ptp(mesh.vertices_mm @ np.array(part["rotation"]).T, axis=0)
            assert room == pytest.approx(part["size_mm"], abs=0.1)
            assert (room <= np.array(box) + 0.02).all()


def test_the_packet_shows_the_plan(demo: PlanResult) -> None:
    pages = pypdf.PdfReader(io.BytesIO(demo.packet_pdf)).pages
    text = "\n".join(page.extract_text() for page in pages)
    mould = demo.plan["parts"][0]["moulds"][0]
    for figure in [
        f"{mould['show_area_cm2']:.0f}",
        f"{mould['skin']['mass_g']['p50']:.0f}",
        f"{demo.plan['parts'][0]['cast']['pull_mass_g']['p50']:.0f}",
    ]:
        assert figure in text
    assert {"front", "right", "back", "left", "exploded", "section", "hero"} <= {
        name.removesuffix(".png").rsplit("-", 1)[1] for name in demo.pictures
    }


@pytest.mark.long
def test_a_thicker_skin_runs_the_skin_and_what_hangs_on_it(
    demo: PlanResult, tmp_path: Path
) -> None:
    thicker, stages = planned(tmp_path, COARSE + "skin: {thickness_mm: 7}\n", shell_pieces=2)
    assert stages.found == [
        "building the demo's mesh",
        "checking the mesh",
        "mending the mesh",
        "measuring what mending did",
        "finding up",
        "finding the show surface",
        "building the body",
        "measuring the stretch",
    ]
    assert stages.ran[0] == "laying the skin" and "proving the mould" in stages.ran
    mould = thicker.plan["parts"][0]["moulds"][0]
    assert mould["skin"]["volume_cm3"] > demo.plan["parts"][0]["moulds"][0]["skin"]["volume_cm3"]


def test_the_same_plan_again_runs_nothing(demo: PlanResult, tmp_path: Path) -> None:
    again, stages = planned(tmp_path, shell_pieces=2)
    assert stages.ran == []
    assert again.packet_pdf == demo.packet_pdf and again.plan == demo.plan


def test_everything_not_said_is_assumed(demo: PlanResult) -> None:
    assumed = {entry["field"]: entry for entry in demo.plan["assumed"]}
    assert "skin.thickness_mm" in assumed and "hollow" in assumed["master.up"]["why"]
    assert not {"grid_mm", "cast.powder", "shell.pieces"} & set(assumed)


def box_file(folder: Path, *, size_mm: float, suffix: str = "stl") -> Path:
    """An open box, a tray without a lid: the simplest thing with a hollow."""
    box = trimesh.creation.box((1.6 * size_mm, 1.3 * size_mm, 0.6 * size_mm)).subdivide_to_size(
        size_mm / 8
    )
    top = box.triangles_center[:, 2] > 0.299 * size_mm
    path = folder / f"tray.{suffix}"
    write_stl(path, Mesh(box.vertices, box.faces[~top]))
    return path


def test_a_plan_from_a_file_in_metres_with_an_open_surface(tmp_path: Path) -> None:
    path = box_file(tmp_path, size_mm=0.1)
    request = PlanRequest(
        out_dir=tmp_path / "plan", mesh_path=path, sheet_path=sheet(tmp_path, COARSE)
    )
    result = plan_job(request, Stages(MemoryStore()))
    part = result.plan["parts"][0]
    assert part["sizes"]["printed"] == pytest.approx([160, 130, 60], abs=0.1)
    assert result.plan["job"]["name"] == "tray"
    unit = next(e for e in result.plan["assumed"] if e["field"] == "master.unit")
    assert unit["value"] == "m"
    assert any("metre" in warning for warning in result.plan["warnings"])
    # shell of a tray, 3 mm: outer box less inner box
    closed_form = 160 * 130 * 60 - 154 * 124 * 57
    assert part["master"]["volume_cm3"] == pytest.approx(closed_form / 1000, rel=0.02)
    mould = part["moulds"][0]
    assert mould["frame"]["up_in_input"] == pytest.approx([0, 0, -1], abs=0.02)
    assert mould["proof"]["passed"], mould["proof"]


def test_a_closed_ball_asks_for_up_in_one_sentence(tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(4, 60.0)
    path = tmp_path / "ball.stl"
    write_stl(path, Mesh(ball.vertices, ball.faces))
    request = PlanRequest(out_dir=tmp_path / "plan", mesh_path=path)
    with pytest.raises(WorkshopError, match=r"no hollow and no flat base.*--up 0,0,1\.$"):
        plan_job(request, Stages(MemoryStore()))


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"wall_mm": 99.0}, "Option --wall"),
        ({"shell_pieces": 5}, "Option --shell-pieces"),
        ({"paper": "a3"}, "Option --paper"),
    ],
)
def test_an_option_out_of_range_is_named(tmp_path: Path, answers: dict, words: str) -> None:
    request = PlanRequest(out_dir=tmp_path, overrides=Overrides(**answers))
    with pytest.raises(WorkshopError, match=words):
        plan_job(request, Stages(MemoryStore()))


@pytest.mark.long
def test_the_folder_holds_what_the_plan_says(tmp_path: Path) -> None:
    request = PlanRequest(
        out_dir=tmp_path / "plan", sheet_path=sheet(tmp_path, COARSE), demo_triangles=50_000
    )
    summary = run_plan(request, store=MemoryStore())
    out = tmp_path / "plan"
    plan = json.loads((out / "plan.json").read_text())
    assert list(faults(plan, SCHEMA)) == [] and list(unknown_keys(plan, SCHEMA)) == []
    assert sorted(p.name for p in tmp_path.iterdir()) == ["job.yaml", "plan"]
    for entry in plan["files"]:
        assert (out / entry).stat().st_size > 0
    for name in summary["files"]:
        if name.endswith(".stl"):
            assert is_closed(read_mesh(out / name).mesh)
