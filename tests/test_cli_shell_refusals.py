"""Bad input around the shell, as a maker meets it at the command line: one clear sentence.

A mask of known shape, cut from balls by general Booleans (manifold3d), lies in a file of
inches with its open side toward -y, so that places and directions in the file's axes differ
from those on the board.
"""

from __future__ import annotations

import re
from pathlib import Path

import manifold3d
import numpy as np
import pytest
from typer.testing import CliRunner

from firstpull import wiring
from firstpull.cli.app import app
from firstpull.core.mesh.adjacency import face_pairs
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould.show import RimTouchesItself, border_loops
from firstpull.files.write_stl import write_stl
from firstpull.services.plan_job import plan_job
from firstpull.services.plan_types import PlanRequest
from firstpull.services.stages import Stages
from firstpull.store.memory import MemoryStore
from shapes import hemisphere

Solid = manifold3d.Manifold
STORE = MemoryStore()  # shared: the mask is shaped once
RADIUS, LONGER, WALL, INCH = 45.0, 1.3, 3.0, 25.4


def mask(high_mm: float = 0.0) -> Solid:
    """Half a shell of 90 x 117 x 45 mm; a ridge of that height on one side spoils its mirror."""
    made = Solid.sphere(RADIUS, 64) - Solid.sphere(RADIUS - WALL, 64)
    if high_mm:
        bump = Solid.sphere(18.0, 32).translate((22.0, 20.0, 22.0 + high_mm))
        made += bump - Solid.sphere(RADIUS - WALL, 64)
    return made.trim_by_plane((0.0, 0.0, 1.0), 0.0).scale((1.0, LONGER, 1.0))


def in_file(solid: Solid) -> Mesh:
    """Turned so that up is +y, in inches."""
    turn = np.diag([1.0, 1.0, 1.0, 1.0])
    turn[:3, :3] = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]]) / INCH
    return mesh_of(solid).moved(turn)


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    """Plans in this process; gives what the command printed, on one line."""

    def plan(request: PlanRequest, *, progress) -> dict:
        plan_job(request, Stages(STORE, progress), progress, today="2026-01-01")
        raise AssertionError("it was planned")

    monkeypatch.setattr(wiring, "run_plan", plan)

    def run(sheet: str, *options: str, solid: Solid | None = None) -> str:
        write_stl(tmp_path / "mask.stl", in_file(solid if solid is not None else mask()))
        (tmp_path / "job.yaml").write_text("master: {unit: in}\ngrid_mm: 2.0\n" + sheet)
        line = ["plan", str(tmp_path / "mask.stl"), "--sheet", str(tmp_path / "job.yaml")]
        out = ["--out", str(tmp_path / "out"), *options]
        answer = CliRunner().invoke(app, line + out, env={"COLUMNS": "400"})
        assert answer.exit_code == 1, answer.output or answer.exception
        assert not (tmp_path / "out").exists()
        sentence = " ".join(answer.output.split())
        assert len(sentence) < 520 and sentence.endswith(".")
        return sentence

    return run


def place_in(sentence: str) -> np.ndarray:
    found = re.search(r"\((-?[\d.e-]+), (-?[\d.e-]+), (-?[\d.e-]+)\)", sentence)
    assert found, sentence
    return np.array([float(c) for c in found.groups()])


def line_over(*angles_deg: float) -> str:
    """Points on the mask along its middle, z = 0 in the file, in inches."""
    a = np.radians(angles_deg)
    points = RADIUS / INCH * np.stack([np.cos(a), np.sin(a), 0 * a], axis=1)
    return "shell: {walls: [{line: " + str(points.round(4).tolist()) + "}]}"


@pytest.mark.long
def test_a_skin_thicker_than_a_passage_is_warned_of(tmp_path: Path) -> None:
    """Two fins 12 mm apart under a skin of 15 mm: planned, and told where and how thin to go."""
    fin = Solid.cube((5.0, 40.0, 60.0)).translate((6.0, -20.0, 15.0))
    inside = Solid.sphere(RADIUS - WALL, 64).scale((1.0, LONGER, 1.0))
    finned = mask() + (fin + fin.mirror((1.0, 0.0, 0.0)) - inside)
    write_stl(tmp_path / "mask.stl", in_file(finned))
    (tmp_path / "job.yaml").write_text(
        "master: {unit: in, up: [0, 1, 0]}\ngrid_mm: 2.0\nskin: {thickness_mm: 15}\n"
        "shell: {pieces: 1}\n"
    )
    request = PlanRequest(tmp_path / "out", tmp_path / "mask.stl", tmp_path / "job.yaml")
    plan = plan_job(request, Stages(MemoryStore()), today="2026-01-01").plan
    (told,) = [w for w in plan["warnings"] if "shuts a passage" in w]
    assert told.startswith("A skin of 15 mm shuts a passage 1") and "at most" in told
    x, y, z = place_in(told) * INCH
    # midway between the fins, which stand out of the mask from 45 to 75 mm
    assert abs(x) < 2.0 and 45.0 < y < 75.0 and abs(z) < 20.0


def test_up_that_lays_the_show_surface_under_the_board(said) -> None:
    sentence = said("", "--up", "0,-2,0")
    assert sentence.startswith("Up (0, -1, 0) turns the open side of the hollow")
    assert "under it" in sentence and "Give --up 0,1,0" in sentence


