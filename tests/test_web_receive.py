"""How a mesh comes in: whole, or nothing is left behind."""

from __future__ import annotations

import asyncio
import errno
import io
import struct
import zipfile
from collections import namedtuple
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI, Request
from starlette.testclient import TestClient

from firstpull.files.read_mesh import FORMATS as READ
from firstpull.web import receive
from firstpull.web.receive import INCOMING, LOOK_BYTES, receive_file, sweep_incoming
from firstpull.web.refusals import install_refusals
from firstpull.web.sniff import FORMATS, OTHERS

STL = b"one triangle".ljust(80) + struct.pack("<I", 1) + bytes(50)
LIMIT = 5000


def client(folder: Path, *, spare_bytes: int = 0) -> TestClient:
    app = FastAPI(openapi_url=None)
    install_refusals(app)

    async def take(request: Request, file: str) -> dict[str, Any]:
        got = await receive_file(
            request, file_name=file, folder=folder, limit_bytes=LIMIT, spare_bytes=spare_bytes
        )
        return {"name": got.file_name, "size": got.size_bytes, "path": str(got.path)}

    app.add_api_route("/take", take, methods=["POST"])
    return TestClient(app)


def sent(folder: Path, name: str, body: Any, **options: Any) -> Any:
    return client(folder, **options).post("/take", params={"file": name}, content=body)


def left(folder: Path) -> list[Path]:
    return list((folder / INCOMING).glob("*"))


def test_the_page_takes_what_the_program_reads() -> None:
    assert FORMATS == READ


def test_a_file_arrives_byte_for_byte_inside_the_workspace(tmp_path: Path) -> None:
    answer = sent(tmp_path, "Heron mask.STL", STL)
    assert answer.status_code == 200, answer.text
    path = Path(answer.json()["path"])
    assert path.read_bytes() == STL and path.parent == tmp_path / INCOMING
    assert answer.json()["name"] == "Heron mask.STL" and answer.json()["size"] == len(STL)


@pytest.mark.parametrize("name", ["../../etc/heron.stl", "C:\\models\\heron.stl", "/heron.stl"])
def test_a_path_in_the_name_leads_nowhere(tmp_path: Path, name: str) -> None:
    answer = sent(tmp_path, name, STL).json()
    assert answer["name"] == "heron.stl" and Path(answer["path"]).parent == tmp_path / INCOMING


@pytest.mark.parametrize("name", ["heron", "heron.exe", "stl", "", "heron.stl.zip"])
def test_a_suffix_that_nothing_reads_is_refused(tmp_path: Path, name: str) -> None:
    answer = sent(tmp_path, name, STL)
    assert (answer.status_code, answer.json()["code"]) == (415, "wrong_file_type")
    assert left(tmp_path) == []


@pytest.mark.parametrize(("start", "what"), OTHERS)
def test_what_is_plainly_something_else_is_refused(tmp_path: Path, start: bytes, what: str) -> None:
    answer = sent(tmp_path, "heron.stl", start + bytes(LOOK_BYTES))
    assert (answer.status_code, answer.json()["code"]) == (415, "wrong_file_type")
    assert what in answer.json()["sentence"] and left(tmp_path) == []


def zipped(name: str) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr(zipfile.ZipInfo(name), "<model/>")  # without the time of day
    return file.getvalue()


@pytest.mark.parametrize(
    ("name", "body", "words"),
    [
        ("heron.obj", b"\xef\xbb\xbf \n<!DOCTYPE html><html>", "a web page"),
        ("heron.stl", zipped("a.stl"), "a zip archive by its first bytes"),
        ("heron.stl", b"glTF" + bytes(100), "a GLB file"),
        ("heron.stl", b"ply\nformat ascii 1.0\n", "a PLY file"),
        ("heron.3mf", zipped("notes.txt"), "without a 3MF model"),
        ("heron.3mf", zipped("3D/3dmodel.model")[:60], "damaged archive"),
        ("heron.3mf", STL, "is no 3MF file"),
        ("heron.glb", STL, "is no GLB file"),
        ("notes.stl", b"Cast on Monday. " * 40, "is text, but not an STL"),
        ("notes.stl", b"Monday", "is text, but not an STL"),
        ("notes.stl", b"solid work on Monday", "is text, but not an STL"),
        ("heron.stl", b"solid a\nfacet normal 0 0 1\n", 'stops without "endsolid"'),
        ("heron.stl", STL[:80] + struct.pack("<I", 9) + bytes(120), "promises 9 triangles and hol"),
        ("heron.stl", STL[:60] + bytes(9), "ends within the header"),
        ("heron.stl", STL[:80] + bytes(4), "an STL without a triangle"),
        ("notes.obj", b"very nice\nfor Monday\n", "no line of an OBJ file"),
        ("heron.obj", STL, "is binary, and an OBJ file is text"),
        ("notes.ply", b"play\n", "is not a PLY file"),
        ("heron.ply", b"ply\nformat ascii 1.0\n", "ends within its header"),
        ("notes.off", b"# a note\noffer\n", "is not an OFF file"),
    ],
)
def test_a_name_that_promises_something_else_is_refused(
    tmp_path: Path, name: str, body: bytes, words: str
) -> None:
    answer = sent(tmp_path, name, body)
    assert answer.status_code == 415 and words in answer.json()["sentence"]
    assert left(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("a.stl", b"solid heron\nendsolid\n"),
        ("a.obj", b"v 0 0 0\n"),
        ("a.ply", b"ply\nformat ascii 1.0\nend_header\n"),
        ("b.off", b"# made by hand\n\n3 1\n"),
        ("b.obj", b"# by hand\r\ng mask\r\n  v 0 0 0\r\n"),
        ("b.stl", b"solid named so, though binary".ljust(80) + STL[80:]),
        ("c.stl", STL + b"more"),
        ("a.off", b"OFF\n"),
        ("a.glb", b"glTF" + bytes(20)),
        ("a.3mf", zipped("3D/3dmodel.model")),
        ("a.3MF", zipped("3d/Other.Model")),
    ],
)
def test_each_format_comes_through(tmp_path: Path, name: str, body: bytes) -> None:
    assert sent(tmp_path, name, body).status_code == 200


