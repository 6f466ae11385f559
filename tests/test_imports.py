"""No import points back up: cli and web over services, those over files and packet, over core."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import firstpull

PACKAGE = Path(firstpull.__file__).parent

# What each layer may import besides itself. The packet only draws values: it knows no service,
# so that a plan can hand back its packet as bytes. Services see the store as a protocol; wiring
# joins the two.
MAY_IMPORT = {
    "core": set(),
    "store": {"core"},
    "files": {"core"},
    "packet": {"core"},
    "services": {"core", "files", "packet"},
    "wiring": {"core", "files", "packet", "services", "store"},
    "cli": {"core", "services", "wiring"},
    "web": {"core", "services", "wiring"},
}
# The one door between the two faces: the command that serves the app.
DOOR = ("firstpull.cli.serve_command", "firstpull.web.serve")
# Modules of core that every stage may use, and the stages in order: later ones import earlier.
GROUND = {"arrays", "errors", "estimate", "figures", "progress", "units"}
STAGES = [
    "mesh", "demo", "material", "fit", "pieces", "surface", "mould", "cast", "finish", "hazards",
    "schedule", "stock", "price", "bench", "sheet", "sheet_fields", "sheet_check", "sheet_guide",
    "job",
]  # fmt: skip
SHEET = {name for name in STAGES if name.startswith("sheet")}

# Core takes values and returns values: no clock, surroundings, network or faces.
NOT_IN_CORE = {
    "os", "time", "random", "socket", "sqlite3", "subprocess", "urllib", "http", "logging",
    "sys", "tempfile", "shutil", "typer", "rich", "typst", "fastapi", "sqlalchemy",
}  # fmt: skip


def imports_of(source: str, module: str, *, is_package: bool = False) -> Iterator[str]:
    """The full names of everything that a module imports, wherever in it."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                kept = module.split(".")[: None if is_package else -1]
                kept = kept[: len(kept) - node.level + 1]
                base = ".".join([*kept, *filter(None, [base])])
            yield base
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif (
            isinstance(node, ast.Call)
            and getattr(node.func, "attr", getattr(node.func, "id", "")) == "import_module"
            and node.args
            and isinstance(node.args[0], ast.Constant)
        ):
            yield str(node.args[0].value)


def fault(module: str, imported: str) -> str | None:
    """Why this arrow is not allowed, or ``None``."""
    here, there = module.split("."), imported.split(".")
    layer = here[1] if len(here) > 1 else ""
    if layer == "core" and there[0] in NOT_IN_CORE:
        return f"{module} imports {imported}: core only takes values and returns values"
    if there[0] != "firstpull" or len(there) < 2 or layer not in MAY_IMPORT:
        return None
    if there[1] not in MAY_IMPORT:
        return None
    if there[1] == layer:
        return stage_fault(module, imported) if layer == "core" else None
    if module == DOOR[0] and f"{imported}.".startswith(f"{DOOR[1]}."):
        return None
    if there[1] not in MAY_IMPORT[layer]:
        return f"{module} imports {imported}: {layer} may not import {there[1]}"
    return None


def stage_fault(module: str, imported: str) -> str | None:
    """Within core: a stage imports the ground and earlier stages only."""
    here, there = module.split(".")[2:3], imported.split(".")[2:3]
    if not here or not there or here == there or there[0] in GROUND:
        return None
    if here[0] in SHEET and there[0] in SHEET:
        return None
    if here[0] in GROUND or STAGES.index(there[0]) > STAGES.index(here[0]):
        return f"{module} imports {imported}: {there[0]} comes after {here[0]}"
    return None


def modules() -> Iterator[tuple[str, Path]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def test_no_import_points_up() -> None:
    faults = []
    for module, path in modules():
        is_package = path.name == "__init__.py"
        for imported in imports_of(path.read_text(), module, is_package=is_package):
            # "from a import b" yields a.b also where b is a name in a: the same layer.
            faults += filter(None, [fault(module, imported)])
    assert sorted(set(faults)) == []


def test_every_folder_of_the_package_has_a_place_in_the_order() -> None:
    layers = {p.name for p in PACKAGE.iterdir() if (p / "__init__.py").exists()}
    assert layers <= set(MAY_IMPORT)
    stages = {p.stem for p in (PACKAGE / "core").iterdir() if not p.name.startswith("__")}
    assert stages <= set(STAGES) | GROUND


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("firstpull.core.mould.skin", "from firstpull.services import stages"),
        ("firstpull.core.mould.skin", "def late():\n    import firstpull.files.read_mesh"),
        ("firstpull.core.mould.skin", "from firstpull import store"),
        ("firstpull.core.mould.skin", "from ...packet import album"),
        ("firstpull.core.mould.skin", "import importlib\nimportlib.import_module('firstpull.cli')"),
        ("firstpull.core.mould.skin", "from time import monotonic"),
        ("firstpull.core.mesh.solid", "from firstpull.core.mould import body"),
        ("firstpull.core.mesh.solid", "from firstpull.core.material.row import MaterialRow"),
        ("firstpull.core.mould.skin", "from ..cast import coat"),
        ("firstpull.core.errors", "from firstpull.core.mesh.mesh import Mesh"),
        ("firstpull.services.plan_job", "from firstpull.cli.app import main"),
        ("firstpull.services.plan_job", "from firstpull.store.disk import DiskStore"),
        ("firstpull.services.plan_job", "import firstpull.wiring"),
        ("firstpull.packet.album", "from firstpull.services.plan_types import PlanResult"),
        ("firstpull.files.write_stl", "from firstpull.services import stages"),
        ("firstpull.store.disk", "from firstpull.files.plan_folder import PlanFolder"),
        ("firstpull.cli.app", "from firstpull.store.disk import DiskStore"),
        ("firstpull.cli.app", "from firstpull.web import app"),
        ("firstpull.cli.app", "from firstpull.web.serve import serve"),
        ("firstpull.cli.serve_command", "from firstpull.web import app"),
        ("firstpull.cli.serve_command", "from firstpull.web.serve_all import serve"),
    ],
)
def test_the_guard_trips(module: str, source: str) -> None:
    assert any(fault(module, imported) for imported in imports_of(source, module))


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("firstpull.core.mould.skin", "from ..mesh import grid\nfrom firstpull.core import errors"),
        ("firstpull.cli.app", "from firstpull import wiring\nimport time"),
        ("firstpull.services.plan_job", "from firstpull.packet.packet import make_packet"),
        ("firstpull.wiring", "from firstpull.store.disk import DiskStore"),
        ("firstpull.cli.serve_command", "from firstpull.web.serve import serve"),
    ],
)
def test_the_guard_lets_downward_arrows_pass(module: str, source: str) -> None:
    assert not any(fault(module, imported) for imported in imports_of(source, module))
