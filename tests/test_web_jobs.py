"""Jobs, sheets and runs over HTTP, on a real workspace; nothing is planned here."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from firstpull.core.job.kinds import Run
from firstpull.services.jobs.desk import Desk
from firstpull.store.workspace.workspace import open_workspace
from web_office import NOON, client_of, office_over

STL = b"one triangle".ljust(80) + struct.pack("<I", 1) + bytes(50)


@dataclass
class Queue:
    """A runner that only writes down what is asked of it."""

    desk: Desk
    started: list[str] = field(default_factory=list)

    def start(self, job_id: str) -> Run:
        self.started.append(job_id)
        return self.desk.add_run(job_id, now=NOON)

    def cancel(self, run_id: str) -> Run:
        run = self.desk.run(run_id)
        if run.is_under_way:
            self.desk.save_run(replace(run, state="cancelled", ended_at=NOON))
        return self.desk.run(run_id)

    def current(self, run: Run) -> Run:
        return run


@dataclass
class Bench:
    client: TestClient
    desk: Desk
    runner: Queue
    heard: list[tuple[str, dict[str, Any]]]

    def add(self, name: str = "heron mask.stl", **query: str) -> dict[str, Any]:
        answer = self.client.post("/api/jobs", params={"file": name, **query}, content=STL)
        assert answer.status_code == 201, answer.text
        return dict(answer.json())


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    heard: list[tuple[str, dict[str, Any]]] = []
    with open_workspace(tmp_path) as workspace:
        runner = Queue(workspace.desk)
        office = office_over(
            workspace.desk,
            runner=runner,
            publish=lambda event, data: heard.append((event, data)),
            upload_limit_bytes=5000,
            spare_bytes=0,
        )
        yield Bench(client_of(office), workspace.desk, runner, heard)


def test_a_mesh_becomes_a_job_that_is_planned_by_itself(bench: Bench) -> None:
    job = bench.add(due_on="2031-06-01")
    assert (job["name"], job["due_on"]) == ("heron mask", "2031-06-01")
    assert job["file_name"] == "heron mask.stl" and job["run"]["state"] == "waiting"
    assert bench.runner.started == [job["id"]]
    assert bench.heard == [("job", {"id": job["id"], "version": job["version"]})]
    kept = bench.desk.folder / bench.desk.job(job["id"]).revisions[0].path
    assert kept.read_bytes() == STL
    assert bench.client.get(f"/api/jobs/{job['id']}").json() == job
    listed = bench.client.get("/api/jobs").json()["jobs"]
    assert listed == [{name: job[name] for name in listed[0]}]


@pytest.mark.parametrize(
    ("query", "body", "code"),
    [
        ({"file": "heron.png"}, STL, "wrong_file_type"),
        ({"file": "heron.stl"}, b"", "mesh_file_empty"),
        ({"file": "heron.stl"}, bytes(5001), "upload_too_large"),
        ({"file": "heron.stl", "name": "x" * 81}, STL, "bad_sheet"),
        ({"file": "heron.stl", "due_on": "soon"}, STL, "bad_request"),
        ({}, STL, "bad_request"),
    ],
)
def test_a_mesh_that_is_refused_leaves_no_job_and_no_file(
    bench: Bench, query: dict[str, str], body: bytes, code: str
) -> None:
    answer = bench.client.post("/api/jobs", params=query, content=body)
    assert answer.json()["code"] == code, answer.text
    assert bench.client.get("/api/jobs").json() == {"jobs": []}
    assert not list((bench.desk.folder / "incoming").glob("*"))
    assert bench.runner.started == bench.heard == []


def test_a_new_mesh_for_a_job_is_planned(bench: Bench) -> None:
    job = bench.add()
    answer = bench.client.post(
        f"/api/jobs/{job['id']}/revisions", params={"file": "heron 2.obj"}, content=b"v 0 0 0\n"
    )
    assert answer.status_code == 201
    assert [r["number"] for r in answer.json()["revisions"]] == [1, 2]
    assert bench.runner.started == [job["id"]] * 2
    lost = bench.client.post("/api/jobs/nobody/revisions", params={"file": "a.stl"}, content=STL)
    assert lost.status_code == 404 and not list((bench.desk.folder / "incoming").glob("*"))


def test_a_change_on_an_old_version_hears_what_stands_now(bench: Bench) -> None:
    job = bench.add()
    url = f"/api/jobs/{job['id']}"
    first = bench.client.patch(url, json={"version": job["version"], "name": "Egret"})
    assert first.status_code == 200 and first.json()["name"] == "Egret"
    late = bench.client.patch(url, json={"version": job["version"], "name": "Stork"})
    assert (late.status_code, late.json()["code"]) == (409, "changed_meanwhile")
    assert late.json()["theirs"] == bench.client.get(url).json() == first.json()


def test_a_field_left_out_stays_and_null_takes_the_day_away(bench: Bench) -> None:
    job = bench.add(due_on="2031-06-01")
    url = f"/api/jobs/{job['id']}"
    named = bench.client.patch(url, json={"version": job["version"], "name": "Egret"}).json()
    assert named["due_on"] == "2031-06-01"
    freed = bench.client.patch(url, json={"version": named["version"], "due_on": None}).json()
    assert (freed["due_on"], freed["name"]) == (None, "Egret")


@pytest.mark.parametrize(
    "change", [{"name": None}, {"name": ""}, {"archived": None}, {"colour": 1}, {"version": "x"}]
)
def test_a_change_that_says_nothing_sound_is_refused(bench: Bench, change: Any) -> None:
    job = bench.add()
    url = f"/api/jobs/{job['id']}"
    answer = bench.client.patch(url, json={"version": job["version"], **change})
    assert (answer.status_code, answer.json()["code"]) == (422, "bad_request"), answer.text
    assert bench.client.get(url).json() == job


def test_jobs_are_put_away_deleted_and_brought_back(bench: Bench) -> None:
    job = bench.add()
    url = f"/api/jobs/{job['id']}"

    def ids(path: str) -> list[str]:
        return [card["id"] for card in bench.client.get(path).json()["jobs"]]

    away = bench.client.patch(url, json={"version": job["version"], "archived": True}).json()
    assert away["archived_at"] and ids("/api/jobs") == []
    assert ids("/api/jobs?archived=true") == [job["id"]]
    bench.client.patch(url, json={"version": away["version"], "archived": False})
    deleted = bench.client.delete(url).json()
    assert deleted["deleted_at"] and ids("/api/jobs") == []
    assert ids("/api/jobs/deleted") == [job["id"]]
    assert bench.heard[-1][1]["gone"] is True
    assert bench.client.get(f"{url}/runs").json()["runs"][0]["state"] == "cancelled"
    assert bench.client.post(f"{url}/restore").json()["deleted_at"] is None
    assert ids("/api/jobs") == [job["id"]]


def test_a_copy_is_planned_too(bench: Bench) -> None:
    job = bench.add()
    copy = bench.client.post(f"/api/jobs/{job['id']}/copy")
    assert copy.status_code == 201 and copy.json()["id"] != job["id"]
    assert bench.runner.started == [job["id"], copy.json()["id"]]


def test_a_stage_is_marked_and_unmarked(bench: Bench) -> None:
    url = f"/api/jobs/{bench.add()['id']}"
    forms = bench.client.get("/api/stages").json()["stages"]
    assert [form["stage"] for form in forms] == ["master", "mould", "cast"]
    mark = {"done_on": "2031-05-04", "measured": {"mass_g": 212.0}, "note": "dry"}
    job = bench.client.put(f"{url}/done/cast", json=mark).json()
    assert job["done"] == [{"stage": "cast", **mark}]
    assert bench.client.delete(f"{url}/done/cast").json()["done"] == []
    strange = bench.client.put(f"{url}/done/cast", json={**mark, "measured": {"smell": 1}})
    assert (strange.status_code, strange.json()["code"]) == (422, "bad_mark")
    assert bench.client.put(f"{url}/done/paint", json=mark).status_code == 404


def sheet_of(bench: Bench) -> tuple[str, dict[str, Any]]:
    url = f"/api/jobs/{bench.add()['id']}/sheet"
    return url, bench.client.get(url).json()


def test_a_field_of_the_sheet_changes_and_the_job_is_planned_anew(bench: Bench) -> None:
    url, sheet = sheet_of(bench)
    fields = {"skin.thickness_mm": 8}
    changed = bench.client.patch(url, json={"version": sheet["version"], "fields": fields}).json()
    assert changed["values"] == {"skin": {"thickness_mm": 8}}
    assert changed["version"] == sheet["version"] + 1 and len(bench.runner.started) == 2
    assert bench.client.get(url).json() == changed
    late = bench.client.patch(url, json={"version": sheet["version"], "fields": fields})
    assert late.status_code == 409 and late.json()["theirs"] == changed
    gone = {"version": changed["version"], "fields": {"skin.thickness_mm": None}, "plan": False}
    assert bench.client.patch(url, json=gone).json()["values"] == sheet["values"]
    assert len(bench.runner.started) == 2


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"skin.thickness_mm": 800}, "thickness"),
        ({"skin.thicknes_mm": 8}, "skin.thickness_mm"),
        ({"skin.thickness_mm": "thick"}, "thickness"),
    ],
)
def test_a_field_that_cannot_be_is_refused_and_the_sheet_stays(
    bench: Bench, fields: dict[str, Any], words: str
) -> None:
    url, sheet = sheet_of(bench)
    answer = bench.client.patch(url, json={"version": sheet["version"], "fields": fields})
    assert answer.status_code == 422 and words in answer.json()["sentence"], answer.text
    assert bench.client.get(url).json() == sheet and len(bench.runner.started) == 1


def test_the_sheet_goes_out_and_comes_in_as_a_file(bench: Bench) -> None:
    url, sheet = sheet_of(bench)
    text = "# ours, M\u00f6we\nskin:\n  thickness_mm: 7\n"
    put = bench.client.put(
        f"{url}.yaml?version={sheet['version']}",
        content=text.encode(),
        headers={"content-type": "text/yaml"},
    )
    assert put.status_code == 200, put.text
    assert put.json()["values"] == {"skin": {"thickness_mm": 7}}
    out = bench.client.get(f"{url}.yaml")
    assert out.text == text and out.headers["content-type"] == "text/yaml; charset=utf-8"
    assert len(bench.runner.started) == 2


@pytest.mark.parametrize("body", [b"\xff\xfe\x00", b"skin: {thickness_mm: 900}", b"- a"])
@pytest.mark.parametrize("media_type", ["text/yaml", "application/json", ""])
def test_a_file_that_is_no_sheet_is_refused(bench: Bench, body: bytes, media_type: str) -> None:
    url, sheet = sheet_of(bench)
    headers = {"content-type": media_type} if media_type else {}
    answer = bench.client.put(
        f"{url}.yaml?version={sheet['version']}", content=body, headers=headers
    )
    assert answer.status_code == 422, answer.text
    assert answer.json()["code"] in ("bad_sheet", "unreadable_sheet"), answer.text
    assert bench.client.get(url).json() == sheet


def test_the_form_of_the_sheet_has_every_kind_of_field(bench: Bench) -> None:
    groups = bench.client.get("/api/sheet/fields").json()["groups"]
    fields = {f["name"]: f for group in groups for f in group["fields"]}
    assert fields["skin.thickness_mm"]["unit"] == "mm"
    assert {f["kind"] for f in fields.values()} >= {"number", "whole", "text", "choice", "list"}


def test_locking_without_a_plan_is_refused(bench: Bench) -> None:
    job = bench.add()
    asked = {"version": job["sheet_version"], "choice": "walls", "locked": True}
    answer = bench.client.post(f"/api/jobs/{job['id']}/locks", json=asked)
    assert (answer.status_code, answer.json()["code"]) == (422, "no_plan")
    odd = bench.client.post(f"/api/jobs/{job['id']}/locks", json={**asked, "choice": "colour"})
    assert odd.json()["code"] == "bad_request"


def test_what_the_hand_chose_goes_into_the_sheet(bench: Bench) -> None:
    job = bench.add()
    asked = {"version": job["sheet_version"], "run_id": job["run"]["id"], "up": [0, 0, 1]}
    sheet = bench.client.post(f"/api/jobs/{job['id']}/steer", json=asked).json()
    assert sheet["values"] == {"master": {"up": [0.0, 0.0, 1.0]}}
    assert len(bench.runner.started) == 2


@pytest.mark.parametrize(
    "moves",
    [
        {"up": [0, 0, 0]},
        {"up": [0, 1]},
        {"walls": [{"through": [0, 0, 0]}]},
        {"walls": [{}]},
        {"walls": [{"through": [0, 0, 0], "facing": [0, 0, 0]}]},
        {"pulls": [[0, 0, 0]]},
        {"paint": [{"at": [0, 0, 0], "radius_mm": 0, "copied": True}]},
    ],
)
def test_a_move_that_means_nothing_is_refused(bench: Bench, moves: dict[str, Any]) -> None:
    job = bench.add()
    asked = {"version": job["sheet_version"], "run_id": job["run"]["id"], **moves}
    answer = bench.client.post(f"/api/jobs/{job['id']}/steer", json=asked)
    assert (answer.status_code, answer.json()["code"]) == (422, "bad_request"), answer.text


def test_runs_are_started_listed_read_and_called_off(bench: Bench) -> None:
    job = bench.add()
    started = bench.client.post(f"/api/jobs/{job['id']}/runs")
    assert started.status_code == 202 and started.json()["state"] == "waiting"
    run = started.json()
    assert run["revision_number"] == 1 and run["sheet_version"] == job["sheet_version"]
    assert bench.client.get(f"/api/runs/{run['id']}").json() == run
    assert len(bench.client.get(f"/api/jobs/{job['id']}/runs").json()["runs"]) == 2
    off = bench.client.post(f"/api/runs/{run['id']}/cancel").json()
    assert off["state"] == "cancelled" and off["ended_at"]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/api/jobs/nobody"),
        ("DELETE", "/api/jobs/nobody"),
        ("POST", "/api/jobs/nobody/restore"),
        ("POST", "/api/jobs/nobody/copy"),
        ("POST", "/api/jobs/nobody/runs"),
        ("GET", "/api/jobs/nobody/sheet"),
        ("GET", "/api/jobs/nobody/sheet.yaml"),
        ("GET", "/api/runs/nobody"),
        ("POST", "/api/runs/nobody/cancel"),
        ("GET", "/api/runs/nobody/look"),
        ("GET", "/api/runs/nobody/plan"),
        ("GET", "/api/runs/nobody/files"),
        ("GET", "/api/runs/nobody/files/packet.pdf"),
        ("GET", "/api/runs/%2e%2e/files/workspace.sqlite"),
        ("GET", "/api/runs/..%2f..%2f/plan"),
    ],
)
def test_what_is_not_there_is_told(bench: Bench, method: str, path: str) -> None:
    answer = bench.client.request(method, path)
    assert answer.status_code == 404, answer.text
    assert answer.json()["code"] in ("no_such_thing", "no_such_page")
