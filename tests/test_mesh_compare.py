"""Revisions laid on each other: planted changes are found where they were planted."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
import shapes
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.revision.align import aligned
from firstpull.core.mesh.revision.compare import compare


def with_bump(mesh: Mesh, at: np.ndarray, *, high_mm: float, wide_mm: float) -> Mesh:
    """A smooth bump along the normal of the nearest vertex."""
    away = np.linalg.norm(mesh.vertices_mm - at, axis=1)
    normal = at / np.linalg.norm(at)
    rise = high_mm * np.clip(1 - (away / wide_mm) ** 2, 0, None) ** 2
    return Mesh(mesh.vertices_mm + rise[:, None] * normal, mesh.faces)


def test_a_part_is_the_same_as_itself() -> None:
    for mesh in (m.ball(), m.dome()):
        found = compare(mesh, m.divided(mesh, 1))
        assert found.differences == () and found.same_share == 1.0
        assert found.there.most_mm < 1e-9 and found.back.most_mm < 1e-9
        assert "everywhere" in found.sentence


@pytest.mark.parametrize("high", [0.8, -0.5])
def test_a_bump_is_found_with_its_place_height_and_sign(high: float) -> None:
    ball = m.ball(rings=80)
    at = ball.vertices_mm[1 + 40 * 160 + 7]
    new = with_bump(ball, at, high_mm=high, wide_mm=12.0)
    found = compare(ball, new)
    first = next(d for d in found.differences if d.side == "new")
    assert first.most_mm == pytest.approx(high, rel=0.02)
    assert first.place_mm == pytest.approx(tuple(at + high * at / np.linalg.norm(at)), abs=1e-6)
    assert found.there.least_mm <= abs(high) + 1e-9 <= found.there.most_mm + 0.02
    # the bump is 0.05 mm high out to where (1 - x^2)^2 = 0.05 / |high|
    edge = 12.0 * np.sqrt(1 - np.sqrt(0.05 / abs(high)))
    step = np.pi * 60 / 80
    low, top = np.pi * (edge - step) ** 2, np.pi * (edge + 1.5 * step) ** 2
    assert low <= first.area_mm2 <= top
    # the bump's own volume: the integral of h (1 - r^2 / w^2)^2 is pi w^2 h / 3
    assert found.volume_mm3 == pytest.approx(np.pi * 144 * high / 3, rel=0.05)
    assert ("higher" if high > 0 else "lower") in found.sentence
    # the same bump as the old surface sees it is no second change
    assert len(found.changes) == 1 and len(found.differences) == 2
    assert "except in 1 place;" in found.sentence


def test_what_is_gone_without_anything_new_in_its_place_is_a_change() -> None:
    ball, knob = m.ball(), m.ball(radius_mm=12, at=(0, 0, 90))
    found = compare(joined([ball, knob]), ball)
    (gone,) = found.changes
    assert gone.side == "old" and gone.area_mm2 == pytest.approx(knob.area_mm2)


def test_the_other_side_of_a_wall_is_not_taken_for_the_same_by_sign() -> None:
    slab = m.divided(m.box(size_mm=(60, 50, 3)), 3)
    lower = Mesh(slab.vertices_mm - np.array([0, 0, 1.0]), slab.faces)
    found = compare(slab, lower)
    top = slab.vertices_mm[:, 2] == 3
    inner = (np.abs(slab.vertices_mm - [30, 25, 0]) < [25, 20, 9]).all(axis=1)
    assert found.new_mm[top & inner] == pytest.approx(-1.0)
    assert found.new_mm[~top & inner] == pytest.approx(1.0)


@pytest.mark.parametrize("turn", [0.0, 12.0, 170.0])
def test_a_moved_revision_is_laid_back_and_only_the_change_is_left(turn: float) -> None:
    """A skew body without any symmetry, so that one place alone is right."""
    ball = m.ball(rings=40)
    stretch = np.array([1.0, 0.7, 0.5])
    old = Mesh(
        ball.vertices_mm * stretch + 0.15 * np.abs(ball.vertices_mm[:, [1, 2, 0]]), ball.faces
    )
    new = with_bump(old, old.vertices_mm[900], high_mm=1.0, wide_mm=9.0)
    moved = new.moved(m.turning(turn, (1, 2, 0.5), (60 * (turn > 0), -20 * (turn > 0), 8)))
    found = aligned(moved, old)
    back = moved.moved(found.matrix)
    assert np.abs(back.vertices_mm - new.vertices_mm).max() < 1e-3
    assert found.turned_deg == pytest.approx(turn, abs=1e-2)
    once, again = compare(old, new), compare(old, back)
    assert again.differences[0].area_mm2 == pytest.approx(once.differences[0].area_mm2, rel=0.02)
    assert len(again.differences) == len(once.differences)


def test_what_lies_well_is_not_touched() -> None:
    ball = m.ball()
    found = aligned(with_bump(ball, ball.vertices_mm[500], high_mm=2, wide_mm=9), ball)
    assert np.array_equal(found.matrix, np.eye(4)) and found.shifted_mm == 0.0


def test_volume_is_left_out_for_open_surfaces_and_order_changes_nothing() -> None:
    dome = m.dome()
    raised = Mesh(dome.vertices_mm * 1.01, dome.faces)
    found = compare(dome, raised)
    assert found.volume_mm3 is None
    assert found.new_mm[: len(dome.vertices_mm) // 2].min() > 0.5
    order = np.random.default_rng(1).permutation(len(dome.faces))
    other = compare(Mesh(dome.vertices_mm, dome.faces[order]), raised)
    assert other.there.most_mm == pytest.approx(found.there.most_mm, abs=0.011)
    assert len(other.differences) == len(found.differences)


def test_distances_agree_with_a_reference_library() -> None:
    igl = pytest.importorskip("igl")
    one, other = shapes.torus(40, 9, 60), shapes.torus(40, 9.5, 44)
    found = compare(one, other)
    square, _, _ = igl.point_mesh_squared_distance(
        np.array(other.vertices_mm), np.array(one.vertices_mm), one.faces.astype(np.int64)
    )
    assert np.abs(found.new_mm) == pytest.approx(np.sqrt(square), abs=1e-9)
    assert (found.new_mm > 0).all()


@pytest.mark.parametrize("shift", [(6.0, 0, 0), (0, 4.0, 0), (1.0, -2.0, 5.0)])
def test_a_shifted_box_is_laid_back_although_its_ends_are_few(shift: tuple[float, ...]) -> None:
    box = m.divided(m.box(), 3)
    found = aligned(box.moved(m.turning(0, (0, 0, 1), shift)), box)
    assert found.matrix[:3, 3] == pytest.approx(-np.array(shift), abs=1e-3)
