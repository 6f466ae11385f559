"""What is taken away holds what the plan holds, read back by other means."""

from __future__ import annotations

import datetime
import io
import json
import shutil
import types
import zipfile
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from firstpull.core.job.kinds import Run
from firstpull.core.job.refusals import DiscFull, NoSuchThing
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.files.mesh_box import BadBox, mesh_arrays, write_box
from firstpull.files.read_mesh import read_mesh
from firstpull.files.write_stl import write_stl
from firstpull.packet.palette import CLAY, LOOSE, MASTER, SHELL_TONES, SILICONE
from firstpull.services.jobs.places import run_folder
from firstpull.services.jobs.take_away import TakeAway, glb_of_box, plan_solids

NOW = datetime.datetime(2026, 11, 27, 12, tzinfo=datetime.UTC)
RUN = Run("run1", "job1", "r1", 1, "done", 1.0, "", NOW)
SOLIDS = {
    "master": MASTER, "body": CLAY, "skin": SILICONE,
    "shell 1": SHELL_TONES[0], "shell 2": SHELL_TONES[1], "loose 1": LOOSE,
}  # fmt: skip


def file_of(name: str) -> str:
    kind, _, number = name.partition(" ")
    return f"mask/mould/{kind}-{number}.stl" if number else f"mask/{kind}.stl"


def solid_of(name: str) -> Mesh:
    """Each of another size, where it may touch others."""
    n = list(SOLIDS).index(name)
    return mesh_of(manifold3d.Manifold.sphere(10.0 + n, 24).translate((3.0 * n, 0.0, 20.0)))


PLAN = {
    "schema": 1,
    "job": {"name": "Heron: half-mask"},
    "parts": [
        {
            "name": "mask",
            "master": {"file": file_of("master")},
            "moulds": [
                {
                    "body": {"file": file_of("body")},
                    "skin": {"file": file_of("skin")},
                    "shell": {
                        "pieces": [{"file": file_of(f"shell {n}")} for n in (1, 2)],
                        "loose": [{"file": file_of("loose 1")}],
                    },
                }
            ],
        }
    ],
}


@pytest.fixture
def plan_dir(tmp_path: Path) -> Path:
    folder = run_folder(tmp_path, RUN) / "plan"
    (folder / "mask/mould").mkdir(parents=True)
    for name in SOLIDS:
        write_stl(folder / file_of(name), solid_of(name))
    (folder / "packet.pdf").write_bytes(b"%PDF-1.7" + b" " * 5000)
    (folder / "plan.json").write_text(json.dumps(PLAN))
    return folder


def test_the_archive_holds_every_file_of_the_plan_whole(tmp_path: Path, plan_dir: Path) -> None:
    with zipfile.ZipFile(TakeAway(tmp_path).zip(RUN)) as archive:
        assert archive.testzip() is None
        held = {name: archive.read(name) for name in archive.namelist()}
        stored = {i.filename for i in archive.infolist() if i.compress_type == zipfile.ZIP_STORED}
    files = [path for path in plan_dir.rglob("*") if path.is_file()]
    wanted = {f"Heron half-mask/{p.relative_to(plan_dir).as_posix()}": p for p in files}
    assert held == {name: path.read_bytes() for name, path in wanted.items()}
    assert list(held) == sorted(held) and stored == {"Heron half-mask/packet.pdf"}


def test_the_same_plan_gives_the_same_archive(tmp_path: Path, plan_dir: Path) -> None:
    first = TakeAway(tmp_path).zip(RUN).read_bytes()
    again = Run("x", "job2", "r1", 1, "done", 1.0, "", NOW)
    shutil.copytree(plan_dir, run_folder(tmp_path, again) / "plan")
    assert TakeAway(tmp_path).zip(again).read_bytes() == first


def test_what_was_made_once_is_given_again(tmp_path: Path, plan_dir: Path) -> None:
    away = TakeAway(tmp_path)
    path = away.zip(RUN)
    before = path.stat().st_mtime_ns
    assert away.zip(RUN) == path and path.stat().st_mtime_ns == before
    assert [p.name for p in path.parent.iterdir()] == ["all.zip"]


def test_a_link_in_the_plans_folder_is_left_out(tmp_path: Path, plan_dir: Path) -> None:
    (tmp_path / "secret").write_text("not ours")
    (plan_dir / "link.txt").symlink_to(tmp_path / "secret")
    with zipfile.ZipFile(TakeAway(tmp_path).zip(RUN)) as archive:
        assert not any("link" in name for name in archive.namelist())


