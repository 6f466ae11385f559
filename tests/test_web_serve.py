"""The server itself: its port, its start and its end."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull import wiring
from firstpull.store.workspace.workspace import open_workspace
from firstpull.web import serve as serving
from firstpull.web.serve import PortTaken, open_socket
from web_office import NOON


@pytest.fixture
def taken() -> Iterator[int]:
    """A port that another program listens on."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        yield other.getsockname()[1]


def test_a_port_that_was_asked_for_and_is_taken_is_refused(taken: int) -> None:
    with pytest.raises(PortTaken, match=f"Port {taken} is taken by another program"):
        open_socket(taken)


def test_where_the_usual_port_is_taken_a_free_one_is_found_and_said(
    taken: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "PORT", taken)
    opened = open_socket(None)
    with contextlib.closing(opened.socket):
        assert opened.door.port != taken and str(opened.door.port) in opened.address
        assert str(taken) in opened.note


def test_without_lan_only_this_machine_can_connect() -> None:
    opened = open_socket(None)
    with contextlib.closing(opened.socket):
        assert opened.socket.getsockname()[0] == "127.0.0.1"
        assert opened.door.key is None and opened.elsewhere == ()


def test_with_lan_each_start_has_a_new_long_key() -> None:
    keys = set()
    for _ in range(3):
        opened = open_socket(None, lan=True)
        with contextlib.closing(opened.socket):
            assert opened.socket.getsockname()[0] == "0.0.0.0"
            assert opened.elsewhere and all(a.endswith(opened.door.key) for a in opened.elsewhere)
            keys.add(opened.door.key)
    assert len(keys) == 3 and all(len(key) >= 20 for key in keys)


LIGHT = """
import sys, firstpull.web.serve, firstpull.web.openapi
heavy = {"numba", "scipy", "trimesh", "manifold3d", "skimage", "embreex", "typst", "PIL", "lxml"}
assert not heavy & set(sys.modules), heavy & set(sys.modules)
"""


def test_the_server_loads_nothing_that_works_on_meshes() -> None:
    """It stays open all day beside the maker's other programs."""
    subprocess.run([sys.executable, "-c", LIGHT], check=True)


@contextlib.contextmanager
def served(folder: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The app in a process of its own, and its address."""
    command = [sys.executable, "-m", "firstpull", "serve", "--no-open", "--json"]
    process = subprocess.Popen(
        [*command, "--workspace", str(folder), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        assert line, process.stderr.read() if process.stderr else ""
        yield process, json.loads(line)["address"]
    finally:
        process.kill()
        process.wait()


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_it_ends_at_once_with_pages_open(tmp_path: Path, sent: signal.Signals) -> None:
    with served(tmp_path) as (process, address):
        with urllib.request.urlopen(f"{address}api/events") as stream:
            assert stream.readline() == b"event: hello\n"
            os.kill(process.pid, sent)
            assert process.wait(timeout=10) == 0
        assert process.stderr is not None and process.stderr.read() == ""


def test_a_second_server_on_the_same_workspace_names_the_first(tmp_path: Path) -> None:
    with served(tmp_path) as (_, address):
        command = [sys.executable, "-m", "firstpull", "serve", "--no-open", "--workspace"]
        second = subprocess.run([*command, str(tmp_path)], capture_output=True, text=True)
        assert second.returncode == 1
        assert re.search(re.escape(address.rstrip("/")), second.stderr), second.stderr


def test_the_document_comes_out_in_the_same_order() -> None:
    """Whatever order Python keeps its sets in."""
    command = [sys.executable, "-m", "firstpull.web.openapi"]
    one, two = (
        subprocess.run(
            command, capture_output=True, check=True, env={**os.environ, "PYTHONHASHSEED": seed}
        ).stdout
        for seed in ("1", "2")
    )
    assert one == two and json.loads(one)["openapi"].startswith("3.1")


def test_a_demo_under_way_is_called_off_with_the_server(tmp_path: Path) -> None:
    with served(tmp_path, "--demo") as (process, _):
        process.terminate()
        assert process.wait(timeout=20) == 0
        assert process.stderr is not None and process.stderr.read() == ""
    assert not list(tmp_path.glob(".demo-*")) and not list(tmp_path.glob("jobs/*"))


def test_a_run_that_the_last_end_broke_off_is_told(tmp_path: Path) -> None:
    with open_workspace(tmp_path) as workspace:
        job = workspace.desk.add_job("Heron", now=NOON)
        workspace.desk.add_revision(
            job.id, file_name="a.stl", path="jobs/a.stl", size_bytes=1, now=NOON
        )
        run = workspace.desk.add_run(job.id, now=NOON)
        workspace.desk.save_run(replace(run, state="working", started_at=NOON))
    faults: list[BaseException] = []
    with wiring.open_office(
        tmp_path, address="", publish=lambda event, data: None, on_fault=faults.append
    ) as office:
        told = office.desk.run(run.id)
    assert (told.state, (told.refusal or {})["code"]) == ("failed", "server_stopped")
    assert faults == []


def test_the_workspace_is_where_it_was_asked_for(tmp_path: Path) -> None:
    """Given, then $FIRSTPULL_WORKSPACE, then the home folder."""
    surroundings = {wiring.WORKSPACE: str(tmp_path)}
    assert wiring.workspace_folder(surroundings) == tmp_path
    assert wiring.workspace_folder({}) == Path.home() / "firstpull"
    with (
        served(tmp_path / "shop") as (_, address),
        urllib.request.urlopen(f"{address}api/about") as answer,
    ):
        assert json.load(answer)["workspace"] == str(tmp_path / "shop")


def test_every_option_of_serve_is_described() -> None:
    shown = subprocess.run(
        [sys.executable, "-m", "firstpull", "serve", "--help"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "TERM": "dumb", "COLUMNS": "120"},
    ).stdout
    options = set(re.findall(r"--[a-z-]+", shown)) - {"--help"}
    text = (Path(__file__).parents[1] / "docs" / "app.md").read_text()
    assert options and options == set(re.findall(r"^\| `(--[a-z-]+)", text, re.MULTILINE))
