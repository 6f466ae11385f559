"""What came out of a run over HTTP: its look, maps, plan, numbers and files."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from firstpull.core.job.kinds import Run
from firstpull.files.mesh_box import decode_box, write_box
from firstpull.services.headform_box import HeadformBox
from firstpull.services.jobs.card_picture import write_card
from firstpull.services.jobs.desk import Desk
from firstpull.services.jobs.look import map_path, maps_on
from firstpull.services.jobs.places import run_folder
from firstpull.services.jobs.take_away import TakeAway
from firstpull.store.workspace.workspace import open_workspace
from sample_plan import sample_plan
from web_office import NOON, client_of, office_over

CORNERS = np.float32([[0, 0, 0], [1, 0, 0], [0, 1, 0]])
FACES = np.uint32([[0, 1, 2]])


@dataclass
class Clerk:
    """Stands by: writes the map that it is asked for, or gives the preview it was given."""

    folder: Path
    asked: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    preview: dict[str, Any] = field(default_factory=dict)

    def ask(self, run: Run, question: str, **options: Any) -> Any:
        self.asked.append((question, options))
        if question in ("preview", "paint"):
            return self.preview
        path = map_path(
            run_folder(self.folder, run), options["mesh"], options["name"],
            direction=options["direction"],
        )  # fmt: skip
        write_box(path, {"values": np.float32([1, 2, 3])}, {"title": "Wall", "unit": "mm"})
        return str(path)


@dataclass
class Bench:
    client: TestClient
    url: str
    folder: Path
    clerk: Clerk
    desk: Desk


def look(stage: str) -> dict[str, Any]:
    mesh = {"title": "A", "triangles": 1, "bytes": 100, "pull": None, "frame": "mould"}
    names = [("arrived", "arrived")] + [("master", "master"), ("skin", "skin")] * (stage != "read")
    return {
        "stage": stage,
        "file_axes": stage == "read",
        "to_mould": None,
        "unit": "mm",
        "unit_why": "it says so",
        "notes": [],
        "size_mm": [1.0, 1.0, 0.0],
        "triangles": 1,
        "is_checked": True,
        "findings": [],
        "meshes": [{**mesh, "name": n, "role": r, "maps": maps_on(r)} for n, r in names],
    }


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A workspace with a job whose one run is done, its files written by hand."""
    with open_workspace(tmp_path) as workspace:
        desk = workspace.desk
        job = desk.add_job("Heron", now=NOON)
        desk.add_revision(job.id, file_name="heron.stl", path="jobs/x.stl", size_bytes=1, now=NOON)
        run = desk.add_run(job.id, now=NOON)
        desk.save_run(replace(run, state="done", summary={}, ended_at=NOON))
        folder = run_folder(desk.folder, run)
        (folder / "view" / "maps").mkdir(parents=True)
        (folder / "plan" / "mould").mkdir(parents=True)
        (folder / "view" / "look.json").write_text(json.dumps(look("planned")))
        for name in ("arrived", "master", "skin"):
            meta = {"title": name, "low": [0, 0, 0], "high": [1, 1, 0]}
            box = folder / "view" / f"{name}.box"
            write_box(box, {"positions": CORNERS, "indices": FACES}, meta)
        (folder / "plan" / "plan.json").write_text(json.dumps(sample_plan()))
        (folder / "plan" / "packet.pdf").write_bytes(b"%PDF-")
        (folder / "plan" / "mould" / "body.stl").write_bytes(b"solid")
        (folder / "plan" / "out.txt").symlink_to(desk.folder / "workspace.sqlite")
        clerk = Clerk(desk.folder)
        office = office_over(
            desk, standby=clerk, take_away=TakeAway(desk.folder), headform=HeadformBox()
        )
        yield Bench(client_of(office), f"/api/runs/{run.id}", folder, clerk, desk)


