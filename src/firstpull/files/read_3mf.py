"""3MF: the build plate's items, with unit, components, placements, names and colours.

The archive is measured before anything is unpacked, entities are never expanded, and nothing
is fetched. Source: 3MF Core Specification 1.3, and its Production Extension for paths.
"""

from __future__ import annotations

import io
import zipfile

import numpy as np
from numpy.typing import NDArray

from firstpull.files.dress import dressed
from firstpull.files.mesh_content import Content
from firstpull.files.pieces import Piece, together
from firstpull.files.read_3mf_model import Model, elements, read_model
from firstpull.files.refusals import MeshFileTooLarge, damaged, truncated

MAX_UNPACKED = 1 << 30
MAX_RATIO = 150  # a mesh of text packs 5 to 20 times; flat test files up to 80
RATIO_FROM = 1 << 20  # bytes below which the ratio is not looked at
MOST_PLACEMENTS = 20_000
MOST_TRIANGLES = 50_000_000

UNITS = {
    "micron": ("mm", 0.001),
    "millimeter": ("mm", 1.0),
    "centimeter": ("cm", 1.0),
    "inch": ("in", 1.0),
    "foot": ("in", 12.0),
    "meter": ("m", 1.0),
}


def parse(data: bytes, where: str) -> Content:
    """The items of the build plate as one mesh in the declared unit."""
    archive = _opened(data, where)
    with archive:
        _need_small(archive, where)
        package = _Package(archive, where)
        root_path = _root_path(archive, where)
        root = package.model(root_path)
        pieces = package.placed(root)
    unit, factor = UNITS.get(root.unit, (root.unit, 1.0))
    whole, number, colours = together(pieces)
    used, part = np.unique(number, return_inverse=True)
    names = [package.names[n] for n in used] or [""]
    dress, lost = dressed(names, part, colours, whole)
    notes = list(lost)
    if len(root.items) > 1:
        notes.append(f"The build plate holds {len(root.items)} items; all were read.")
    if package.left_out:
        notes.append(f"{package.left_out} support objects were left out.")
    if factor != 1.0:
        notes.append(f"The file is in {root.unit}s, turned into {unit}.")
    if package.uncoloured:
        notes.append("Textures and mixed materials were left aside; plain colours were read.")
    faces = whole.faces.astype(np.int64)
    return Content(whole.vertices_mm * factor, faces, unit, tuple(notes), dress)


def _opened(data: bytes, where: str) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, NotImplementedError) as fault:
        if data[:2] == b"PK":
            raise truncated(where, "is an archive that ends early") from fault
        raise damaged(where, "is not a 3MF file", "a 3MF is a zip archive") from fault


def _need_small(archive: zipfile.ZipFile, where: str) -> None:
    """Refuses an archive that would unpack to far more than it is, before unpacking any."""
    entries = archive.infolist()
    total = sum(entry.file_size for entry in entries)
    remedy = "Do not unpack it. Export the model again from the modelling program."
    if total > MAX_UNPACKED:
        raise MeshFileTooLarge(
            where=where,
            found=f"would unpack to {total / 1e6:.0f} MB",
            limit=f"the program takes {MAX_UNPACKED / 1e6:.0f} MB",
            remedy=remedy,
        )
    for entry in entries:
        ratio = entry.file_size / max(entry.compress_size, 1)
        if entry.file_size > RATIO_FROM and ratio > MAX_RATIO:
            raise MeshFileTooLarge(
                where=where,
                found=f"packs {entry.file_size / 1e6:.0f} MB into 1/{ratio:.0f} of their size",
                limit=f"no real mesh packs to less than 1/{MAX_RATIO}",
                remedy=remedy,
            )


def _root_path(archive: zipfile.ZipFile, where: str) -> str:
    names = archive.namelist()
    if "_rels/.rels" in names:
        for element in elements(_unpacked(archive, "_rels/.rels", where), where):
            if str(element.get("Type", "")).endswith("/3dmodel"):
                return str(element.get("Target", "")).lstrip("/")
    models = [name for name in names if name.lower().endswith(".model")]
    if not models:
        raise damaged(where, "has no model in it", "a 3MF holds a file 3D/3dmodel.model")
    return models[0]


def _unpacked(archive: zipfile.ZipFile, name: str, where: str) -> bytes:
    try:
        with archive.open(name) as stream:
            # the directory may lie about sizes: never take more than it promised
            promised = archive.getinfo(name).file_size
            data = stream.read(promised + 1)
    except KeyError:
        raise damaged(where, f'has no "{name}" in it, which it refers to') from None
    except (zipfile.BadZipFile, EOFError, OSError, RuntimeError, NotImplementedError) as fault:
        raise damaged(where, f'has a part "{name}" that cannot be unpacked') from fault
    except Exception as fault:
        if type(fault).__module__ == "zlib":
            raise damaged(where, f'has a part "{name}" that cannot be unpacked') from fault
        raise
    if len(data) > promised:
        raise damaged(where, f'has a part "{name}" larger than it says')
    return data


class _Package:
    """The models of one archive, each read once."""

    def __init__(self, archive: zipfile.ZipFile, where: str) -> None:
        self._archive, self._where = archive, where
        self._models: dict[str, Model] = {}
        self.left_out = 0
        self.names: list[str] = []

    def model(self, path: str) -> Model:
        """The model part at a path of the archive."""
        if path not in self._models:
            data = _unpacked(self._archive, path, self._where)
            self._models[path] = read_model(data, path, self._where)
        return self._models[path]

    @property
    def uncoloured(self) -> bool:
        """Whether anything takes its looks from what was not read."""
        return any(model.other_looks for model in self._models.values())

    def placed(self, root: Model) -> list[Piece]:
        """Every mesh that the build items reach, where they put it."""
        waiting = [(item, np.eye(4), "", 0) for item in reversed(root.items)]
        pieces: list[Piece] = []
        met = triangles = 0
        while waiting:
            spot, above, name, depth = waiting.pop()
            met += 1
            model = self.model(spot.path)
            matrix = above @ spot.matrix
            if spot.object_id in model.supports:
                self.left_out += 1
                continue
            name = model.names.get(spot.object_id) or name
            if (body := model.bodies.get(spot.object_id)) is not None:
                triangles += len(body.mesh.faces)
                pieces.append(self._named(body, model.sets.get(spot.object_id, ()), name, matrix))
            elif spot.object_id not in model.groups:
                found = f"places object {spot.object_id}, which it does not have"
                raise damaged(self._where, found)
            if depth > 64 or met > MOST_PLACEMENTS or triangles > MOST_TRIANGLES:
                raise damaged(self._where, "places its objects within each other without end")
            group = model.groups.get(spot.object_id, [])
            waiting += [(inner, matrix, name, depth + 1) for inner in reversed(group)]
        return pieces

    def _named(
        self, body: Piece, sets: tuple[str, ...], name: str, matrix: NDArray[np.float64]
    ) -> Piece:
        """A body at its place: under one name, or under those of its sets of triangles."""
        number = len(self.names)
        self.names += [name, *sets]
        placed = body.placed(matrix, number if body.names is None else None)
        if body.names is None:
            return placed
        return Piece(placed.mesh, placed.colours, body.names + np.int32(number))
