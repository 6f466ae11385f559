"""The checker finds what was planted, where it was planted, and invents nothing."""

from __future__ import annotations

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.check.defects import find_defects
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


def dragged_through(mesh: Mesh, vertex: int, *, by_mm: float) -> Mesh:
    """One vertex pulled inward along its radius."""
    vertices = mesh.vertices_mm.copy()
    vertices[vertex] *= 1.0 - by_mm / np.linalg.norm(vertices[vertex])
    return Mesh(vertices, mesh.faces)


@pytest.mark.parametrize(
    ("mesh", "planted"),
    [
        (joined([m.ball(), m.ball(at=(40, 0, 0))]), {"overlapping bodies": 2, "separate parts": 2}),
        (joined([m.box(), m.box(at=(60, 10, 0))]), {"overlapping bodies": 2, "separate parts": 2}),
        (joined([m.ball(), m.ball(radius_mm=30)]), {"body inside another": 1, "separate parts": 2}),
        (m.hourglass(), {"touching tips": 1, "separate parts": 2}),
        (m.box(size_mm=(60, 50, 0.8)), {"thin wall": 1}),
        (m.box(size_mm=(6, 5, 4)), {"unlikely size": 1}),
        (m.box(size_mm=(6000, 500, 400)), {"unlikely size": 1}),
        (m.box(size_mm=(60, 50, 0.05)), {"thin wall": 1, "needle": 8}),
    ],
)
def test_bodies_walls_and_sizes(mesh: Mesh, planted: dict[str, int]) -> None:
    assert kinds(mesh) == planted


def test_a_surface_pushed_through_itself_is_told_with_its_place_and_count() -> None:
    """A vertex of a thin shell's outside dragged out through its inside."""
    shell = joined([m.ball(rings=40), m.ball(radius_mm=57, rings=40).flipped()])
    mesh = dragged_through(shell, 1 + 20 * 80 + 5, by_mm=5.0)
    (found,) = [f for f in find_defects(mesh) if f.kind == "overlapping bodies"]
    assert found.count == 2  # the outside and the hollow are two surfaces
    one = m.open_box(times=4)
    lid = int(np.argmin(np.linalg.norm(one.vertices_mm - [30, 25, 0], axis=1)))
    vertices = one.vertices_mm.copy()
    vertices[lid] = [30, -9.0, 20.0]  # the floor's middle, out through a side
    (found,) = [f for f in find_defects(Mesh(vertices, one.faces)) if f.kind == "self-crossing"]
    assert found.count >= 1 and found.blocks == ("print", "mould")
    assert np.abs(np.array(found.places_mm)[:, 1]).min() < 5.0
    assert "pass through each other" in found.sentence


def test_a_body_in_a_hollow_is_no_body_inside_another() -> None:
    shell = joined([m.ball(), m.ball(radius_mm=50).flipped()])
    pea = m.ball(radius_mm=20)
    assert "body inside another" not in kinds(joined([shell, pea]))
    assert kinds(joined([m.ball(), pea]))["body inside another"] == 1


def test_halves_with_borders_that_miss_are_told_apart_by_how_they_miss() -> None:
    """The lower half drawn aside by a hair, or cut finer along its border."""
    whole = m.ball()
    upper = whole.face_centres_mm[:, 2] > 0
    top, bottom = whole.with_faces(upper), whole.with_faces(~upper)
    drawn = Mesh(bottom.vertices_mm + np.array([0.02, 0.0, 0.0]), bottom.faces)
    found = kinds(joined([top, drawn]))
    assert found["near vertices"] == 48 and "T-joint" not in found
    finer = m.divided(bottom, 1)
    found = kinds(joined([top, finer]))
    assert found["T-joint"] == 48 and "misaligned edge" not in found


def test_a_limit_of_none_passes_over_thin_walls() -> None:
    thin = m.box(size_mm=(60, 50, 0.8))
    assert find_defects(thin, least_wall_mm=None) == ()
    (found,) = find_defects(thin)
    assert found.blocks == () and found.size_mm == pytest.approx(0.8)
