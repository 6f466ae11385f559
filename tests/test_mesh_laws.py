"""Laws of checking and mending under mutations: counts add up, order and place change nothing."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import menagerie as m
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh, joined

BALL = m.ball(rings=16)
FACES = len(BALL.faces)
POLE = set(np.flatnonzero((BALL.faces == 0).any(axis=1)).tolist())


def apart(faces: list[int]) -> list[int]:
    """Those of the faces that share no corner with one before, nor with a pole."""
    used: set[int] = {0, len(BALL.vertices_mm) - 1}
    chosen = []
    for face in faces:
        corners = set(BALL.faces[face].tolist())
        if not corners & used:
            chosen.append(face)
            for other in np.flatnonzero(np.isin(BALL.faces, list(corners)).any(axis=1)):
                used |= set(BALL.faces[other].tolist())
    return chosen


@st.composite
def mutations(draw: st.DrawFn) -> tuple[Mesh, dict[str, int]]:
    """A ball with defects of several kinds in places apart, and how many of each."""
    order = apart(draw(st.permutations(range(0, FACES, 7))))
    counts = [draw(st.integers(0, 3)) for _ in range(3)]
    turned, twice, missing = (order[sum(counts[:k]) : sum(counts[: k + 1])] for k in range(3))
    scraps = draw(st.integers(0, 2))
    mesh = m.with_turned(BALL, *turned) if turned else BALL
    faces = mesh.faces
    if twice:
        faces = np.concatenate([faces, faces[twice]])
    keep = np.ones(len(faces), dtype=bool)
    keep[missing] = False
    mesh = Mesh(mesh.vertices_mm, faces[keep])
    mesh = joined([mesh, *(m.scrap(at=(100.0 + 30 * k, 0, 0)) for k in range(scraps))])
    planted = {
        "wrong winding": len(turned),
        "duplicate face": len(twice),
        "small hole": len(missing),
        "loose bit": scraps,
    }
    return mesh, {kind: count for kind, count in planted.items() if count}


def kinds(mesh: Mesh) -> dict[str, int]:
    return {found.kind: found.count for found in find_defects(mesh)}


@settings(max_examples=40, deadline=None, derandomize=True)
@given(mutations())
def test_found_is_planted_and_mending_takes_it_all_away(case: tuple[Mesh, dict[str, int]]) -> None:
    mesh, planted = case
    assert kinds(mesh) == planted
    mended = mend(mesh)
    assert mended.findings_left == ()
    assert mended.mesh.volume_mm3 == pytest.approx(BALL.volume_mm3, rel=1e-9)
    again = mend(mended.mesh)
    assert again.changed == {} and again.mesh is mended.mesh


@lru_cache
def broken() -> Mesh:
    """Something of everything: holes, turned faces, repeats, scraps, a crossing, overlaps."""
    ball = m.with_repeated(m.with_turned(m.without(m.ball(), 700), 200), 8)
    return joined([ball, m.scrap(), m.box(at=(40, -20, -20)), m.ball(radius_mm=10)])


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_faces_and_vertices_changes_nothing(seed: int) -> None:
    mesh = broken()
    rng = np.random.default_rng(seed)
    order, names = rng.permutation(len(mesh.faces)), rng.permutation(len(mesh.vertices_mm))
    back = np.empty(len(names), dtype=np.int64)
    back[names] = np.arange(len(names))
    turn = rng.integers(0, 3, len(order))
    faces = back[mesh.faces[order]]
    faces = np.take_along_axis(faces, (np.arange(3) + turn[:, None]) % 3, axis=1)
    shuffled = Mesh(mesh.vertices_mm[names], faces)
    assert kinds(shuffled) == kinds(mesh)
    one, other = mend(mesh), mend(shuffled)
    assert one.changed == other.changed
    assert one.mesh.volume_mm3 == pytest.approx(other.mesh.volume_mm3, rel=1e-9)


@pytest.mark.parametrize("matrix", [m.turning(41, (3, 1, 2), (5, -60, 700)), np.diag([2, 2, 2, 1])])
def test_turning_shifting_and_scaling_change_places_and_sizes_only(matrix: np.ndarray) -> None:
    mesh = broken()
    # what is small, thin or near is judged in millimetres, so the scale keeps within that
    moved = mesh.moved(matrix)
    assert kinds(moved) == kinds(mesh)
    one, other = mend(mesh), mend(moved)
    assert one.changed == other.changed
    factor = np.linalg.det(np.asarray(matrix)[:3, :3])
    assert other.mesh.volume_mm3 == pytest.approx(factor * one.mesh.volume_mm3, rel=1e-6)
