"""Writes OFF: vertices with every digit, triangles, colours of either."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.dress import Dress
from firstpull.files.write_rows import written


def off_parts(mesh: Mesh, dress: Dress, unit: str) -> Iterator[bytes]:
    """A mesh as OFF text, in pieces; colours are whole numbers from 0 to 255."""
    of_vertices, of_faces = dress.vertex_colours, dress.face_colours
    first = "OFF" if of_vertices is None else "COFF"
    yield f"{first}\n# unit: {unit}\n{len(mesh.vertices_mm)} {len(mesh.faces)} 0\n".encode()
    if of_vertices is None:
        yield from written("%r %r %r\n", mesh.vertices_mm)
    else:
        yield from written("%r %r %r %d %d %d %d\n", mesh.vertices_mm, of_vertices)
    faces = mesh.faces.astype(np.int64)
    if of_faces is None:
        yield from written("3 %d %d %d\n", faces)
    else:
        yield from written("3 %d %d %d %d %d %d %d\n", faces, of_faces)
