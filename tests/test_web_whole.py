"""The whole way over HTTP, with a server and a plan of their own: mesh in, plan out."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from firstpull.core.demo import heron_half_mask
from firstpull.files.mesh_box import decode_box
from firstpull.files.write_stl import write_stl

PATIENCE_SECONDS = 900  # of a busy machine


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    command = [sys.executable, "-m", "firstpull", "serve", "--no-open", "--json"]
    process = subprocess.Popen(
        [*command, "--workspace", str(tmp_path / "shop")],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "FIRSTPULL_STORE": str(tmp_path / "store")},
    )
    try:
        assert process.stdout is not None
        yield json.loads(process.stdout.readline())["address"] + "api/"
    finally:
        process.terminate()
        assert process.wait(20) == 0


def ask(url: str, body: Any = None, *, method: str | None = None) -> bytes:
    data = body if body is None or isinstance(body, bytes) else json.dumps(body).encode()
    headers = {} if isinstance(body, bytes) else {"content-type": "application/json"}
    request = urllib.request.Request(url, data, headers, method=method)
    with urllib.request.urlopen(request, timeout=120) as answer:
        return bytes(answer.read())


def ended(address: str, run_id: str) -> dict[str, Any]:
    until = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < until:
        run = dict(json.loads(ask(f"{address}runs/{run_id}")))
        if run["state"] not in ("waiting", "working"):
            return run
        time.sleep(0.5)
    raise AssertionError("the run did not end")


@pytest.mark.long
def test_a_mesh_goes_in_and_a_plan_comes_out(address: str, tmp_path: Path) -> None:
    """A sheet that changes in the middle replaces the run that had begun."""
    mesh = tmp_path / "heron.stl"
    write_stl(mesh, heron_half_mask(triangles=50_000))
    job = json.loads(ask(f"{address}jobs?file=heron.stl", mesh.read_bytes()))
    fields = {"job.good_castings": 3, "grid_mm": 2.0}
    ask(
        f"{address}jobs/{job['id']}/sheet",
        {"version": job["sheet_version"], "fields": fields},
        method="PATCH",
    )
    runs = json.loads(ask(f"{address}jobs/{job['id']}/runs"))["runs"]
    assert len(runs) == 2
    run = ended(address, runs[0]["id"])
    assert (run["state"], run["refusal"]) == ("done", None)
    assert ended(address, runs[1]["id"])["state"] == "cancelled"
    job = json.loads(ask(f"{address}jobs/{job['id']}"))
    assert job["plan_id"] == run["id"] and job["plan_is_current"]
    with Image.open(io.BytesIO(ask(address.removesuffix("/api/") + job["picture"]))) as card:
        assert card.format == "WEBP" and 198 <= card.width <= 396

    at = f"{address}runs/{run['id']}/"
    look = json.loads(ask(f"{at}look"))
    assert look["stage"] == "planned" and len(look["to_mould"]) == 16
    for shown in look["meshes"]:
        box = ask(f"{at}meshes/{shown['name']}.box")
        assert len(box) == shown["bytes"]
        arrays, _ = decode_box(box)
        assert len(arrays["indices"]) == shown["triangles"]
        for kind in shown["maps"]:
            toward = "?direction=0,0,1" if kind["name"] == "fill_mm" else ""
            values, _ = decode_box(ask(f"{at}maps/{shown['name']}/{kind['name']}{toward}"))
            assert len(values["values"]) == len(arrays["positions"])
    plan = json.loads(ask(f"{at}plan"))
    why = json.loads(ask(f"{at}why?path=parts.0.cast.pull_mass_g"))
    assert why["value"] == plan["parts"][0]["cast"]["pull_mass_g"]["p50"]
    walls = plan["parts"][0]["moulds"][0]["shell"]["walls"]
    asked = {"walls": [{k: w[k] for k in ("through", "facing", "bend") if w.get(k)} for w in walls]}
    preview = json.loads(ask(f"{at}preview", asked))
    assert preview["pieces"] == len(plan["parts"][0]["moulds"][0]["shell"]["pieces"])
    painted = json.loads(ask(f"{at}paint", {"dabs": []}))
    area = plan["parts"][0]["moulds"][0]["show_area_cm2"]
    assert painted["show_area_cm2"] == pytest.approx(area, abs=0.02) and painted["border"]
    listed = json.loads(ask(f"{at}files"))["files"]
    assert {f["path"] for f in listed} == set(plan["files"])
    assert ask(f"{at}packet.pdf").startswith(b"%PDF")
    assert ask(f"{at}all.zip").startswith(b"PK") and ask(f"{at}all.3mf").startswith(b"PK")
