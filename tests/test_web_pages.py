"""The built page, and files that go out."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from firstpull.core.job.refusals import NoSuchThing
from firstpull.web.sent_files import file_in, send_file
from web_office import EmptyDesk, client_of, office_over

SCRIPT = "assets/index-BkZ3q_1x.js"


@pytest.fixture
def built(tmp_path: Path) -> TestClient:
    static = tmp_path / "static"
    (static / "assets").mkdir(parents=True)
    (static / "index.html").write_text("<title>bench</title>")
    (static / SCRIPT).write_text("let a = 1")
    (static / f"{SCRIPT}.gz").write_bytes(gzip.compress(b"let a = 1"))
    (static / "mark.svg").write_text("<svg/>")
    (tmp_path / "secret.txt").write_text("secret")
    (static / "link.txt").symlink_to(tmp_path / "secret.txt")
    return client_of(office_over(EmptyDesk(tmp_path)), static=static)


@pytest.mark.parametrize("path", ["/", "/jobs/a1", "/jobs/a1/mould", "/materials", "/index.html"])
def test_the_page_stands_at_all_its_own_addresses(built: TestClient, path: str) -> None:
    answer = built.get(path)
    assert answer.status_code == 200 and "bench" in answer.text
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert answer.headers["cache-control"] == "no-cache"


def test_hashed_files_are_kept_for_ever_and_others_asked_for_again(built: TestClient) -> None:
    script, mark = built.get(f"/{SCRIPT}"), built.get("/mark.svg")
    assert "immutable" in script.headers["cache-control"]
    assert script.headers["content-type"] == "text/javascript; charset=utf-8"
    assert mark.headers["cache-control"] == "no-cache"


def test_the_copy_packed_beforehand_is_sent_to_who_takes_it(built: TestClient) -> None:
    packed = built.get(f"/{SCRIPT}", headers={"accept-encoding": "gzip"})
    plain = built.get(f"/{SCRIPT}", headers={"accept-encoding": "identity"})
    assert packed.headers["content-encoding"] == "gzip" and packed.text == "let a = 1"
    assert packed.headers["content-type"] == "text/javascript; charset=utf-8"
    assert "content-encoding" not in plain.headers and plain.text == "let a = 1"
    assert plain.headers["vary"] == packed.headers["vary"] == "accept-encoding"


@pytest.mark.parametrize(
    "path",
    [
        "/assets/gone-12345678.js",
        "/favicon.ico",
        "/link.txt",
        "/..%2fsecret.txt",
        "/assets/..%2f..%2fsecret.txt",
        "/%2e%2e/secret.txt",
        "/api/nowhere",
        "/api",
        "/api/",
    ],
)
def test_what_is_not_there_is_not_the_page(built: TestClient, path: str) -> None:
    answer = built.get(path)
    assert (answer.status_code, answer.json()["code"]) == (404, "no_such_page")
    assert "secret" not in answer.text.replace("secret.txt", "")


def test_a_page_that_was_not_built_says_how(tmp_path: Path) -> None:
    answer = client_of(office_over(EmptyDesk(tmp_path))).get("/")
    assert answer.status_code == 200 and "./start" in answer.text
    assert answer.headers["cache-control"] == "no-store"


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """A folder with a file, a link out of it, and something beside it."""
    folder = tmp_path / "plan"
    (folder / "mould").mkdir(parents=True)
    (folder / "mould" / "body.stl").write_bytes(b"solid")
    (folder / "packet.pdf").write_bytes(b"%PDF-")
    (folder / ".hidden").write_text("x")
    (tmp_path / "beside.txt").write_text("beside")
    (folder / "out.txt").symlink_to(tmp_path / "beside.txt")
    (folder / "up").symlink_to(tmp_path)
    return folder


@pytest.mark.parametrize(
    "name",
    [
        "../beside.txt",
        "mould/../../beside.txt",
        "out.txt",
        "up/beside.txt",
        "mould",
        "",
        "/etc/hostname",
        ".hidden",
        "./packet.pdf",
        "mould//body.stl",
        "..\\beside.txt",
        "packet.pdf\x00",
        "gone.txt",
    ],
)
def test_nothing_but_files_of_the_folder_goes_out(plan: Path, name: str) -> None:
    assert file_in(plan, name) is None
    with pytest.raises(NoSuchThing):
        send_file(plan, name)


def test_files_go_out_as_what_they_are_under_their_names(plan: Path) -> None:
    mesh = send_file(plan, "mould/body.stl", called="heron body.stl")
    assert mesh.media_type == "model/stl"
    assert mesh.headers["content-disposition"].startswith("attachment")
    assert "heron%20body.stl" in mesh.headers["content-disposition"]
    packet = send_file(plan, "packet.pdf")
    assert packet.media_type == "application/pdf"
    assert packet.headers["content-disposition"] == 'inline; filename="packet.pdf"'
