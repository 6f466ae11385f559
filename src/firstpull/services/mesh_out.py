"""How is a mesh saved, with the looks of the file it came from, or with a map in colour?"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.dress import Dress, dress_near
from firstpull.files.read_mesh import FORMATS
from firstpull.files.write_mesh import Written, write_mesh
from firstpull.packet.mesh_pictures import Paint
from firstpull.packet.ramps import NEW
from firstpull.services.mesh_in import Arrived

MESHES = FORMATS
MAPS = ("ply", "glb", "obj", "off", "3mf")


def save_mesh(path: Path, mesh: Mesh, *, dress: Dress | None = None, unit: str = "mm") -> Written:
    """Writes a mesh with names and colours; the suffix of the file names the format."""
    return write_mesh(path, mesh, dress=dress, unit=unit)


def dress_like(mesh: Mesh, like: Arrived) -> Dress | None:
    """The names and colours of a file for a mesh that was made from it; None for none.

    Each face takes after the face of the file whose middle lies nearest, new surface too.
    """
    dress = like.file.dress
    if dress is None or dress.says_nothing:
        return None
    if mesh is like.mesh:
        return dress
    return dress_near(dress, like.mesh, mesh)


def save_map(path: Path, mesh: Mesh, paint: Paint) -> Written:
    """Writes a mesh in millimetres with the colours of a map."""
    values = paint.ramp.painted(paint.values)
    if len(paint.values) == len(mesh.faces):
        return write_mesh(path, mesh, dress=_by_face(mesh, values))
    if paint.new is not None:
        values[np.unique(mesh.faces[paint.new])] = (*NEW, 255)
    return write_mesh(
        path,
        mesh,
        dress=Dress([""], np.zeros(len(mesh.faces), np.int32), vertex_colours=values),
    )


def _by_face(mesh: Mesh, colours: np.ndarray) -> Dress:
    return Dress([""], np.zeros(len(mesh.faces), np.int32), face_colours=colours)
