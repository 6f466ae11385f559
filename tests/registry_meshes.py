"""Open meshes that a maker could want to mould, as a Debian package brings them.

They come in ``libcgal-demo`` (Debian 12, version 5.5.1): its copyright file puts every file
without a notice of its own, these meshes among them, under CC0 1.0. Nothing of it is kept in
this repository. Unpack it once, without installing what it depends on::

    mkdir -p build/test-meshes && cd build/test-meshes
    apt-get download libcgal-demo && dpkg-deb -x libcgal-demo_*.deb .

An installed package is found as well, where the system keeps documentation.
"""

from __future__ import annotations

import io
import tarfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import trimesh

from firstpull.core.mesh.mesh import Mesh

ARCHIVE = "usr/share/doc/libcgal-dev/data.tar.gz"
PLACES = (Path(__file__).resolve().parents[1] / "build" / "test-meshes", Path("/"))


@dataclass(frozen=True)
class OpenMesh:
    """One mesh of the archive and what a person sees in it.

    Args:
        name: what it shows.
        member: its file in the archive.
        longest_mm: the size to scale it to; the files carry no unit.
        up: away from the hollow, or from where it would stand on a board.
        closed: whether every edge has two faces.
        loops: how many loops of open edges it has.
        inside_out: whether its faces look inward.
        body_faces: the face count of the only body to keep; None keeps all.
    """

    name: str
    member: str
    longest_mm: float
    up: tuple[float, float, float]
    closed: bool
    loops: int
    inside_out: bool = False
    body_faces: int | None = None


UP_Y, UP_Z = (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
MESHES = (
    OpenMesh("face mask", "mask_cone.off", 230.0, UP_Z, closed=False, loops=1, body_faces=562),
    OpenMesh("lion's head", "lion-head.off", 240.0, UP_Z, closed=False, loops=1),
    OpenMesh("devil's head", "mannequin-devil.off", 300.0, UP_Z, closed=False, loops=1),
    OpenMesh("mannequin", "head.off", 300.0, UP_Y, closed=False, loops=3, inside_out=True),
    OpenMesh("helmet", "helmet.off", 280.0, UP_Z, closed=True, loops=0),
    OpenMesh("bear", "bear.off", 150.0, UP_Z, closed=True, loops=0),
    OpenMesh("bull", "bull.off", 160.0, UP_Y, closed=True, loops=0),
)


def archive_path() -> Path | None:
    """The archive of meshes, or None where it has not been unpacked."""
    return next((place / ARCHIVE for place in PLACES if (place / ARCHIVE).is_file()), None)


def registry_mesh(chosen: OpenMesh) -> Mesh:
    """The mesh in millimetres, its faces as the file has them, corners at one place merged.

    Skips the calling test, with the reason, where the archive is absent.
    """
    archive = archive_path()
    if archive is None:
        pytest.skip(f"OPEN MESHES NOT TESTED: {chosen.member} is not unpacked (registry_meshes.py)")
    with tarfile.open(archive) as packed:
        member = packed.extractfile(f"data/meshes/{chosen.member}")
        assert member is not None
        raw = trimesh.load(io.BytesIO(member.read()), file_type="off", process=False)
    made = trimesh.Trimesh(raw.vertices, raw.faces, process=False)
    made.merge_vertices()
    if chosen.body_faces is not None:
        bodies = made.split(only_watertight=False)
        made = next(body for body in bodies if len(body.faces) == chosen.body_faces)
    scale = chosen.longest_mm / made.extents.max()
    return Mesh(np.asarray(made.vertices) * scale, np.asarray(made.faces))


def write_stl(chosen: OpenMesh, folder: Path) -> Path:
    """The mesh as a binary STL in millimetres, for tests that start from a file."""
    mesh = registry_mesh(chosen)
    path = folder / f"{Path(chosen.member).stem}.stl"
    trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False).export(path)
    return path
