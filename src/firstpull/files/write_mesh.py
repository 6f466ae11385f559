"""Writes a mesh in any of the formats that are read, whole or not at all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import UnknownUnit, need_surface
from firstpull.core.mesh.weld import without_unused
from firstpull.files.dress import Dress, at_vertices, dress_near
from firstpull.files.read_mesh import FORMATS
from firstpull.files.refusals import MeshFormatUnknown
from firstpull.files.whole_file import whole_file
from firstpull.files.write_3mf import write_3mf
from firstpull.files.write_glb import glb_parts
from firstpull.files.write_obj import obj_parts
from firstpull.files.write_off import off_parts
from firstpull.files.write_ply import ply_parts
from firstpull.files.write_stl import as_written, stl_bytes

UNITS_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "m": 1000.0}


@dataclass(frozen=True)
class Written:
    """What a file holds once it is written.

    Args:
        mesh: in millimetres, rounded as the format rounds.
        dress: the names and colours of that mesh.
        left_out: sentences about names and colours that the format has no place for.
    """

    mesh: Mesh
    dress: Dress
    left_out: tuple[str, ...] = ()


def write_mesh(
    path: str | Path,
    mesh: Mesh,
    *,
    format: str | None = None,
    dress: Dress | None = None,
    unit: str = "mm",
) -> Written:
    """Writes a mesh with its names and colours; an older file is replaced when all is written.

    PLY, OBJ, OFF and 3MF keep every digit and the order of vertices and faces. STL and GLB
    keep 32-bit coordinates; a closed mesh is written so that it is closed when it is read
    back, as ``write_stl`` has it. Vertices that no face uses are left out, in 3MF also faces
    that name a vertex twice, which the format forbids.

    Args:
        path: the file.
        mesh: in millimetres.
        format: "stl", "obj", "ply", "off", "glb" or "3mf"; None takes it from the suffix.
        dress: names and colours in the order of the mesh's faces and vertices.
        unit: "mm", "cm", "in" or "m": what the numbers in the file count. GLB is in metres
            whatever is asked, by its standard.

    Raises:
        MeshFormatUnknown, UnknownUnit: no such format or unit.
        NoTriangles, BadCoordinates, NoArea: the mesh could not be read back.
        NotClosedOnDisc: rounding opens the mesh in a way that cannot be mended.
        MeshFileNotWritten: the folder does not take the file.
    """
    path = Path(path)
    kind = _format(path, format)
    if unit not in UNITS_MM:
        raise UnknownUnit(
            where=f'Unit "{unit}"',
            found="is not one that the program writes",
            limit="it knows " + ", ".join(UNITS_MM),
            remedy="Choose one of them.",
        )
    need_surface(mesh, where=path.name)
    plain = dress is None or dress.says_nothing
    worn = Dress.plain(len(mesh.faces)) if dress is None else dress
    assert len(worn.part) == len(mesh.faces), "the dress is of another mesh"
    mesh, worn = _usable(mesh, worn, kind)
    if kind in ("stl", "glb"):
        mesh, worn = _rounded(mesh, worn, path.name, 1.0 if kind == "glb" else UNITS_MM[unit])
    with whole_file(path) as stream:
        scaled = mesh if unit == "mm" else Mesh(mesh.vertices_mm / UNITS_MM[unit], mesh.faces)
        if kind == "3mf":
            write_3mf(stream, scaled, worn, unit)
        else:
            for block in _blocks(kind, mesh, scaled, worn, unit):
                stream.write(block)
    return Written(mesh, worn, () if plain else _left_out(kind, mesh, worn))


def _blocks(kind: str, mesh: Mesh, scaled: Mesh, dress: Dress, unit: str) -> Iterable[bytes]:
    if kind == "stl":
        title = ", ".join(dict.fromkeys(name for name in dress.names if name))
        return [stl_bytes(scaled, name=title, unit=unit)]
    if kind == "glb":
        return glb_parts(mesh, dress)
    writer = {"obj": obj_parts, "off": off_parts, "ply": ply_parts}[kind]
    return writer(scaled, dress, unit)


def _format(path: Path, format: str | None) -> str:
    kind = (format or path.suffix).lower().lstrip(".")
    if kind in FORMATS:
        return kind
    raise MeshFormatUnknown(
        where=path.name,
        found=f'asks for the format "{kind}"' if kind else "has no suffix",
        limit="the program writes " + ", ".join(FORMATS),
        remedy="Name one of these; 3MF keeps the most, STL is taken everywhere.",
    )


def _usable(mesh: Mesh, dress: Dress, kind: str) -> tuple[Mesh, Dress]:
    """Without vertices that no face uses, and for 3MF without faces that name one twice."""
    if kind == "3mf":
        whole = (mesh.faces != np.roll(mesh.faces, 1, axis=1)).all(axis=1)
        if not whole.all():
            mesh, dress = Mesh(mesh.vertices_mm, mesh.faces[whole]), dress.of_faces(whole)
    trimmed = without_unused(mesh)
    if len(trimmed.vertices_mm) < len(mesh.vertices_mm):
        dress = dress.of_vertices(np.unique(mesh.faces))
    return trimmed, dress


def _rounded(mesh: Mesh, dress: Dress, name: str, scale: float) -> tuple[Mesh, Dress]:
    """The mesh as 32-bit numbers of the unit keep it, and its dress."""
    coarse = as_written(Mesh(mesh.vertices_mm / scale, mesh.faces), name=name)
    if scale != 1.0:
        coarse = Mesh(coarse.vertices_mm * scale, coarse.faces)
    if np.array_equal(coarse.faces, mesh.faces):
        return coarse, dress
    return coarse, dress_near(dress, mesh, coarse)


def _left_out(kind: str, mesh: Mesh, dress: Dress) -> tuple[str, ...]:
    """What the format has no place for, one sentence each."""
    colours = dress.face_colours if dress.vertex_colours is None else dress.vertex_colours
    notes = []
    if kind == "stl" and colours is not None:
        notes.append("STL has no place for colours; they were left out.")
    if kind == "stl" and len(dress.names) > 1:
        notes.append("STL has no place for parts; their names are in its header.")
    if kind == "off" and any(dress.names):
        notes.append("OFF has no place for names; they were left out.")
    if kind == "obj" and colours is not None:
        if at_vertices(dress, mesh) is None:
            notes.append("OBJ has no place for colours of faces; they were left out.")
        elif (colours[:, 3] < 255).any():
            notes.append("OBJ has no place for opacity; it was left out.")
    return tuple(notes)