def test_a_build_box_smaller_than_any_flange(said) -> None:
    sentence = said("shop: {build_box_mm: [40, 200, 200]}")
    assert "shop.build_box_mm is [40, 200, 200]" in sentence and "80 to 3000 mm" in sentence


def test_a_drawn_line_that_ends_on_the_top(said) -> None:
    sentence = said(line_over(0, 20, 45, 70, 90))
    assert sentence.startswith("The line of shell.walls, number 1, near")
    assert "so it does not close" in sentence and "down to the rim" in sentence
    np.testing.assert_allclose(place_in(sentence), [0, RADIUS / INCH, 0], atol=2e-3)


def test_a_drawn_line_that_runs_around(said) -> None:
    turn = np.radians([0, 72, 144, 216, 288, 359])
    ring = 30.0 / INCH * np.stack([np.cos(turn), 0 * turn, LONGER * np.sin(turn)], axis=1)
    ring[:, 1] = np.sqrt(RADIUS**2 - 30.0**2) / INCH
    sentence = said("shell: {walls: [{line: " + str(ring.round(4).tolist()) + "}]}")
    assert "closes on itself there" in sentence and "from the rim over the body" in sentence
    np.testing.assert_allclose(place_in(sentence), ring[0], atol=2e-3)


def test_locked_pulls_that_do_not_fit_are_told_by_their_number(said) -> None:
    walls = "walls: [{through: [0, 0, 0], facing: [1, 0, 0]}]"
    into = said(f"shell: {{{walls}, pulls: [[-0.8, 0.6, 0], [0.8, 0.6, 0]]}}")
    # asin 0.8 is 53 degrees
    assert "shell.pulls, number 1) runs 53 degrees into a parting wall of its piece" in into
    assert "order of the pieces" in into
    down = said("shell: {pulls: [[0.8, 0.6, 0], [-0.8, -0.6, 0]]}")
    # asin 0.6 is 37 degrees
    assert "shell.pulls, number 2, leads 37 degrees down into the board" in down
    count = said("shell: {pieces: 3, pulls: [[0.8, 0.6, 0], [-0.8, 0.6, 0]]}")
    assert "has 2 pulls for pieces: 3" in count


def test_symmetric_partings_of_what_has_no_mirror(said) -> None:
    sentence = said("shell: {symmetric: true}", solid=mask(24.0))
    assert sentence.startswith("shell.symmetric is asked for")
    assert "mirror image in any upright plane" in sentence and "Leave shell.symmetric" in sentence


def test_fixed_walls_that_part_nothing_or_lie_flat(said) -> None:
    off = said("shell: {walls: [{through: [20, 0, 0], facing: [1, 0, 0]}]}")
    assert off.startswith("shell.walls, number 1, misses the skin")
    flat = said("shell: {walls: [{through: [0, 1, 0], facing: [0, 1, 0]}]}")
    assert "leans 90 degrees from upright" in flat and "shell.walls, number 1" in flat


def test_a_fixed_wall_that_leaves_no_way_off(said) -> None:
    """A tooth 1.2 in out on 0.16 in each way: its sides face atan(7.5) = 82 degrees off, both."""
    bend = "bend: [[0, 0, -1], [0, 0, -0.16], [1.2, 0, 0], [0, 0, 0.16], [0, 0, 1]]"
    walls = f"walls: [{{through: [0, 0, 0], facing: [1, 0, 0], {bend}}}]"
    sentence = said(f"shell: {{draft_deg: 10, {walls}}}")
    assert sentence.startswith("shell.walls, number 1, turns by 165 degrees along its way")
    assert "no way off" in sentence and "10 degrees or more" in sentence


def test_areas_kept_whole_that_leave_no_wall(said) -> None:
    dabs = "[{at: [0, 1.77, 0], radius_mm: 4}, {at: [0, 1.77, 0], radius_mm: 60}]"
    sentence = said(f"shell: {{pieces: 2, keep_whole: {dabs}}}")
    assert "no place for a parting wall where shell.pieces asks for 2" in sentence
    assert "number 2 alone, 60 mm in radius" in sentence and "one piece" in sentence


def test_a_rim_that_passes_a_place_twice_is_named() -> None:
    """Two fans of faces that meet in one vertex alone: their border passes it twice."""
    dome = hemisphere(40.0, 24)
    pairs = face_pairs(dome)
    ring = np.bincount(dome.faces.ravel())
    vertex = int(np.flatnonzero((ring == 6) & (dome.vertices_mm[:, 2] > 5.0))[0])
    around = np.flatnonzero((dome.faces == vertex).any(axis=1))
    faces = np.zeros(len(dome.faces), dtype=bool)
    first = around[0]
    meets = [
        int(b if a == first else a)
        for a, b in zip(pairs.a, pairs.b, strict=True)
        if first in (a, b)
    ]
    across = [
        f
        for f in around
        if f != first and f not in meets and len({*dome.faces[f]} & {*dome.faces[first]}) == 1
    ]
    faces[[first, across[0]]] = True
    with pytest.raises(RimTouchesItself, match="touches itself near") as refusal:
        border_loops(dome, pairs, faces)
    np.testing.assert_allclose(refusal.value.place_mm, dome.vertices_mm[vertex])
    assert "wall's width" in str(refusal.value)