def test_the_look_and_its_meshes_go_out_as_they_lie(bench: Bench) -> None:
    assert bench.client.get(f"{bench.url}/look").json() == look("planned")
    answer = bench.client.get(f"{bench.url}/meshes/master.box")
    assert answer.content == (bench.folder / "view" / "master.box").read_bytes()
    assert answer.headers["content-type"] == "application/octet-stream"
    glb = bench.client.get(f"{bench.url}/meshes/skin.glb")
    assert glb.content.startswith(b"glTF") and 'filename="skin.glb"' in str(glb.headers)


def test_before_the_mesh_is_read_there_is_nothing_to_see_yet(bench: Bench) -> None:
    (bench.folder / "view" / "look.json").unlink()
    assert bench.client.get(f"{bench.url}/look").status_code == 204
    for path in ("meshes/master.box", "meshes/master.glb", "maps/master/thickness"):
        answer = bench.client.get(f"{bench.url}/{path}")
        assert (answer.status_code, answer.json()["code"]) == (404, "not_yet"), path


def test_a_map_is_worked_out_once(bench: Bench) -> None:
    for _ in range(2):
        answer = bench.client.get(f"{bench.url}/maps/master/thickness")
        assert decode_box(answer.content)[0]["values"].tolist() == [1, 2, 3]
    assert bench.clerk.asked == [
        ("map", {"mesh": "master", "name": "thickness", "direction": None})
    ]


def test_each_direction_has_a_map_of_its_own(bench: Bench) -> None:
    for direction in ("0,0,1", "1,0,0", "0,0,2"):
        url = f"{bench.url}/maps/skin/fill_mm?direction={direction}"
        assert bench.client.get(url).status_code == 200
    directions = [options["direction"] for _, options in bench.clerk.asked]
    assert directions == [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0)]


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        ("meshes/shell-9.box", 404, "no_such_thing"),
        ("meshes/..%2flook.box", 404, "no_such_page"),
        ("maps/master/colour", 404, "no_such_thing"),
        ("maps/skin/fill_mm", 422, "no_direction"),
        ("maps/skin/fill_mm?direction=up", 422, "no_direction"),
        ("maps/skin/fill_mm?direction=0,0,0", 422, "no_direction"),
        ("maps/skin/fill_mm?direction=nan,0,1", 422, "no_direction"),
        ("maps/skin/fill_mm?direction=1e999,0,1", 422, "no_direction"),
        ("files/out.txt", 404, "no_such_thing"),
        ("files/..%2fview%2flook.json", 404, "no_such_thing"),
        ("why?path=parts.0.nothing", 422, "unknown_number"),
        ("why", 422, "bad_request"),
    ],
)
def test_what_cannot_be_is_refused(bench: Bench, path: str, status: int, code: str) -> None:
    answer = bench.client.get(f"{bench.url}/{path}")
    assert (answer.status_code, answer.json()["code"]) == (status, code), answer.text
    assert bench.clerk.asked == []


def test_walls_are_tried(bench: Bench) -> None:
    bench.clerk.preview = {
        "pieces": 2, "fill_cm3": 1.5, "pulls": [[0.0, 0.0, 1.0]] * 2, "in_order": False,
        "locks": [], "stretches": [], "walls": [],
    }  # fmt: skip
    wall = {"through": [0, 0, 0], "facing": [1, 0, 0]}
    answer = bench.client.post(f"{bench.url}/preview", json={"walls": [wall]})
    assert answer.json() == bench.clerk.preview
    assert bench.clerk.asked == [("preview", {"walls": [wall]})]
    odd = bench.client.post(f"{bench.url}/preview", json={"walls": [{"through": [0, 0, 0]}]})
    assert odd.json()["code"] == "bad_request"


