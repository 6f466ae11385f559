"""Services around a mesh: what they refuse before they begin, and what they tell apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import CannotMend
from firstpull.core.mesh.topology import is_closed
from firstpull.files.write_mesh import write_mesh
from firstpull.files.write_stl import write_stl
from firstpull.packet.mesh_views import upright
from firstpull.services.compare_meshes import compare_meshes
from firstpull.services.mend_mesh import MendResults, MendWishes, mend_mesh
from firstpull.services.mending_told import mending_told
from firstpull.services.mesh_in import arrive
from firstpull.services.results_out import (
    ResultFolder,
    ResultFormat,
    ResultInTheWay,
    need_format,
    need_free,
    write_whole,
)
from firstpull.services.sound_mesh import sound


def test_a_free_place_is_let_through(tmp_path: Path) -> None:
    need_free([tmp_path / "a.stl", None, tmp_path / "b.png"], inputs=[tmp_path / "c.stl"])
    need_format(tmp_path / "a.STL", ("stl",))
    need_format(None, ("stl",))


def test_every_result_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    here = tmp_path / "a.stl"
    here.write_bytes(b"mine")
    (tmp_path / "folder.stl").mkdir()
    (tmp_path / "link.stl").symlink_to(here)
    with pytest.raises(ResultInTheWay, match="exists already"):
        need_free([here], inputs=[])
    need_free([here], inputs=[], force=True)
    for name in ("a.stl", "link.stl"):  # a link to the input is the input
        with pytest.raises(ResultInTheWay, match="read from"):
            need_free([tmp_path / name], inputs=[here], force=True)
    with pytest.raises(ResultInTheWay, match="twice"):
        need_free([tmp_path / "b.stl", tmp_path / "b.stl"], inputs=[])
    with pytest.raises(ResultFolder, match="is a folder"):
        need_free([tmp_path / "folder.stl"], inputs=[])
    with pytest.raises(ResultFolder, match="does not exist"):
        need_free([tmp_path / "gone" / "b.stl"], inputs=[])
    with pytest.raises(ResultFormat, match="no suffix"):
        need_format(tmp_path / "b", ("stl",))


def test_a_file_appears_whole(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.png", b"picture")
    assert (tmp_path / "a.png").read_bytes() == b"picture"
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]


def test_unit_and_scale_are_applied_once(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.box(size_mm=(20, 18, 16)))
    part = arrive(tmp_path / "a.stl", unit="cm", scale=1.5)
    assert np.ptp(part.mesh.vertices_mm, axis=0) == pytest.approx([300, 270, 240])
    assert np.ptp(part.file.mesh.vertices_mm, axis=0) == pytest.approx([20, 18, 16])


def test_a_sound_mesh_has_nothing_to_tell() -> None:
    part = m.box()
    assert mending_told(part, mend(part)) is None


def test_a_lid_is_new_and_nothing_else_moved() -> None:
    """A corner of a divided box goes missing: what is put there is all that is new."""
    box = m.divided(m.box(), 2)
    holed = m.without(box, 0)
    told = mending_told(holed, mend(holed))
    assert told is not None and told.strays_mm < 1e-9
    # the lid is flat and lies where the face was; its middle is farther than 0.05 mm off
    assert sum(patch.area_mm2 for patch in told.added) == pytest.approx(
        float(box.face_areas_mm2[0]), rel=1e-6
    )
    assert told.gone == () and told.volume_before_mm3 is None
    assert told.volume_after_mm3 == pytest.approx(60 * 50 * 40)
    faces = told.new_faces(10_000)
    assert faces.sum() == sum(len(patch.faces) for patch in told.added)


def test_a_shift_while_stitching_is_told_as_moved() -> None:
    """Two halves of a box that are 0.04 mm apart: nothing moves farther than that."""
    box = m.divided(m.box(), 3)
    left = box.face_centres_mm[:, 0] < box.bounds_mm.mean(axis=0)[0]
    slip = np.eye(4)
    slip[1, 3] = 0.04
    apart = joined([box.with_faces(left), box.with_faces(~left).moved(slip)])
    mended = mend(apart)
    told = mending_told(apart, mended)
    assert told is not None and is_closed(mended.mesh)
    assert 0.0 < told.strays_mm <= 0.04 + 1e-6
    assert "moved by" in told.sentences[0] and "proved" in told.sentences[0]


def test_what_is_open_is_not_taken_for_a_wall(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.dome())
    with pytest.raises(CannotMend, match="firstpull mend"):
        sound(arrive(tmp_path / "a.stl"))


def test_small_damage_is_mended_before_a_wall_is_measured(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", joined([m.box(size_mm=(90, 80, 70)), m.scrap()]))
    mesh, notes = sound(arrive(tmp_path / "a.stl"))
    assert is_closed(mesh) and len(notes) == 1
    write_stl(tmp_path / "b.stl", m.box(size_mm=(90, 80, 70)))
    part = arrive(tmp_path / "b.stl")
    assert sound(part) == (part.mesh, ())


def test_keep_leaves_a_small_hole_open(tmp_path: Path) -> None:
    box = m.divided(m.box(size_mm=(60, 50, 40)), 4)
    write_mesh(tmp_path / "a.ply", m.without(box, 100))
    closed = mend_mesh(tmp_path / "a.ply", results=MendResults(tmp_path / "b.ply"))
    kept = mend_mesh(
        tmp_path / "a.ply",
        results=MendResults(tmp_path / "c.ply"),
        wishes=MendWishes(keep=(1,), wall_mm=2.0),
    )
    assert closed.mended.changed == {"holes_closed": 1}
    assert "holes_closed" not in kept.mended.changed
    assert kept.after.volume_cm3 < 0.5 * closed.after.volume_cm3
    assert kept.as_json()["openings"][0]["kept_as_asked"] == [1]


def test_the_same_file_twice_differs_nowhere(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.dome())
    write_stl(tmp_path / "b.stl", m.dome())
    report = compare_meshes(tmp_path / "a.stl", tmp_path / "b.stl")
    assert report.found.differences == () and report.found.same_share == 1.0
    assert "lie on each other as they are" in report.laid


def test_up_in_a_picture() -> None:
    """What stands on z = 0 stands; a mask whose y is longer than its z is stood up."""
    assert (upright(m.box(size_mm=(60, 90, 40))) == np.eye(3)).all()
    low = m.box(size_mm=(60, 90, 40)).bounds_mm[0]
    lifted = np.eye(4)
    lifted[2, 3] = 5.0 - low[2]
    box = m.box(size_mm=(60, 90, 40)).moved(lifted)
    assert upright(box) @ [0, 1, 0] == pytest.approx([0, 0, 1])
    assert np.linalg.det(upright(box)) == pytest.approx(1.0)
    tall = m.box(size_mm=(60, 40, 90)).moved(lifted)
    assert (upright(Mesh(tall.vertices_mm, tall.faces)) == np.eye(3)).all()


def test_an_inside_out_solid_had_no_volume_to_change() -> None:
    ball = m.ball().flipped()
    told = mending_told(ball, mend(ball))
    assert told is not None and told.volume_before_mm3 is None
    assert told.volume_after_mm3 == pytest.approx(m.ball().volume_mm3)
