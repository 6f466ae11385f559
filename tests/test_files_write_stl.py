"""What is written closed is closed when read back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import is_closed
from firstpull.files.read_mesh import read_mesh
from firstpull.files.refusals import NotClosedOnDisc
from firstpull.files.write_stl import write_stl


def back(path: Path, mesh: Mesh) -> Mesh:
    written = write_stl(path, mesh)
    found = read_mesh(path).mesh
    assert len(found.faces) == len(written.faces)
    assert found.volume_mm3 == pytest.approx(written.volume_mm3, rel=1e-9)
    return found


def test_a_round_trip_keeps_the_shape(tmp_path: Path) -> None:
    """Single precision keeps 2^-24 of a coordinate."""
    part = m.ball(radius_mm=100)
    found = back(tmp_path / "a.stl", part)
    assert is_closed(found)
    assert found.bounds_mm == pytest.approx(part.bounds_mm, abs=100 * 2**-24)
    assert found.volume_mm3 == pytest.approx(part.volume_mm3, rel=1e-6)


def test_the_header_does_not_look_like_text(tmp_path: Path) -> None:
    write_stl(tmp_path / "a.stl", m.box())
    data = (tmp_path / "a.stl").read_bytes()
    assert len(data) == 84 + 50 * 12
    assert not data.startswith(b"solid")


@pytest.mark.parametrize("at", [(60, 50, 0), (60, 50, 40), (60, 0, 0)])
def test_boxes_that_touch_are_drawn_apart(at: tuple[int, ...], tmp_path: Path) -> None:
    """Closed as given, but merged corners would put four faces on the shared edges."""
    pair = joined([m.box(), m.box(at=at)])
    found = back(tmp_path / "a.stl", pair)
    assert is_closed(found)
    assert found.volume_mm3 == pytest.approx(2 * 60 * 50 * 40, rel=1e-5)


def test_a_body_that_touches_itself_is_drawn_apart(tmp_path: Path) -> None:
    found = back(tmp_path / "a.stl", mend(m.pinched()).mesh)
    assert is_closed(found)
    assert found.volume_mm3 == pytest.approx(5 * 40**3, rel=1e-5)


@pytest.mark.parametrize("off_mm", [0.0, 1000.0, 30_000.0])
def test_fine_faces_far_from_the_origin_stay_closed(off_mm: float, tmp_path: Path) -> None:
    """At 30 m single precision steps by 2 micrometres; some of these edges are shorter."""
    rng = np.random.default_rng(5)
    part = m.divided(m.ball(radius_mm=40, rings=12), 1)
    squeezed = part.vertices_mm.copy()
    near = rng.choice(len(part.faces), 60, replace=False)
    for a, b, _ in part.faces[near]:
        squeezed[a] = squeezed[b] + 1e-4 * (squeezed[a] - squeezed[b])
    mesh = Mesh(squeezed + off_mm, part.faces)
    assert is_closed(mesh)
    found = back(tmp_path / "a.stl", mesh)
    assert is_closed(found)
    assert found.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-3)


def test_what_a_boolean_makes_is_closed_on_disc(tmp_path: Path) -> None:
    made = solid(m.ball(rings=30)) - solid(m.ball(rings=30, at=(20, 0.01, 7)))
    assert is_closed(back(tmp_path / "a.stl", mesh_of(made)))


def test_an_open_surface_is_written_as_it_is(tmp_path: Path) -> None:
    assert len(back(tmp_path / "a.stl", m.dome()).faces) == len(m.dome().faces)


def test_what_the_format_cannot_hold_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    tiny = m.ball(radius_mm=1e-3, at=(1e6, 1e6, 1e6))
    path = tmp_path / "a.stl"
    with pytest.raises(NotClosedOnDisc, match="nearer to the origin"):
        write_stl(path, tiny)
    assert not path.exists()
