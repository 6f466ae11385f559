"""Writes binary STL that is still closed when it is read back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import edge_table, is_closed
from firstpull.core.mesh.weld import equal_points, without_unused
from firstpull.files.read_stl import TRIANGLE
from firstpull.files.refusals import NotClosedOnDisc

HEADER_BYTES = 80
UNIT_WORDS = {"mm": "millimetres", "cm": "centimetres", "in": "inches", "m": "metres"}
ROUNDS = 12
VOLUME_SHARE = 0.01  # of the volume that closing again may change


def write_stl(path: str | Path, mesh: Mesh) -> Mesh:
    """Writes a mesh and returns it as a reader will find it.

    STL keeps 32-bit coordinates and no shared vertices, so rounding can merge corners that
    were apart. Of a closed mesh the collapsed faces are left out; where two walls came to
    share an edge, corners are drawn back into their own material by a few units in the last
    place, until the file is closed again.

    Args:
        path: the file to write; an older one is replaced.
        mesh: in millimetres; open meshes are written as they are.

    Returns:
        the mesh with rounded coordinates and equal corners merged; closed if ``mesh`` was.

    Raises:
        NotClosedOnDisc: rounding opens the mesh in a way that cannot be mended.
        OSError: the file cannot be written.
    """
    path = Path(path)
    read_back = as_written(mesh, name=path.name)
    path.write_bytes(stl_bytes(read_back))
    return read_back


def as_written(mesh: Mesh, *, name: str = "The mesh") -> Mesh:
    """The mesh as a reader of its STL file will find it; see ``write_stl``."""
    read_back = _rounded(mesh)
    if is_closed(mesh) and not is_closed(read_back):
        read_back = _closed_again(mesh, name)
    return read_back


def _rounded(mesh: Mesh) -> Mesh:
    """The mesh as STL keeps it: 32-bit corners, equal ones merged, collapsed faces gone."""
    coarse = mesh.vertices_mm.astype(np.float32).astype(np.float64)
    first, place = equal_points(coarse)
    faces = place[mesh.faces]
    collapsed = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    faces = faces[~collapsed]
    return without_unused(Mesh(coarse[first], faces[~_cancelling(faces)]))


def _cancelling(faces: NDArray[np.int32]) -> NDArray[np.bool_]:
    """(F,) faces that meet their own reverse, as a fold without thickness leaves them."""
    if not len(faces):
        return np.zeros(0, dtype=np.bool_)
    shift = np.argmin(faces, axis=1)
    rows = np.arange(len(faces))[:, None]
    ordered = faces[rows, (shift[:, None] + np.arange(3)) % 3].astype(np.int64)
    n = int(faces.max()) + 1
    low, high = ordered[:, 1:].min(axis=1), ordered[:, 1:].max(axis=1)
    sense = np.where(ordered[:, 1] < ordered[:, 2], 1, -1)
    order = np.lexsort((low * n + high, ordered[:, 0]))
    same = (ordered[order[1:], 0] == ordered[order[:-1], 0]) & (
        (low * n + high)[order[1:]] == (low * n + high)[order[:-1]]
    )
    pair = same & (sense[order[1:]] != sense[order[:-1]])
    # of three in a row only the first two go
    pair[1:] &= ~pair[:-1]
    out = np.zeros(len(faces), dtype=np.bool_)
    out[order[1:][pair]] = True
    out[order[:-1][pair]] = True
    return out


def _closed_again(mesh: Mesh, where: str) -> Mesh:
    """A closed mesh whose rounding stays closed."""
    low, high = mesh.bounds_mm
    unit = float(np.spacing(np.float32(max(np.abs(low).max(), np.abs(high).max()))))
    work = mesh
    for n in range(ROUNDS):
        if n == 2:
            work = _without_short_edges(work, 8.0 * unit)
        rounded = _rounded(work)
        if is_closed(rounded) and _same_volume(rounded, mesh):
            return rounded
        work = _drawn_back(work, 4.0 * unit * (n + 1))
    x, y, z = _first_bad_place(rounded, mesh)
    raise NotClosedOnDisc(
        where=where,
        found=f"would not stay whole near x {x:.3f}, y {y:.3f}, z {z:.3f} mm when written as STL",
        limit="its corners there are closer than the format can tell apart",
        remedy="Remesh the part a little coarser there, or move it nearer to the origin.",
    )


def _first_bad_place(rounded: Mesh, mesh: Mesh) -> Floats:
    """Middle of the first edge that is open or crowded; of the mesh where it merely shrank."""
    table = edge_table(rounded)
    bad = np.flatnonzero((table.count != 2) | (table.forward != 1))
    spots = rounded.vertices_mm[table.ends[bad[0]]] if len(bad) else mesh.bounds_mm
    return np.asarray(spots.mean(axis=0))


def _same_volume(one: Mesh, other: Mesh) -> bool:
    return abs(one.volume_mm3 - other.volume_mm3) <= VOLUME_SHARE * abs(other.volume_mm3)


def _without_short_edges(mesh: Mesh, tol_mm: float) -> Mesh:
    try:
        return mesh_of(solid(mesh).simplify(tol_mm))
    except WorkshopError:
        return mesh


def _drawn_back(mesh: Mesh, by_mm: float) -> Mesh:
    """Vertices that rounding throws together with others, moved into their own material."""
    coarse = mesh.vertices_mm.astype(np.float32).astype(np.float64)
    first, place = equal_points(coarse)
    rounded = Mesh(coarse[first], place[mesh.faces])
    table = edge_table(rounded)
    bad = np.zeros(len(first), dtype=np.bool_)
    bad[table.ends[(table.count != 2) | (table.forward != 1)].ravel()] = True
    shared = np.bincount(place) > 1
    chosen = bad[place] & shared[place]
    moved = mesh.vertices_mm - by_mm * chosen[:, None] * _outward(mesh)
    return Mesh(moved, mesh.faces)


def _outward(mesh: Mesh) -> Floats:
    """(V, 3) unit normals at the vertices."""
    normals = np.zeros_like(mesh.vertices_mm)
    faces = mesh.face_normals
    for k in range(3):
        for axis in range(3):
            normals[:, axis] += np.bincount(
                mesh.faces[:, k], weights=faces[:, axis], minlength=len(normals)
            )
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)


def stl_bytes(mesh: Mesh, *, name: str = "", unit: str = "mm") -> bytes:
    """A mesh as binary STL; the header says the unit and the name, as far as there is room."""
    header = f"binary STL, {UNIT_WORDS[unit]}" + (f": {name}" if name else "")
    room = header.encode()[:HEADER_BYTES].decode("utf-8", "ignore").encode().ljust(HEADER_BYTES)
    records = np.zeros(len(mesh.faces), dtype=TRIANGLE)
    records["normal"] = mesh.face_normals
    records["corners"] = mesh.corners_mm
    return room + len(mesh.faces).to_bytes(4, "little") + records.tobytes()
