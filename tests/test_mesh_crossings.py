"""Faces through and on each other: all that are there, none that are not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import menagerie as m
from firstpull.core.mesh.crossings import crosses_itself, find_crossings
from firstpull.core.mesh.mesh import Mesh, joined

RNG = np.random.default_rng(3)
CASES = {
    "ball": m.ball(),
    "two balls": joined([m.ball(), m.ball(at=(40, 3, 2))]),
    "boxes with faces in one plane": joined([m.box(), m.box(at=(30, 25, 0))]),
    "finer boxes": joined([m.divided(m.box(), 2), m.divided(m.box(at=(30, 20, 10)), 2)]),
    "boxes side by side": joined([m.box(), m.box(at=(60, 10, 0))]),
    "soup": Mesh(RNG.random((300, 3)), RNG.permutation(300).reshape(-1, 3)),
    "soup on a lattice": Mesh(RNG.integers(0, 4, (60, 3)), RNG.integers(0, 60, (60, 3))),
    "inner wall": m.with_inner_wall(),
    "strip": m.twisted_strip(),
    "hourglass": m.hourglass(),
}


def pairs(mesh: Mesh) -> set[tuple[int, int]]:
    found = find_crossings(mesh)
    return set(zip(found.a.tolist(), found.b.tolist(), strict=True))


def reference_pairs(mesh: Mesh) -> set[tuple[int, int]]:
    """By the exact kernel of CGAL, through libigl; corners at one place merged first."""
    igl = pytest.importorskip("igl.copyleft.cgal")
    from firstpull.core.mesh.weld import equal_points

    first, place = equal_points(mesh.vertices_mm)
    answer = igl.remesh_self_intersections(
        np.array(mesh.vertices_mm[first]),
        place[mesh.faces].astype(np.int64),
        detect_only=True,
        first_only=False,
    )
    found = next(a for a in answer if np.ndim(a) == 2 and a.shape[1] == 2)
    return {(min(a, b), max(a, b)) for a, b in np.asarray(found).tolist()}


def without_lines(mesh: Mesh) -> Mesh:
    """Without faces of no area and repeated ones, about which the two may differ."""
    faces = np.sort(mesh.faces, axis=1)
    _, first = np.unique(faces, axis=0, return_index=True)
    keep = np.zeros(len(faces), dtype=bool)
    keep[first] = True
    return Mesh(mesh.vertices_mm, mesh.faces[keep & (mesh.face_areas_mm2 > 0)])


@pytest.mark.parametrize("name", CASES)
def test_the_same_pairs_as_an_exact_kernel(name: str) -> None:
    mesh = without_lines(CASES[name])
    assert pairs(mesh) == reference_pairs(mesh)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(*[st.integers(0, 3)] * 3), min_size=5, max_size=9, unique=True),
    st.lists(st.permutations(range(5)), min_size=2, max_size=6),
)
def test_the_same_pairs_on_a_lattice_full_of_degeneracies(points, corners) -> None:
    mesh = without_lines(Mesh(points, [c[:3] for c in corners]))
    if len(mesh.faces):
        assert pairs(mesh) == reference_pairs(mesh)


def test_what_is_planted_is_found_where_it_was_planted() -> None:
    """A needle through a ball's skin crosses the two faces it was aimed at."""
    whole = m.ball()
    for face in (5, 700, 1500):
        centre, normal = whole.face_centres_mm[face], whole.face_normals[face]
        side = np.cross(normal, [0.3, 0.5, 0.8])
        side /= np.linalg.norm(side)
        needle = Mesh(
            [centre - 2 * normal, centre + 2 * normal, centre + normal * 2 + 0.01 * side],
            [[0, 1, 2]],
        )
        found = find_crossings(joined([whole, needle]))
        assert found.a.tolist() == [face] and found.b.tolist() == [len(whole.faces)]
        assert found.through.all()
        assert np.linalg.norm(found.places_mm - centre, axis=1).max() < 5.0


@pytest.mark.parametrize("name", ["two balls", "finer boxes", "soup"])
def test_order_turn_and_shift_change_nothing_but_numbers(name: str) -> None:
    mesh = CASES[name]
    order = RNG.permutation(len(mesh.faces))
    shuffled = Mesh(mesh.vertices_mm, np.roll(mesh.faces[order], 1, axis=1))
    back = {tuple(sorted((int(order[a]), int(order[b])))) for a, b in pairs(shuffled)}
    assert back == pairs(mesh)
    # a shift by whole numbers and a swap of axes lose nothing, so nothing may change
    swapped = Mesh(mesh.vertices_mm[:, [1, 2, 0]] * 2.0, mesh.faces)
    assert pairs(swapped) == pairs(mesh)


def test_bodies_that_share_only_a_place_do_not_cross() -> None:
    assert not crosses_itself(m.touching_boxes())
    assert not crosses_itself(joined([m.box(), m.box(at=(60, 50, 40))]))
    assert crosses_itself(joined([m.box(), m.box(at=(60, 10, 0))]))


def test_a_face_folded_onto_its_neighbour_is_found() -> None:
    folded = Mesh([[0, 0, 0], [9, 0, 0], [4, 5, 0], [5, 4, 0]], [[0, 1, 2], [1, 0, 3]])
    found = find_crossings(folded)
    assert pairs(folded) == {(0, 1)} and not found.through.any()
    flat = Mesh([[0, 0, 0], [9, 0, 0], [4, 5, 0], [5, -4, 0]], [[0, 1, 2], [1, 0, 3]])
    assert not crosses_itself(flat)