def test_the_3mf_has_each_solid_with_its_name_and_colour(tmp_path: Path, plan_dir: Path) -> None:
    """Read back by the project's own reader."""
    back = read_mesh(TakeAway(tmp_path).three_mf(RUN))
    assert back.declared_unit == "mm" and back.dress is not None
    assert list(back.dress.names) == list(SOLIDS)
    assert back.dress.face_colours is not None
    for n, (name, colour) in enumerate(SOLIDS.items()):
        faces = back.dress.part == n
        part = back.mesh.with_faces(faces)
        assert len(part.faces) == len(solid_of(name).faces)
        assert part.volume_mm3 == pytest.approx(solid_of(name).volume_mm3, rel=1e-5)
        assert {tuple(c) for c in back.dress.face_colours[faces][:, :3].tolist()} == {colour}


def test_another_reader_finds_the_same_solids_in_the_3mf(tmp_path: Path, plan_dir: Path) -> None:
    scene = trimesh.load(TakeAway(tmp_path).three_mf(RUN), file_type="3mf", force="scene")
    assert set(scene.geometry) == set(SOLIDS)
    for name, part in scene.geometry.items():
        assert part.is_watertight
        assert part.volume == pytest.approx(solid_of(name).volume_mm3, rel=1e-5)
        assert part.bounds == pytest.approx(solid_of(name).bounds_mm, abs=1e-4)


def test_solids_of_several_parts_say_whose_they_are() -> None:
    second = {**PLAN["parts"][0], "name": "beak"}
    names = [name for name, _, _ in plan_solids({**PLAN, "parts": [*PLAN["parts"], second]})]
    assert names == [f"{part}: {name}" for part in ("mask", "beak") for name in SOLIDS]


def test_a_run_without_a_plan_has_nothing_to_take_away(tmp_path: Path) -> None:
    for take in (TakeAway(tmp_path).zip, TakeAway(tmp_path).three_mf):
        with pytest.raises(NoSuchThing):
            take(RUN)


def test_a_full_disc_is_told_before_anything_is_written(tmp_path, plan_dir, monkeypatch) -> None:
    usage = types.SimpleNamespace(free=50_001_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    with pytest.raises(DiscFull, match="50 MB free"):
        TakeAway(tmp_path).zip(RUN)
    assert not (plan_dir.parent / "away").exists()


def test_an_archive_that_could_not_be_finished_is_not_there(tmp_path, plan_dir, monkeypatch):
    def fail(*args: object) -> None:
        raise RuntimeError("power")

    monkeypatch.setattr(shutil, "copyfileobj", fail)
    with pytest.raises(RuntimeError):
        TakeAway(tmp_path).zip(RUN)
    assert list((plan_dir.parent / "away").iterdir()) == []


def test_a_box_becomes_a_glb_that_another_reader_reads(tmp_path: Path) -> None:
    mesh = solid_of("skin")
    arrays = mesh_arrays(mesh)
    low, high = arrays["positions"].min(axis=0).tolist(), arrays["positions"].max(axis=0).tolist()
    write_box(tmp_path / "skin.box", arrays, {"title": "Silicone skin", "low": low, "high": high})
    data = glb_of_box(tmp_path / "skin.box")
    assert TakeAway(tmp_path).glb(tmp_path / "skin.box") == data
    scene = trimesh.load(io.BytesIO(data), file_type="glb", force="scene", process=False)
    assert list(scene.geometry) == ["Silicone skin"]
    part = scene.to_mesh()
    assert part.volume == pytest.approx(mesh.volume_mm3 * 1e-9, rel=1e-4)
    (tmp_path / "skin.glb").write_bytes(data)
    own = read_mesh(tmp_path / "skin.glb")
    assert own.declared_unit == "m" and len(own.mesh.faces) == len(mesh.faces)
    assert np.ptp(own.mesh.vertices_mm, axis=0) * 1000 == pytest.approx(
        np.ptp(mesh.vertices_mm, axis=0), rel=1e-5
    )


def test_what_is_no_box_becomes_no_glb(tmp_path: Path) -> None:
    (tmp_path / "a.box").write_bytes(b"solid skin")
    with pytest.raises(BadBox):
        glb_of_box(tmp_path / "a.box")
