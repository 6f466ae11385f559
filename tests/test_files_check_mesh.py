"""A check of a file: one answer with unit, findings, mending and what stays in the way."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.mesh import joined
from firstpull.files.refusals import MeshFileMissing
from firstpull.files.write_stl import write_stl
from firstpull.services.check_mesh import check_mesh


def test_a_sound_part_passes(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.box(size_mm=(200, 180, 160)))
    found = check_mesh(tmp_path / "a.stl")
    assert found.findings == () and found.blocks == () and found.warnings == ()
    assert found.unit.unit == "mm"
    assert found.arrived.volume_cm3 == pytest.approx(5760.0)
    assert found.mended and found.mended.changed == {}


def test_an_open_surface_in_metres_is_told_and_mended(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.dome(radius_mm=0.08))
    found = check_mesh(tmp_path / "a.stl", wall_mm=2.0)
    assert found.unit.unit == "m" and "taken as metres" in found.warnings[0]
    assert [finding.kind for finding in found.findings] == ["open edge"]
    assert found.mended and found.mended.changed["wall_given_mm"] == 2.0
    assert found.after and found.after.closed
    assert found.blocks == ()


def test_the_unit_asked_for_and_the_scale_are_applied(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.box(size_mm=(20, 18, 16)))
    found = check_mesh(tmp_path / "a.stl", unit="cm", scale=1.5)
    assert found.arrived.extents_mm == pytest.approx((300, 270, 240))


def test_what_mending_refuses_blocks(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.twisted_strip())
    found = check_mesh(tmp_path / "a.stl")
    assert found.mended is None
    assert len(found.blocks) == 1 and "half twist" in found.blocks[0]


def test_a_small_inside_is_warned_of(tmp_path: Path) -> None:
    walls = joined([m.ball(radius_mm=60), m.ball(radius_mm=56).flipped()])
    write_stl(tmp_path / "a.stl", walls)
    assert any("small adult head" in warning for warning in check_mesh(tmp_path / "a.stl").warnings)


def test_the_answer_is_plain_data(tmp_path: Path) -> None:
    for part in (m.dome(), m.twisted_strip(), joined([m.ball(), m.scrap()])):
        write_stl(tmp_path / "a.stl", part)
        data = check_mesh(tmp_path / "a.stl").as_json()
        again = json.loads(json.dumps(data, allow_nan=False))
        assert {"file", "unit", "measures", "findings", "mending", "blocks"} <= again.keys()
        assert all(np.isfinite(value) for value in again["measures"]["extents_mm"])


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeshFileMissing):
        check_mesh(tmp_path / "gone.stl")
