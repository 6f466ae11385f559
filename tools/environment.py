"""Prepare .venv for ./start and ./check: standard library only, each step skipped when done.

A step leaves a marker in .venv with a hash of what it was made from; a step whose marker
matches is not run again, so a repeat start costs a few hundredths of a second.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterable
from pathlib import Path

import web_build

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
RUN_LOCKS = ["requirements.lock", "requirements-build.lock"]
CHECK_LOCKS = ["requirements-dev.lock"]
PAGE_LOCKS = ["requirements-page.lock"]
PIP = ["-m", "pip", "--disable-pip-version-check", "--no-input", "install", "-qq"]


def prepare(*, for_checks: bool = False) -> None:
    """Make or bring up to date everything that running, or checking, needs."""
    _step("venv", [], "Making .venv", _make_venv)
    _packages(for_checks=for_checks)
    package = [ROOT / "pyproject.toml"]
    _step("package", package, "Installing firstpull", _install_package)
    _page(for_checks=for_checks)
    _step("kernels", _sources(), "Compiling the numeric kernels (once)", _warm_kernels)


def tool(name: str) -> str:
    """The path of a program that was installed into .venv."""
    return str(BIN / (name + (".exe" if os.name == "nt" else "")))


def _packages(*, for_checks: bool) -> None:
    """The locked packages; those for checks include those for running."""
    check_locks, run_locks = _files(CHECK_LOCKS), _files(RUN_LOCKS)
    if for_checks:
        words = "Installing the locked packages, with those for checks"
        _step("check-packages", check_locks, words, lambda: _install(CHECK_LOCKS))
    elif not _is_done("check-packages", _mark(check_locks)):
        words = "Installing the locked packages"
        _step("run-packages", run_locks, words, lambda: _install(RUN_LOCKS))


def _page(*, for_checks: bool) -> None:
    """The page that the app shows; node is only fetched where it has to be built."""
    if web_build.is_built():
        return
    if not for_checks and not _is_done("check-packages", _mark(_files(CHECK_LOCKS))):
        words = "Installing what builds the page"
        _step("page-packages", _files(PAGE_LOCKS), words, lambda: _install(PAGE_LOCKS))
    print("Building the page ...", file=sys.stderr, flush=True)
    start = time.monotonic()
    # by the Python in .venv, where node lies among its packages
    _run([str(PYTHON), str(ROOT / "tools" / "web_build.py")], "The page was not built")
    print(f"  done in {time.monotonic() - start:.0f} s", file=sys.stderr, flush=True)


def _step(name: str, made_from: Iterable[Path], words: str, action) -> None:
    mark = _mark(made_from)
    if _is_done(name, mark):
        return
    print(f"{words} ...", file=sys.stderr, flush=True)
    start = time.monotonic()
    action()
    _marker(name).write_text(mark)
    print(f"  done in {time.monotonic() - start:.0f} s", file=sys.stderr, flush=True)


def _marker(name: str) -> Path:
    return VENV / f".firstpull-{name}"


def _is_done(name: str, mark: str) -> bool:
    try:
        return _marker(name).read_text() == mark and PYTHON.exists()
    except OSError:
        return False


def _mark(made_from: Iterable[Path]) -> str:
    """A hash over file names and contents, the interpreter and where the checkout lies."""
    digest = hashlib.sha256(f"{sys.version}\0{sys.base_prefix}\0{ROOT}".encode())
    for path in made_from:
        digest.update(f"\0{path.relative_to(ROOT).as_posix()}\0".encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _files(names: list[str]) -> list[Path]:
    return [ROOT / name for name in names]


def _sources() -> list[Path]:
    return sorted((ROOT / "src").rglob("*.py"))


def _make_venv() -> None:
    if importlib.util.find_spec("ensurepip") is None:
        version = f"{sys.version_info[0]}.{sys.version_info[1]}"
        sys.exit(
            "This Python cannot make virtual environments (it has no ensurepip); on Debian, run "
            f"'apt install python{version}-venv' and start again."
        )
    if VENV.exists():
        shutil.rmtree(VENV)  # half made, or by another Python
    _run([sys.executable, "-m", "venv", str(VENV)], "The virtual environment was not made")


def _install(locks: list[str]) -> None:
    args = ["--require-hashes", "--no-deps", "--only-binary", ":all:"]
    for lock in locks:
        args += ["-r", str(ROOT / lock)]
    why = "The packages were not installed; look at the lines above and at the network"
    _run([str(PYTHON), *PIP, *args], why)


def _install_package() -> None:
    # Without isolation: the build backend is in the locks, so nothing else is fetched.
    args = ["--no-deps", "--no-build-isolation", "--editable", str(ROOT)]
    _run([str(PYTHON), *PIP, *args], "firstpull itself was not installed")


def _warm_kernels() -> None:
    _run([str(PYTHON), "-m", "firstpull.cli.warm"], "The kernels were not compiled")


def _run(command: list[str], failed: str) -> None:
    if subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL).returncode != 0:
        sys.exit(f"{failed}; then run this again.")