def test_a_file_announced_as_too_large_is_refused_before_a_byte_is_read(tmp_path: Path) -> None:
    answer = client(tmp_path).post(
        "/take",
        params={"file": "heron.stl"},
        content=STL,
        headers={"content-length": str(600_000_000)},
    )
    assert (answer.status_code, answer.json()["code"]) == (413, "upload_too_large")
    assert "600.0 MB" in answer.json()["found"] and not (tmp_path / INCOMING).exists()


def test_a_file_that_does_not_say_its_size_is_stopped_at_the_limit(tmp_path: Path) -> None:
    def pieces() -> Iterator[bytes]:
        for _ in range(200):
            yield STL

    answer = sent(tmp_path, "heron.stl", pieces())
    assert (answer.status_code, answer.json()["code"]) == (413, "upload_too_large")
    assert left(tmp_path) == []


def test_the_limit_itself_is_taken(tmp_path: Path) -> None:
    many = STL[:80] + struct.pack("<I", (LIMIT - 84) // 50) + bytes(LIMIT - 84)
    assert sent(tmp_path, "heron.stl", many).status_code == 200
    assert sent(tmp_path, "heron.stl", many + b"\0").status_code == 413


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    answer = sent(tmp_path, "heron.stl", b"")
    assert (answer.status_code, answer.json()["code"]) == (422, "mesh_file_empty")
    assert left(tmp_path) == []


def test_a_disc_without_room_is_refused_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(receive.shutil, "disk_usage", lambda folder: usage(9999, 0, 9999))
    assert sent(tmp_path, "heron.stl", STL, spare_bytes=9999 - len(STL)).status_code == 200
    answer = sent(tmp_path, "heron.stl", STL, spare_bytes=9999 - len(STL) + 1)
    assert (answer.status_code, answer.json()["code"]) == (507, "disc_full")


def test_a_disc_that_fills_up_meanwhile_is_told_and_nothing_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(self: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(receive._Arriving, "write", no_room)
    answer = sent(tmp_path, "heron.stl", STL)
    assert (answer.status_code, answer.json()["code"]) == (507, "disc_full")
    assert left(tmp_path) == []


async def _broken_off(folder: Path) -> list[str]:
    """The codes heard when a browser goes away in the middle."""
    messages = [
        {"type": "http.request", "body": STL, "more_body": True},
        {"type": "http.disconnect"},
    ]

    async def next_message() -> Any:
        return messages.pop(0)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [], "query_string": b""}
    try:
        await receive_file(
            Request(scope, next_message),
            file_name="heron.stl",
            folder=folder,
            limit_bytes=LIMIT,
            spare_bytes=0,
        )
    except receive.UploadBroken as refusal:
        return [refusal.code]
    return []


def test_a_browser_that_goes_away_leaves_nothing(tmp_path: Path) -> None:
    assert asyncio.run(_broken_off(tmp_path)) == ["upload_broken"]
    assert (tmp_path / INCOMING).is_dir() and left(tmp_path) == []


def test_what_a_killed_server_left_is_swept_away(tmp_path: Path) -> None:
    sweep_incoming(tmp_path)
    (tmp_path / INCOMING).mkdir()
    (tmp_path / INCOMING / "half.stl").write_bytes(STL)
    (tmp_path / ".demo-x").mkdir()
    (tmp_path / ".demo-x" / "demo.stl").write_bytes(STL)
    (tmp_path / "jobs").mkdir()
    sweep_incoming(tmp_path)
    assert left(tmp_path) == []
    assert sorted(p.name for p in tmp_path.iterdir()) == [INCOMING, "jobs"]
