"""Measures against closed forms and libraries; unit and inside width against body data."""

from __future__ import annotations

import re

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.measure import flat_warning, inside_spans_mm, inside_width_warning, measure
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import UnknownUnit
from firstpull.core.mesh.unit import choose_unit


def scaled(mesh: Mesh, factor: float) -> Mesh:
    return mesh.moved(np.diag([factor, factor, factor, 1.0]))


def test_a_box_measures_as_a_box() -> None:
    found = measure(m.box(size_mm=(60, 50, 40), at=(7, 8, 9)))
    assert found.volume_cm3 == pytest.approx(120.0)
    assert found.area_cm2 == pytest.approx(2 * (30 + 24 + 20))
    assert found.extents_mm == pytest.approx((60, 50, 40))
    assert found.centre_of_mass_mm == pytest.approx((37, 33, 29))
    assert found.closed and found.triangles == 12


def test_measures_agree_with_trimesh_and_libigl() -> None:
    trimesh, igl = pytest.importorskip("trimesh"), pytest.importorskip("igl")
    for mesh in (m.ball(at=(9, 3, -4)), mend(m.dome(rings=12)).mesh, m.hourglass()):
        found = measure(mesh)
        other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
        assert found.volume_cm3 == pytest.approx(other.volume / 1000)
        assert found.area_cm2 == pytest.approx(other.area / 100)
        assert found.centre_of_mass_mm == pytest.approx(tuple(other.center_mass), abs=1e-9)
        doubled = igl.doublearea(np.array(mesh.vertices_mm), np.array(mesh.faces, dtype=np.int64))
        assert found.area_cm2 == pytest.approx(doubled.sum() / 200)


def test_an_open_mesh_has_no_volume_and_its_surface_has_a_centre() -> None:
    found = measure(m.dome(radius_mm=80, rings=80))
    assert found.volume_cm3 is None and not found.closed
    # centroid of a half sphere's surface: R / 2; chords of 80 rings are short by (pi/320)^2
    assert found.centre_of_mass_mm[2] == pytest.approx(40.0, rel=2e-4)


@pytest.mark.parametrize(
    ("longest", "declared", "unit"),
    [
        (212, None, "mm"),
        (60, None, "mm"),
        (0.212, None, "m"),
        (0.05, None, "m"),
        (0.6, None, "m"),
        (21.2, None, "cm"),
        (9.5, None, "in"),
        (0.212, "m", "m"),
        (212, "m", "mm"),  # a scene format that says metres, filled with millimetres
        (0.212, "mm", "m"),  # the metre-for-millimetre mistake
        (8.4, "in", "in"),
    ],
)
def test_the_unit_is_what_makes_a_part(longest: float, declared: str | None, unit: str) -> None:
    mesh = scaled(m.box(size_mm=(1, 0.8, 0.5)), longest)
    choice = choose_unit(mesh, declared=declared)
    assert choice.unit == unit
    assert bool(choice.warnings) == (unit != (declared or "mm"))
    assert choice.why.endswith(".")


def test_what_is_asked_for_wins_and_odd_sizes_are_said() -> None:
    mesh = scaled(m.box(size_mm=(1, 0.8, 0.5)), 0.212)
    choice = choose_unit(mesh, asked="mm", declared="m")
    assert choice.unit == "mm" and len(choice.warnings) == 2
    with pytest.raises(UnknownUnit, match="mm, cm, in or m"):
        choose_unit(mesh, asked="furlong")


def test_no_unit_makes_sense_of_an_enormous_part() -> None:
    choice = choose_unit(scaled(m.box(size_mm=(1, 1, 1)), 5e5))
    assert choice.unit == "mm"
    assert "larger than a person" in choice.warnings[0]


def test_the_inside_of_a_box_is_measured_between_its_walls() -> None:
    walls = joined(
        [m.box(size_mm=(200, 180, 160)), m.box(size_mm=(194, 174, 154), at=(3, 3, 3)).flipped()]
    )
    assert inside_spans_mm(walls) == pytest.approx((194, 174, 154), abs=1e-2)
    assert inside_width_warning(walls) is None


def test_an_inside_smaller_than_a_small_head_is_warned_of() -> None:
    """ANSUR II (Natick TR-15/007): head breadth of women, 5th percentile, 140 mm."""
    small = mend(m.dome(radius_mm=60.0), wall_mm=3.0).mesh
    roomy = mend(m.dome(radius_mm=80.0), wall_mm=3.0).mesh
    # 114 mm across at the rim; the points looked from stand one row, 57/20 mm, above it
    found = re.search(r"(\d+) mm at its widest", str(inside_width_warning(small)))
    assert found and 110 <= int(found[1]) <= 114
    assert inside_width_warning(roomy) is None


def test_a_flat_sheet_is_warned_of() -> None:
    flat = m.box(size_mm=(200, 150, 0.5))
    assert "less than 1 mm high: a flat sheet" in str(flat_warning(flat))
    assert flat_warning(flat, factor_to_mm=25.4) is None
    assert flat_warning(m.box(size_mm=(200, 150, 2))) is None


def test_a_solid_has_no_inside_to_warn_of() -> None:
    assert inside_width_warning(m.ball(radius_mm=50)) is None
