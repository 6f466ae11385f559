"""Writes binary PLY in double precision, so that nothing is rounded."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.dress import Colours, Dress

CHANNELS = ("red", "green", "blue", "alpha")
TYPE_NAMES = {"<f8": "double", "<u1": "uchar", "<i4": "int"}


def ply_parts(mesh: Mesh, dress: Dress, unit: str) -> Iterator[bytes]:
    """A mesh as PLY, in pieces.

    PLY has no place for names: comments number them, and each face has the number of its
    part as a property that other readers pass over.
    """
    vertices = _rows(
        len(mesh.vertices_mm),
        {axis: ("<f8", mesh.vertices_mm[:, k]) for k, axis in enumerate("xyz")},
        dress.vertex_colours,
    )
    named = any(dress.names)
    part = {"part": ("<i4", dress.part)} if named else {}
    faces = _rows(len(mesh.faces), part, dress.face_colours)
    comments = [f"comment unit: {unit}"]
    if named:
        comments += [f"comment part {n} {name}" for n, name in enumerate(dress.names)]
    lines = [
        "ply",
        "format binary_little_endian 1.0",
        *comments,
        *_described("vertex", vertices),
        f"element face {len(mesh.faces)}",
        "property list uchar int vertex_indices",
        *_described("face", faces)[1:],
        "end_header",
    ]
    yield ("\n".join(lines) + "\n").encode()
    yield vertices.tobytes()
    fields: list[Any] = [("count", "<u1"), ("corners", "<i4", (3,)), *faces.dtype.descr]
    table = np.zeros(len(mesh.faces), dtype=[field for field in fields if field[0]])
    table["count"], table["corners"] = 3, mesh.faces
    for name in faces.dtype.names or ():
        table[name] = faces[name]
    yield table.tobytes()


def _rows(
    count: int, columns: dict[str, tuple[str, NDArray[Any]]], colours: Colours | None
) -> NDArray[Any]:
    if colours is not None:
        columns = columns | {name: ("<u1", colours[:, k]) for k, name in enumerate(CHANNELS)}
    table = np.zeros(count, dtype=[(name, kind) for name, (kind, _) in columns.items()])
    for name, (_, values) in columns.items():
        table[name] = values
    return table


def _described(element: str, table: NDArray[Any]) -> list[str]:
    names = table.dtype.names or ()
    kinds = {name: table.dtype[name].newbyteorder("<").str.replace("|", "<") for name in names}
    properties = [f"property {TYPE_NAMES[kinds[name]]} {name}" for name in names]
    return [f"element {element} {len(table)}", *properties]
