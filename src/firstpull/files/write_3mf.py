"""Writes 3MF: an object for each body, with names, colours and the unit.

Sources: 3MF Core Specification 1.3, Materials Extension 1.2 (colour groups); the triangle sets
that name parts of one body are from memory of the core specification's appendix.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.topology import is_closed
from firstpull.files.dress import Dress, opaque
from firstpull.files.read_3mf_model import CORE_SPACE, MATERIAL_SPACE, SETS_SPACE
from firstpull.files.write_glb import faces_by
from firstpull.files.write_rows import written

UNIT_NAMES = {"mm": "millimeter", "cm": "centimeter", "in": "inch", "m": "meter"}
PALETTE_ID = 1
MOST_MATERIALS = 64  # more colours than this are no materials that one would load
LEVEL = 3  # of packing: half the time of the usual 6 for a tenth more bytes
TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels"'
    ' ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model"'
    ' ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0"'
    ' Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)


def write_3mf(stream: BinaryIO, mesh: Mesh, dress: Dress, unit: str) -> None:
    """A mesh as 3MF; the same mesh gives the same bytes.

    Parts that share vertices are one body and stay one object, which names them as sets of
    triangles; others are objects of their own. A body that is not closed is marked as a
    surface, since the format wants its models closed.

    Args:
        mesh: its coordinates are written as they are; no face may name a vertex twice.
    """
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=LEVEL) as archive:
        for name, text in (("[Content_Types].xml", TYPES), ("_rels/.rels", RELATIONS)):
            # opened by name, an entry has a fixed date
            with archive.open(name, "w") as entry:
                entry.write(text.encode())
        with archive.open("3D/3dmodel.model", "w") as entry:
            for block in _model(mesh, dress, unit):
                entry.write(block)


@dataclass(frozen=True)
class NamedSolid:
    """One of several bodies in a file.

    Args:
        name: as a slicer shows it.
        mesh: in mm.
        colour: red, green, blue, 0 to 255.
    """

    name: str
    mesh: Mesh
    colour: tuple[int, int, int]


def write_solids_3mf(stream: BinaryIO, solids: Sequence[NamedSolid]) -> None:
    """Several bodies as 3MF, each an object with its name and colour; same bytes every time.

    Args:
        solids: placed as they are, in mm; one or more.
    """
    sizes = [len(solid.mesh.faces) for solid in solids]
    colours = opaque(np.array([solid.colour for solid in solids]))
    dress = Dress(
        [solid.name for solid in solids],
        np.repeat(np.arange(len(solids)), sizes),
        face_colours=np.repeat(colours, sizes, axis=0),
    )
    write_3mf(stream, joined([solid.mesh for solid in solids]), dress, "mm")


def _model(mesh: Mesh, dress: Dress, unit: str) -> Iterator[bytes]:
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="{UNIT_NAMES[unit]}" xml:lang="en" xmlns="{CORE_SPACE}"'
        f' xmlns:m="{MATERIAL_SPACE}" xmlns:t="{SETS_SPACE}">\n<resources>\n'
    ).encode()
    palette, entries = _palette(mesh, dress)
    yield palette.encode()
    ids = []
    body = _bodies(mesh, dress)[dress.part]
    for number, chosen in faces_by(body, len(dress.names)):
        ids.append(PALETTE_ID + 1 + number)
        used, corners = np.unique(mesh.faces[chosen], return_inverse=True)
        piece = Mesh(mesh.vertices_mm[used], corners.reshape(-1, 3))
        own = None if entries is None else entries[chosen]
        yield from _object(ids[-1], piece, dress.of_faces(chosen), own)
    items = "".join(f'<item objectid="{n}"/>\n' for n in ids)
    yield f"</resources>\n<build>\n{items}</build>\n</model>\n".encode()


def _bodies(mesh: Mesh, dress: Dress) -> NDArray[np.int64]:
    """(parts,) the body of each part; parts with a vertex in common are of one."""
    n = len(dress.names)
    part = np.repeat(dress.part, 3)
    of_vertex = np.zeros(len(mesh.vertices_mm), dtype=np.int64)
    of_vertex[mesh.faces.reshape(-1)] = part
    pairs = np.unique(of_vertex[mesh.faces.reshape(-1)] * n + part)
    graph = coo_matrix((np.ones(len(pairs)), (pairs // n, pairs % n)), shape=(n, n))
    label = connected_components(graph, directed=False)[1]
    return np.asarray(label, dtype=np.int64)


def _palette(mesh: Mesh, dress: Dress) -> tuple[str, NDArray[np.int64] | None]:
    """The colours as a resource, and (F, 1 or 3) the entry of each face or of its corners."""
    colours = dress.face_colours if dress.vertex_colours is None else dress.vertex_colours
    if colours is None:
        return "", None
    found, entry = np.unique(colours, axis=0, return_inverse=True)
    entry = entry.reshape(-1).astype(np.int64)
    shown = ["#" + bytes(row.tolist()).hex().upper() for row in found]
    by_face = dress.vertex_colours is None
    if by_face and len(shown) <= MOST_MATERIALS:
        rows = "".join(
            f'<base name="colour {n}" displaycolor="{text}"/>\n'
            for n, text in enumerate(shown, start=1)
        )
        text = f'<basematerials id="{PALETTE_ID}">\n{rows}</basematerials>\n'
    else:
        rows = "".join(f'<m:color color="{text}"/>\n' for text in shown)
        text = f'<m:colorgroup id="{PALETTE_ID}">\n{rows}</m:colorgroup>\n'
    return text, entry[:, None] if by_face else entry[mesh.faces]


def _object(
    number: int, piece: Mesh, dress: Dress, entries: NDArray[np.int64] | None
) -> Iterator[bytes]:
    parts = list(faces_by(dress.part, len(dress.names)))
    names = [dress.names[part] for part, _ in parts]
    kind = "model" if is_closed(piece) else "surface"
    looks = f' pid="{PALETTE_ID}" pindex="{entries[0, 0]}"' if entries is not None else ""
    # of several parts in one body the object has the names together
    title = " + ".join(name for name in names[:5] if name)
    named = f" name={quoteattr(title)}" if title else ""
    yield f'<object id="{number}" type="{kind}"{named}{looks}>\n<mesh>\n<vertices>\n'.encode()
    yield from written('<vertex x="%r" y="%r" z="%r"/>\n', piece.vertices_mm)
    yield b"</vertices>\n<triangles>\n"
    row = 'v1="%d" v2="%d" v3="%d"'
    if entries is None or (entries == entries[0, 0]).all():
        yield from written(f"<triangle {row}/>\n", piece.faces)
    else:
        own = " ".join(f'p{k + 1}="%d"' for k in range(entries.shape[1]))
        pattern = f'<triangle {row} pid="{PALETTE_ID}" {own}/>\n'
        yield from written(pattern, piece.faces, entries)
    yield b"</triangles>\n"
    if len(parts) > 1:
        yield _sets(names, [chosen for _, chosen in parts]).encode()
    yield b"</mesh>\n</object>\n"


def _sets(names: list[str], chosen: list[NDArray[np.int64]]) -> str:
    out = ["<t:trianglesets>\n"]
    for number, (name, faces) in enumerate(zip(names, chosen, strict=True), start=1):
        out.append(f'<t:triangleset name={quoteattr(name)} identifier="part{number}">\n')
        breaks = np.flatnonzero(np.diff(faces) != 1)
        firsts = faces[np.concatenate([[0], breaks + 1])].tolist()
        lasts = faces[np.concatenate([breaks, [len(faces) - 1]])].tolist()
        out += [
            f'<t:refrange startindex="{first}" endindex="{last}"/>\n'
            for first, last in zip(firsts, lasts, strict=True)
        ]
        out.append("</t:triangleset>\n")
    return "".join([*out, "</t:trianglesets>\n"])
