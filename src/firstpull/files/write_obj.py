"""Writes OBJ: names, vertices with every digit, colours at the vertices, triangles."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.dress import Dress, at_vertices
from firstpull.files.write_rows import written


def obj_parts(mesh: Mesh, dress: Dress, unit: str) -> Iterator[bytes]:
    """A mesh as OBJ text, in pieces; coordinates are written as the mesh has them.

    Colours go from 0 to 1 after the coordinates, as most readers take them; there is no
    place for colours of faces or for opacity.
    """
    yield f"# unit: {unit}\n".encode()
    colours = at_vertices(dress, mesh)
    if colours is None:
        yield from written("v %r %r %r\n", mesh.vertices_mm)
    else:
        yield from written("v %r %r %r %.4f %.4f %.4f\n", mesh.vertices_mm, colours[:, :3] / 255.0)
    corners = mesh.faces.astype(np.int64) + 1
    begins = list(dress.begins())
    ends = [first for _, first in begins[1:]] + [len(corners)]
    for (name, first), end in zip(begins, ends, strict=True):
        if any(dress.names):
            yield f"o {name}".rstrip().encode() + b"\n"
        yield from written("f %d %d %d\n", corners[first:end])