def test_the_card_is_the_small_picture_or_what_an_earlier_version_made(bench: Bench) -> None:
    hero = bench.folder / "plan" / "pictures" / "part-1-hero.png"
    assert bench.client.get(f"{bench.url}/card").json()["code"] == "no_such_thing"
    hero.parent.mkdir()
    Image.new("RGB", (800, 600), (200, 40, 30)).save(hero)
    run = bench.desk.run(bench.url.rpartition("/")[2])
    files = {"pictures/part-1-hero.png": hero.stat().st_size}
    bench.desk.save_run(replace(run, summary={"files": files}))
    old = bench.client.get(f"{bench.url}/card")
    assert old.headers["content-type"] == "image/png" and old.content == hero.read_bytes()
    write_card(bench.folder, files)
    new = bench.client.get(f"{bench.url}/card")
    assert new.headers["content-type"] == "image/webp"
    with Image.open(io.BytesIO(new.content)) as card:
        assert card.size == (396, 297)
        assert card.getpixel((200, 150)) == pytest.approx((200, 40, 30), abs=8)


def test_paint_is_tried(bench: Bench) -> None:
    loop = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    bench.clerk.preview = {"border": [loop], "show_area_cm2": 9.5, "planned_area_cm2": 10.0}
    dab = {"at": [0.0, 0.0, 1.0], "radius_mm": 8.0, "copied": False}
    answer = bench.client.post(f"{bench.url}/paint", json={"dabs": [dab]})
    assert answer.json() == bench.clerk.preview
    assert bench.clerk.asked == [("paint", {"dabs": [dab]})]
    bad = {**dab, "radius_mm": 0}
    odd = bench.client.post(f"{bench.url}/paint", json={"dabs": [bad]})
    assert odd.json()["code"] == "bad_request"
    nowhere = bench.client.post("/api/runs/nothing/paint", json={"dabs": []})
    assert nowhere.json()["code"] == "no_such_thing"


def test_the_plan_and_its_numbers(bench: Bench) -> None:
    assert bench.client.get(f"{bench.url}/plan").json() == sample_plan()
    answer = bench.client.get(f"{bench.url}/why?path=parts.0.cast.pull_mass_g")
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["formula"] and told["unit"] == "g"
    assert told["spread"]["p10"] <= told["value"] <= told["spread"]["p90"]


def test_files_are_listed_and_sent(bench: Bench) -> None:
    listed = {f["path"]: f["size_bytes"] for f in
              bench.client.get(f"{bench.url}/files").json()["files"]}  # fmt: skip
    assert set(listed) == {"mould/body.stl", "packet.pdf", "plan.json"}
    for path, size in listed.items():
        assert len(bench.client.get(f"{bench.url}/files/{path}").content) == size
    packet = bench.client.get(f"{bench.url}/packet.pdf")
    assert (
        packet.content == b"%PDF-" and "Heron%20packet.pdf" in packet.headers["content-disposition"]
    )


def test_the_whole_plan_goes_out_as_one_archive(bench: Bench) -> None:
    answer = bench.client.get(f"{bench.url}/all.zip")
    assert answer.headers["content-disposition"] == 'attachment; filename="Heron.zip"'
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert [n for n in archive.namelist() if n.endswith("mould/body.stl")]


def test_a_run_whose_plan_was_cleared_away_says_so(bench: Bench) -> None:
    (bench.folder / "plan" / "plan.json").unlink()
    for path in ("plan", "why?path=a.b", "files", "files/packet.pdf", "packet.pdf", "all.zip",
                 "all.3mf"):  # fmt: skip
        answer = bench.client.get(f"{bench.url}/{path}")
        assert (answer.status_code, answer.json()["code"]) == (404, "no_such_thing"), path


@pytest.mark.long
def test_the_head_is_sent_with_its_measures(bench: Bench) -> None:
    answer = bench.client.get("/api/headform")
    arrays, meta = decode_box(answer.content)
    assert arrays["positions"].shape[1] == 3 and len(meta["measures"]) >= 8
    assert bench.client.get("/api/headform").content == answer.content
