"""The broken demo: what was planted is found, and mended with a bound on what moved."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from firstpull.core.demo.broken import BrokenDemo, broken_heron
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.crossings import crosses_itself
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.compare import compare
from firstpull.core.mesh.topology import is_closed
from firstpull.core.mesh.unit import choose_unit


@lru_cache
def broken() -> BrokenDemo:
    return broken_heron()


@lru_cache
def in_mm() -> Mesh:
    demo = broken()
    factor = choose_unit(demo.mesh).factor_to_mm
    return demo.mesh.moved(np.diag([factor, factor, factor, 1.0]))


@lru_cache
def mended() -> Mended:
    return mend(in_mm())


def test_it_was_saved_in_metres_and_that_is_noticed() -> None:
    choice = choose_unit(broken().mesh)
    assert choice.unit == "m" and choice.warnings
    assert {f.kind for f in find_defects(broken().mesh)} >= {"unlikely size"}


def test_what_was_planted_is_found_in_its_number_and_nothing_else() -> None:
    found = {f.kind: f for f in find_defects(in_mm())}
    planted = dict(broken().planted)
    assert planted.pop("thin wall") is None  # told of the mended mesh: it needs a solid
    for kind, count in planted.items():
        assert kind in found, kind
        assert count is None or found[kind].count == count, kind
    # that there are several parts follows from the rivets
    assert found.keys() - planted.keys() <= {"separate parts"}


def test_each_was_found_where_it_was_planted() -> None:
    found = {f.kind: np.array(f.places_mm) for f in find_defects(in_mm())}
    for kind in (
        "small hole",
        "needle",
        "wrong winding",
        "loose bit",
        "inside out",
        "self-crossing",
    ):
        for place in broken().places_mm[kind]:
            away = np.linalg.norm(found[kind] - place, axis=1).min()
            assert away < 6.0, (kind, place)


def test_mending_leaves_one_solid_and_names_what_it_did() -> None:
    done = mended()
    assert is_closed(done.mesh) and not crosses_itself(done.mesh)
    assert not any(f.blocks for f in done.findings_left)
    planted = broken().planted
    for name, kind in (
        ("degenerate_faces_dropped", "degenerate face"),
        ("duplicate_faces_dropped", "duplicate face"),
        ("faces_turned", "wrong winding"),
        ("loose_bits_dropped", "loose bit"),
        ("holes_closed", "small hole"),
        ("bodies_turned", "inside out"),
        ("vertices_merged", "unmerged vertices"),
    ):
        assert done.changed[name] == planted[kind], name
    assert done.changed["bodies_united"] == 5  # the mask, three rivets, the ball in one
    assert "rebuilt_at_step_mm" not in done.changed
    (thin,) = [f for f in done.findings_left if f.kind == "thin wall"]
    worn = broken().places_mm["thin wall"][0]
    assert np.linalg.norm(np.array(thin.places_mm) - worn, axis=1).min() < 8.0


def test_the_mended_surface_lies_on_what_arrived_but_at_the_lids() -> None:
    done = mended()
    assert done.kept is not None
    found = compare(done.kept, done.mesh)
    places = [p for kind in ("small hole", "self-crossing") for p in broken().places_mm[kind]]
    places.append(broken().places_mm["edge of more than two faces"][0])
    for patch in found.differences:
        if patch.side == "new":
            assert min(np.linalg.norm(np.array(patch.place_mm) - p) for p in places) < 9.0
    assert found.there.most_mm < 2.0
    assert found.same_share > 0.995


def test_an_independent_kernel_finds_no_crossing() -> None:
    igl = pytest.importorskip("igl.copyleft.cgal")
    trimesh = pytest.importorskip("trimesh")
    mesh = mended().mesh
    answer = igl.remesh_self_intersections(
        np.array(mesh.vertices_mm), mesh.faces.astype(np.int64), detect_only=True, first_only=True
    )
    assert len(next(a for a in answer if np.ndim(a) == 2 and a.shape[1] == 2)) == 0
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert other.is_watertight and other.is_winding_consistent
    assert other.volume == pytest.approx(mesh.volume_mm3)
