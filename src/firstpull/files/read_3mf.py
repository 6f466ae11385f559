"""3MF: the build plate's items, with unit, components and placements.

The archive is measured before anything is unpacked, entities are never expanded, and nothing
is fetched. Source: 3MF Core Specification 1.3, and its Production Extension for paths.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.files.mesh_content import Content, numbers
from firstpull.files.refusals import (
    MeshFileTooLarge,
    damaged,
    truncated,
)

MAX_UNPACKED = 1 << 30
MAX_RATIO = 150  # a mesh of text packs 5 to 20 times; flat test files up to 80
RATIO_FROM = 1 << 20  # bytes below which the ratio is not looked at
MOST_PLACEMENTS = 20_000
MOST_TRIANGLES = 50_000_000

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
PATH = "{http://schemas.microsoft.com/3dmanufacturing/production/2015/06}path"
UNITS = {
    "micron": ("mm", 0.001),
    "millimeter": ("mm", 1.0),
    "centimeter": ("cm", 1.0),
    "inch": ("in", 1.0),
    "foot": ("in", 12.0),
    "meter": ("m", 1.0),
}


@dataclass(frozen=True)
class _Placed:
    """One object at one place: a build item or a component."""

    path: str
    object_id: str
    matrix: NDArray[np.float64]


@dataclass
class _Model:
    """One model part of the archive."""

    unit: str = "millimeter"
    meshes: dict[str, Mesh] = field(default_factory=dict)
    groups: dict[str, list[_Placed]] = field(default_factory=dict)
    supports: set[str] = field(default_factory=set)
    items: list[_Placed] = field(default_factory=list)


def parse(data: bytes, where: str) -> Content:
    """The items of the build plate as one mesh in the declared unit."""
    archive = _opened(data, where)
    with archive:
        _need_small(archive, where)
        package = _Package(archive, where)
        root_path = _root_path(archive, where)
        root = package.model(root_path)
        parts = package.placed(root)
    unit, factor = UNITS.get(root.unit, (root.unit, 1.0))
    whole = joined(parts)
    notes = []
    if len(root.items) > 1:
        notes.append(f"The build plate holds {len(root.items)} items; all were read.")
    if package.left_out:
        notes.append(f"{package.left_out} support objects were left out.")
    if factor != 1.0:
        notes.append(f"The file is in {root.unit}s, turned into {unit}.")
    return Content(whole.vertices_mm * factor, whole.faces.astype(np.int64), unit, tuple(notes))


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
        for element in _elements(_unpacked(archive, "_rels/.rels", where), where):
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


def _elements(data: bytes, where: str) -> Any:
    """The elements of a document as they end; entities stay unexpanded, nothing is fetched."""
    from lxml import etree

    if b"<!DOCTYPE" in data[:65536] or b"<!ENTITY" in data:
        raise damaged(where, "defines entities in its XML", "a 3MF must not")
    try:
        for _, element in etree.iterparse(
            io.BytesIO(data),
            events=("end",),
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            remove_comments=True,
            remove_pis=True,
        ):
            if element.getroottree().docinfo.internalDTD is not None:
                raise damaged(where, "defines entities in its XML", "a 3MF must not")
            yield element
    except etree.XMLSyntaxError as fault:
        raise damaged(where, f"has XML that breaks off in line {fault.lineno}") from fault


class _Package:
    """The models of one archive, each read once."""

    def __init__(self, archive: zipfile.ZipFile, where: str) -> None:
        self._archive, self._where = archive, where
        self._models: dict[str, _Model] = {}
        self.left_out = 0

    def model(self, path: str) -> _Model:
        """The model part at a path of the archive."""
        if path not in self._models:
            self._models[path] = _read_model(
                _unpacked(self._archive, path, self._where), path, self._where
            )
        return self._models[path]

    def placed(self, root: _Model) -> list[Mesh]:
        """Every mesh that the build items reach, where they put it."""
        waiting = [(item, np.eye(4), 0) for item in reversed(root.items)]
        parts: list[Mesh] = []
        met = triangles = 0
        while waiting:
            spot, above, depth = waiting.pop()
            met += 1
            model = self.model(spot.path)
            matrix = above @ spot.matrix
            if spot.object_id in model.supports:
                self.left_out += 1
                continue
            if (mesh := model.meshes.get(spot.object_id)) is not None:
                triangles += len(mesh.faces)
                parts.append(mesh.moved(matrix))
            elif spot.object_id not in model.groups:
                found = f"places object {spot.object_id}, which it does not have"
                raise damaged(self._where, found)
            if depth > 64 or met > MOST_PLACEMENTS or triangles > MOST_TRIANGLES:
                raise damaged(self._where, "places its objects within each other without end")
            group = model.groups.get(spot.object_id, [])
            waiting += [(inner, matrix, depth + 1) for inner in reversed(group)]
        return parts


def _read_model(data: bytes, path: str, where: str) -> _Model:
    model = _Model()
    points: list[bytes] = []
    corners: list[bytes] = []
    group: list[_Placed] = []
    for element in _elements(data, where):
        tag = element.tag
        if tag == CORE + "vertex":
            points += (element.get("x"), element.get("y"), element.get("z"))
        elif tag == CORE + "triangle":
            corners += (element.get("v1"), element.get("v2"), element.get("v3"))
        elif tag == CORE + "component":
            group.append(_placed(element, path, where))
        elif tag == CORE + "item":
            model.items.append(_placed(element, path, where))
        elif tag == CORE + "object":
            name = element.get("id")
            if element.get("type") in ("support", "solidsupport"):
                model.supports.add(name)
            if group:
                model.groups[name] = group
            if corners or points:
                model.meshes[name] = _mesh(points, corners, name, where)
            elif not group:
                model.groups[name] = []
            points, corners, group = [], [], []
            element.clear()
        elif tag == CORE + "model":
            model.unit = element.get("unit", "millimeter")
        if tag in (CORE + "vertex", CORE + "triangle"):
            _forget(element)
    return model


def _forget(element: Any) -> None:
    """Drops rows that were read, so that a large file does not stay in memory twice."""
    before = element.getprevious()
    if before is not None:
        before.getparent().remove(before)


def _mesh(points: list[Any], corners: list[Any], name: str, where: str) -> Mesh:
    if None in points or None in corners:
        raise damaged(where, f"has a vertex or triangle without its numbers in object {name}")
    vertices = numbers([p.encode() for p in points], where, "a coordinate").reshape(-1, 3)
    faces = numbers([c.encode() for c in corners], where, "a vertex number").reshape(-1, 3)
    if len(faces) and not (faces.min() >= 0 and faces.max() < len(vertices)):
        raise damaged(
            where,
            f"names a vertex that object {name} does not have",
            f"it holds {len(vertices)}",
        )
    return Mesh(vertices, faces.astype(np.int64))


def _placed(element: Any, path: str, where: str) -> _Placed:
    other = element.get(PATH)
    matrix = np.eye(4)
    if text := element.get("transform"):
        values = numbers([word.encode() for word in text.split()], where, "a placement")
        if len(values) != 12 or not np.isfinite(values).all():
            raise damaged(where, "has a placement of other than twelve numbers")
        matrix[:3, :] = values.reshape(4, 3).T
    return _Placed(other.lstrip("/") if other else path, str(element.get("objectid")), matrix)
