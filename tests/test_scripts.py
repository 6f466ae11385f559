"""The two commands and the locks they install from."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LOCKS = [
    "requirements.lock",
    "requirements-build.lock",
    "requirements-page.lock",
    "requirements-dev.lock",
]


def pins(lock: str) -> set[str]:
    text = (ROOT / lock).read_text()
    return {line.rstrip(" \\") for line in text.splitlines() if re.match(r"[a-z0-9]", line)}


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_has_hashes_and_names_no_host(lock: str) -> None:
    text = (ROOT / lock).read_text()
    assert not re.search(r"://|--index-url|--find-links|\w+\.(org|com|io|net)\b", text)
    entries = re.split(r"^(?=[a-z0-9])", text, flags=re.M)[1:]
    assert entries and all("==" in e and "--hash=sha256:" in e for e in entries)


def test_checks_run_with_what_users_run() -> None:
    dev = pins("requirements-dev.lock")
    assert pins("requirements.lock") <= dev
    assert pins("requirements-build.lock") <= dev
    assert pins("requirements-page.lock") <= dev


@pytest.fixture
def environment(tmp_path, monkeypatch):
    """The set-up module on an empty checkout, with its commands noted instead of run."""
    monkeypatch.syspath_prepend(ROOT / "tools")
    spec = importlib.util.spec_from_file_location("environment", ROOT / "tools/environment.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(module, "PYTHON", tmp_path / ".venv/bin/python")
    for name in [*LOCKS, "pyproject.toml"]:
        (tmp_path / name).write_text("as it was")
    (tmp_path / "src").mkdir()
    (tmp_path / "src/skin.py").write_text("x = 1")
    module.steps, module.built = [], True
    monkeypatch.setattr(module.web_build, "is_built", lambda: module.built)

    def note(command: list[str], failed: str) -> None:
        if "venv" in command:
            (tmp_path / ".venv/bin").mkdir(parents=True)
            module.PYTHON.write_text("")
        module.steps.append(" ".join(command[1:]))

    monkeypatch.setattr(module, "_run", note)
    return module


def done(environment, **how) -> list[str]:
    environment.steps.clear()
    environment.prepare(**how)
    names = {
        "venv": "venv",
        "requirements-page": "node",
        "requirements": "packages",
        "editable": "package",
        "web_build": "page",
        "warm": "kernels",
    }
    return [next(n for word, n in names.items() if word in step) for step in environment.steps]


def test_each_step_runs_once_and_again_only_when_what_it_is_made_from_changes(environment) -> None:
    root = environment.ROOT
    assert done(environment) == ["venv", "packages", "package", "kernels"]
    assert done(environment) == []
    (root / "src/skin.py").write_text("x = 2")
    assert done(environment) == ["kernels"]
    (root / "requirements.lock").write_text("newer")
    assert done(environment) == ["packages"]
    assert done(environment, for_checks=True) == ["packages"]
    (root / "requirements.lock").write_text("newer still")  # the checks' packages include it
    assert done(environment) == []
    (root / "requirements-dev.lock").write_text("newer still")
    assert done(environment, for_checks=True) == ["packages"]
    environment.PYTHON.unlink()  # the interpreter went away
    assert done(environment)[0] == "venv"


def test_the_page_is_built_where_it_is_stale_and_node_is_fetched_only_for_that(environment) -> None:
    assert done(environment) == ["venv", "packages", "package", "kernels"]
    environment.built = False
    assert done(environment) == ["node", "page"]
    assert done(environment) == ["page"]
    # the checks bring node along
    assert done(environment, for_checks=True) == ["packages", "page"]
    environment.built = True
    assert done(environment) == []


def test_a_step_that_fails_is_run_again(environment, monkeypatch) -> None:
    done(environment)
    (environment.ROOT / "src/skin.py").write_text("x = 3")
    with monkeypatch.context() as broken:
        broken.setattr(environment, "_warm_kernels", lambda: sys.exit("no"))
        with pytest.raises(SystemExit):
            environment.prepare()
    assert done(environment) == ["kernels"]


def test_without_ensurepip_the_debian_package_is_named(environment, monkeypatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(SystemExit, match=r"apt install python3\.\d+-venv"):
        environment.prepare()


def test_only_hashed_wheels_are_installed(environment) -> None:
    environment.prepare()
    (step,) = [s for s in environment.steps if "requirements.lock" in s]
    assert "--require-hashes" in step and "requirements-build.lock" in step


@pytest.mark.parametrize("script", ["start", "check"])
def test_an_old_python_is_refused_in_one_sentence(script: str) -> None:
    code = (
        "import sys; sys.version_info = (3, 9, 2, 'final', 0);"
        f"exec(compile(open({str(ROOT / script)!r}).read(), {script!r}, 'exec'))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert run.returncode == 1
    assert run.stderr == (
        "firstpull needs Python 3.11 or newer, and this is 3.9; run this file with a newer one.\n"
    )


@pytest.mark.parametrize("script", ["start", "check"])
def test_an_old_python_can_read_as_far_as_the_refusal(script: str) -> None:
    import ast

    ast.parse((ROOT / script).read_text(), feature_version=(3, 7))


@pytest.mark.parametrize("script", ["start", "check", ".ci/run"])
def test_the_commands_may_be_run(script: str) -> None:
    assert os.access(ROOT / script, os.X_OK)
