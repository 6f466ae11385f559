"""The checker finds what was planted, where it was planted, and invents nothing."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.defects import find_defects
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import BadCoordinates, NoArea, NoTriangles
from firstpull.core.mesh.topology import components, edge_table, is_closed, open_loops


def kinds(mesh: Mesh) -> dict[str, int]:
    return {finding.kind: finding.count for finding in find_defects(mesh)}


def test_sound_solids_have_no_findings() -> None:
    for mesh in (m.ball(), m.box(), m.divided(m.box(), 2)):
        assert kinds(mesh) == {}


@pytest.mark.parametrize(
    ("mesh", "planted"),
    [
        (m.dome(), {"open edge": 1}),
        (m.open_box(), {"open edge": 1}),
        (m.without(m.ball(), 700), {"small hole": 1}),
        (m.with_turned(m.ball(), 5, 200, 900), {"wrong winding": 3}),
        (m.ball().flipped(), {"inside out": 1}),
        (m.with_repeated(m.ball(), 7, 8), {"duplicate face": 2}),
        (m.with_collapsed(m.ball()), {"degenerate face": 3}),
        (joined([m.ball(), m.scrap()]), {"loose bit": 1}),
        (joined([m.ball(), m.ball(radius_mm=1, at=(90, 0, 0))]), {"loose bit": 1}),
        (joined([m.ball(), m.ball(at=(200, 0, 0))]), {"separate parts": 2}),
        (m.with_inner_wall(), {"edge of more than two faces": 48}),
        (m.touching_boxes(), {"edge of more than two faces": 1}),
    ],
)
def test_what_was_planted_is_found_and_nothing_else(mesh: Mesh, planted: dict[str, int]) -> None:
    assert kinds(mesh) == planted


def test_a_hollow_that_looks_inward_is_right_and_a_whole_turned_over_is_not() -> None:
    hollow = joined([m.ball(), m.ball(radius_mm=50).flipped()])
    assert kinds(hollow) == {"separate parts": 2}
    assert kinds(hollow.flipped())["inside out"] == 1


def test_places_lie_where_the_defect_was_planted() -> None:
    whole = m.ball()
    hole = whole.face_centres_mm[700]
    (finding,) = find_defects(m.without(whole, 700))
    assert np.allclose(finding.places_mm[0], hole, atol=1e-9)
    sides = whole.corners_mm[700] - np.roll(whole.corners_mm[700], 1, axis=0)
    assert finding.size_mm == pytest.approx(np.linalg.norm(sides, axis=1).sum())
    assert finding.blocks == ("print", "mould")


def test_triangles_stored_one_by_one_are_unmerged_not_all_holes() -> None:
    whole = m.ball()
    assert kinds(m.soup(whole)) == {
        "unmerged vertices": 3 * len(whole.faces) - len(whole.vertices_mm)
    }


def test_a_part_exported_twice_is_told_although_each_copy_is_closed() -> None:
    assert kinds(joined([m.ball(), m.ball()]))["duplicate face"] == len(m.ball().faces)


def test_a_strip_with_a_half_twist_is_one_sided() -> None:
    found = kinds(m.twisted_strip())
    assert found.keys() == {"one-sided surface", "open edge"}


def test_no_surface_is_refused_by_name() -> None:
    with pytest.raises(NoTriangles):
        find_defects(Mesh(np.zeros((3, 3)), np.zeros((0, 3))))
    with pytest.raises(NoArea, match="no area"):
        find_defects(m.box().moved(np.diag([1.0, 0.0, 0.0, 1.0])))
    bad = m.box().vertices_mm.copy()
    bad[3, 1] = np.nan
    with pytest.raises(BadCoordinates, match="no number"):
        find_defects(Mesh(bad, m.box().faces))


@pytest.mark.parametrize("name", ["dome", "open_box", "with_inner_wall", "hourglass"])
def test_turning_and_shifting_changes_places_only(name: str) -> None:
    mesh = getattr(m, name)()
    moved = mesh.moved(m.turning(37, (1, 2, 3), (40, -9, 300)))
    for before, after in zip(find_defects(mesh), find_defects(moved), strict=True):
        assert (before.kind, before.count) == (after.kind, after.count)
        assert after.size_mm == pytest.approx(before.size_mm)


def test_closed_agrees_with_trimesh_on_the_menagerie() -> None:
    trimesh = pytest.importorskip("trimesh")
    for mesh in (m.ball(), m.dome(), m.open_box(), m.box(), m.with_turned(m.ball(), 3)):
        other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
        expected = other.is_watertight and other.is_winding_consistent
        assert is_closed(mesh) == expected


def test_edges_loops_and_parts_agree_with_libigl() -> None:
    igl = pytest.importorskip("igl")
    for mesh in (m.dome(), m.open_box(), joined([m.ball(), m.dome()]), m.hourglass()):
        faces = np.array(mesh.faces, dtype=np.int64)
        assert len(edge_table(mesh).ends) == len(igl.edges(faces))
        loops = igl.boundary_loop_all(faces) if hasattr(igl, "boundary_loop_all") else None
        if loops is not None:
            assert sorted(map(len, open_loops(mesh))) == sorted(map(len, loops))
        by_edges = igl.facet_components(faces)
        names = np.asarray(by_edges[1] if isinstance(by_edges, tuple) else by_edges)
        ours = components(mesh)
        assert len(np.unique(ours)) == len(np.unique(names))
        assert len(np.unique(np.stack([ours, names], axis=1), axis=0)) == len(np.unique(ours))


def test_loops_are_ordered_cycles_along_open_edges() -> None:
    mesh = m.dome(rings=10)
    (loop,) = open_loops(mesh)
    walked = {(int(a), int(b)) for a, b in zip(loop, np.roll(loop, -1), strict=True)}
    faces = mesh.faces
    sides = {(int(a), int(b)) for a, b in faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)}
    assert walked == {(a, b) for a, b in sides if (b, a) not in sides}


def test_two_rims_that_touch_in_a_point_stay_two_loops() -> None:
    a = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0], [-9, 0, 0], [0, -9, 0]], [[0, 1, 2], [0, 3, 4]])
    assert sorted(sorted(loop.tolist()) for loop in open_loops(a)) == [[0, 1, 2], [0, 3, 4]]
