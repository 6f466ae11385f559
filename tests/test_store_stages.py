"""A changed option re-runs only what hangs on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.progress import Progress, quiet
from firstpull.services.stages import Stages
from firstpull.store.disk import DiskStore
from firstpull.store.memory import MemoryStore

BALL = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 2, 1], [0, 1, 3]])


def master(mesh: Mesh) -> Mesh:
    return mesh


def skin(mesh: Mesh, *, thickness_mm: float) -> Mesh:
    return Mesh(mesh.vertices_mm * thickness_mm, mesh.faces)


def shell(grown: Mesh) -> float:
    return grown.area_mm2


def coats(mesh: Mesh) -> dict[str, Any]:
    return {"area_mm2": mesh.area_mm2}


def plan(stages: Stages, *, thickness_mm: float) -> float:
    sound = stages.run("master", master, BALL)
    grown = stages.run("skin", skin, sound, thickness_mm=thickness_mm)
    stages.run("coats", coats, sound)
    return stages.run("shell", shell, grown)


@pytest.fixture(params=["memory", "disc"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> MemoryStore | DiskStore:
    return MemoryStore() if request.param == "memory" else DiskStore(tmp_path)


def test_a_changed_skin_thickness_reruns_only_what_depends_on_it(
    store: MemoryStore | DiskStore,
) -> None:
    first = Stages(store)
    plan(first, thickness_mm=8.0)
    assert first.ran == ["master", "skin", "coats", "shell"]

    again = Stages(store)
    plan(again, thickness_mm=8.0)
    assert again.ran == [] and again.found == ["master", "skin", "coats", "shell"]

    thicker = Stages(store)
    assert plan(thicker, thickness_mm=10.0) == pytest.approx(100 * BALL.area_mm2)
    assert thicker.ran == ["skin", "shell"]
    assert thicker.found == ["master", "coats"]


def test_a_changed_program_or_version_returns_nothing_stale() -> None:
    store = MemoryStore(program="as it was")
    stages = Stages(store)
    stages.run("shell", shell, BALL)
    stages.run("shell", shell, BALL, version=2)
    store.program = "as it is"
    stages.run("shell", shell, BALL)
    assert stages.ran == ["shell"] * 3 and stages.found == []


def test_a_stage_value_goes_by_its_key_and_a_plain_value_by_its_content() -> None:
    stages = Stages(MemoryStore())
    made = stages.run("skin", skin, BALL, thickness_mm=3.0)
    assert stages.id_of(made) == stages.key("skin", BALL, thickness_mm=3.0)
    copy = Mesh(made.vertices_mm, made.faces)
    assert stages.id_of(copy) == stages.store.value_id(copy) != stages.id_of(made)


def test_a_small_value_is_never_taken_for_a_stages_own() -> None:
    """``True`` out of a stage is the same object as any other ``True``."""
    stages = Stages(MemoryStore())
    closed = stages.run("closed", lambda mesh: True, BALL)
    assert stages.id_of(closed) == stages.store.value_id(True)


def test_the_order_of_options_is_nothing_and_of_inputs_something() -> None:
    stages = Stages(MemoryStore())
    assert stages.key("s", 1, 2, a=1, b=2) == stages.key("s", 1, 2, b=2, a=1)
    assert stages.key("s", 1, 2) != stages.key("s", 2, 1)
    assert stages.key("s", a=1) != stages.key("s", a=1.5)
    assert stages.key("s", np.zeros(3)) != stages.key("s", np.zeros((3, 1)))


def test_progress_goes_to_a_function_that_asks_and_never_into_the_key() -> None:
    seen: list[tuple[str, float]] = []

    def sweep(mesh: Mesh, *, progress: Progress = quiet) -> int:
        progress("sweep", 0.5)
        return 1

    stages = Stages(MemoryStore(), lambda what, share: seen.append((what, share)))
    stages.run("sweep", sweep, BALL, span=(0.2, 0.6))
    assert seen == [("sweep", 0.2), ("sweep", pytest.approx(0.4)), ("sweep", pytest.approx(0.6))]
    stages.run("sweep", sweep, BALL, progress=quiet)
    assert stages.found == ["sweep"]


def test_an_option_that_cannot_be_kept_is_a_fault_told_by_type() -> None:
    with pytest.raises(TypeError, match="cannot be kept"):
        Stages(MemoryStore()).run("skin", skin, BALL, thickness_mm={8.0})
