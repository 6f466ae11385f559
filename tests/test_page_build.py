"""The page is built from its sources, and its client from the interface as it is."""

from __future__ import annotations

import gzip
import importlib
from pathlib import Path
from types import ModuleType

import pytest

TOOLS = Path(__file__).resolve().parents[1] / "tools"


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The builder over a small page of its own, with node's work noted instead of done."""
    monkeypatch.syspath_prepend(TOOLS)
    module = importlib.import_module("web_build")
    ui, static = tmp_path / "ui", tmp_path / "static"
    monkeypatch.setattr(module, "UI", ui)
    monkeypatch.setattr(module, "STATIC", static)
    monkeypatch.setattr(module, "STAMP", static / ".stamp")
    for name in ("index.html", "package-lock.json", "src/main.ts", "src/main.test.ts"):
        path = ui / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("as it was")

    def node(*args: object) -> None:
        if "build" in args:
            static.mkdir()
            (static / "index.html").write_text("<!doctype html>" + "x" * 900)

    monkeypatch.setattr(module, "node", node)
    monkeypatch.setattr(module, "packages", lambda *, for_checks: None)
    return module


def test_a_page_is_built_once_and_again_when_a_source_changes(build: ModuleType) -> None:
    """Tests beside the sources do not count: they are not in the page."""
    assert not build.is_built()
    build.build()
    assert build.is_built()
    (build.UI / "src/main.test.ts").write_text("another test")
    assert build.is_built()
    (build.UI / "src/main.ts").write_text("changed")
    assert not build.is_built()


def test_a_packed_copy_lies_beside_each_file(build: ModuleType) -> None:
    """It holds the same bytes, and is the same from build to build."""
    build.build()
    page = build.STATIC / "index.html"
    packed = page.with_name("index.html.gz").read_bytes()
    assert gzip.decompress(packed) == page.read_bytes() and len(packed) < 200
    build.build()
    assert page.with_name("index.html.gz").read_bytes() == packed


def test_a_changed_interface_is_told_as_drift(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lines that differ are shown; the same text is no drift."""
    monkeypatch.syspath_prepend(TOOLS)
    check = importlib.import_module("page_check")
    kept = tmp_path / "openapi.json"
    kept.write_text('{\n  "castings": 6\n}\n')
    assert check.changed(kept, kept.read_text()) == ""
    drift = check.changed(kept, '{\n  "castings": 7\n}\n')
    assert '-  "castings": 6' in drift and '+  "castings": 7' in drift
    assert check.changed(tmp_path / "missing.json", "{}") != ""


def test_the_interface_kept_is_that_of_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """The document in ui/ is what the program writes now."""
    monkeypatch.syspath_prepend(TOOLS)
    check = importlib.import_module("page_check")
    assert check.changed(check.DOCUMENT, check.interface()) == ""
