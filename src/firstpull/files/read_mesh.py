"""Reads a mesh file, whatever its format, or refuses it in one sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import counted, need_surface
from firstpull.core.mesh.weld import without_unused
from firstpull.files.dress import Dress
from firstpull.files.mesh_content import Content
from firstpull.files.refusals import (
    MeshFileEmpty,
    MeshFileMissing,
    MeshFileTooLarge,
    MeshFileUnreadable,
    MeshFormatUnknown,
    damaged,
)

MAX_BYTES = 1 << 30
FORMATS = ("stl", "obj", "ply", "off", "glb", "3mf")


@dataclass(frozen=True)
class MeshFile:
    """What a mesh file holds.

    Args:
        mesh: the triangles in the file's own unit; the names that say mm count from when the
            unit has been chosen.
        format: "stl", "obj", "ply", "off", "glb" or "3mf".
        declared_unit: "mm", "cm", "in" or "m" where file or format say so; else None.
        notes: sentences about how the file was read.
        dress: the names and colours that the file gives; None if it gives neither.
    """

    mesh: Mesh
    format: str
    declared_unit: str | None
    notes: tuple[str, ...] = ()
    dress: Dress | None = None


def read_mesh(
    path: str | Path, *, max_bytes: int = MAX_BYTES, called: str | None = None
) -> MeshFile:
    """The triangles of a file, its unit if declared, and notes on how it was read.

    Args:
        path: a file whose suffix names its format; the case of the suffix does not matter.
        max_bytes: larger files are refused, and archives that unpack to more.
        called: what refusals call the file; None takes its name.

    Returns:
        the mesh, polygons cut into triangles, placed as the file places them. Formats that
        store each triangle or seam by itself (STL, GLB) have equal corners merged.

    Raises:
        MeshFileMissing, MeshFileUnreadable, MeshFileTooLarge, MeshFormatUnknown,
        MeshFileEmpty, MeshFileTruncated, MeshFileDamaged, MeshFeatureMissing: about the file.
        NoTriangles, BadCoordinates, NoArea: about what is in it.
    """
    path = Path(path)
    called = called or path.name
    suffix = path.suffix.lower().lstrip(".")
    if suffix not in FORMATS:
        _missing(path)
        raise MeshFormatUnknown(
            where=called,
            found=f'has the suffix ".{suffix}"' if suffix else "has no suffix",
            limit="the program reads " + ", ".join(FORMATS),
            remedy="Export the mesh in one of these; STL will do.",
        )
    data = _bytes_of(path, max_bytes, called)
    reader = _reader(suffix)
    try:
        content = reader(data, called)
    except (IndexError, ValueError, OverflowError, KeyError, TypeError, UnicodeError) as fault:
        # each reader names what it can; what slips through is still the file's fault
        raise damaged(called, f"cannot be made sense of as {suffix.upper()}") from fault
    mesh, dress = _checked(content, called)
    return MeshFile(mesh, suffix, content.declared_unit, content.notes, dress)


def _reader(suffix: str) -> Callable[[bytes, str], Content]:
    from firstpull.files import read_3mf, read_glb, read_obj, read_off, read_ply, read_stl

    return {
        "stl": read_stl.parse,
        "obj": read_obj.parse,
        "ply": read_ply.parse,
        "off": read_off.parse,
        "glb": read_glb.parse,
        "3mf": read_3mf.parse,
    }[suffix]


def _missing(path: Path) -> None:
    if path.exists() or path.is_symlink():
        return
    raise MeshFileMissing(
        where=str(path),
        found="does not exist",
        remedy="Check the name and the folder.",
    )


def _bytes_of(path: Path, max_bytes: int, called: str) -> bytes:
    _missing(path)
    if path.is_dir():
        raise MeshFileUnreadable(
            where=str(path), found="is a folder", remedy="Name the mesh file in it."
        )
    try:
        size = path.stat().st_size
        if size > max_bytes:
            raise MeshFileTooLarge(
                where=called,
                found=f"has {size / 1e6:.0f} MB",
                limit=f"the program takes {max_bytes / 1e6:.0f} MB",
                remedy="Reduce the number of triangles in the modelling program.",
            )
        data = path.read_bytes()
    except OSError as fault:
        raise MeshFileUnreadable(
            where=str(path),
            found=f"cannot be read ({fault.strerror})",
            remedy="Check who may read it, or copy it to your own folder.",
        ) from fault
    if not data.strip(b"\x00 \t\r\n"):
        raise MeshFileEmpty(
            where=called,
            found="is empty" if not data else f"holds nothing: {len(data)} blank bytes",
            remedy="Export it again; the disc may have been full the first time.",
        )
    return data


def _checked(content: Content, where: str) -> tuple[Mesh, Dress | None]:
    """The mesh and its dress, once its indices and coordinates are known to be sound."""
    n = len(content.vertices)
    faces = content.faces
    if len(faces) and (int(faces.min()) < 0 or int(faces.max()) >= n):
        wrong = np.flatnonzero(((faces < 0) | (faces >= n)).any(axis=1))
        raise damaged(
            where,
            f"has {counted(len(wrong), 'triangle')} with a vertex number that it does not have,"
            f" the first is triangle {int(wrong[0]) + 1}",
            f"it holds {counted(n, 'vertex', 'vertices')}",
        )
    mesh = without_unused(Mesh(content.vertices, faces))
    need_surface(mesh, where=where)
    dress = content.dress
    if dress is None or dress.says_nothing:
        return mesh, None
    if len(mesh.vertices_mm) < n:
        dress = dress.of_vertices(np.unique(faces))
    return mesh, dress
