"""GLB (glTF 2.0 in one file): every triangle of the scene, placed as its nodes say.

Metres by the standard. Source: glTF 2.0 specification (ISO/IEC 12113).
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.weld import welded
from firstpull.files.dress import Colours, dressed, from_shares, srgb_of
from firstpull.files.mesh_content import Content
from firstpull.files.pieces import Piece, together
from firstpull.files.read_ply import strip
from firstpull.files.refusals import MeshFeatureMissing, damaged, truncated

KINDS = {5120: "i1", 5121: "u1", 5122: "i2", 5123: "u2", 5125: "u4", 5126: "f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
TRIANGLES, STRIP, FAN = 4, 5, 6
INSTANCING = "EXT_mesh_gpu_instancing"
COMPRESSED = {
    "KHR_draco_mesh_compression",
    "EXT_meshopt_compression",
    "KHR_meshopt_compression",
    INSTANCING,
}
MOST_NODES = 100_000


def parse(data: bytes, where: str) -> Content:
    """All triangles of the default scene in metres, seams of textures merged."""
    gltf, binary = _chunks(data, where)
    _need_readable(gltf, where)
    scene = _Scene(gltf, binary, where)
    names: list[str] = []
    pieces: list[Piece] = []
    for node, matrix in scene.nodes():
        parts = scene.parts(node.get("mesh"))
        if parts:
            names.append(scene.name_of(node))
        pieces += [part.placed(matrix, len(names) - 1) for part in parts]
    whole, part, colours = together(pieces)
    merged = welded(whole) if len(whole.faces) else whole
    dress, notes = dressed(names or [""], part, colours, merged)
    faces = merged.faces.astype(np.int64)
    return Content(merged.vertices_mm, faces, "m", (*scene.notes(), *notes), dress)


def _chunks(data: bytes, where: str) -> tuple[dict[str, Any], bytes]:
    if data[:4] != b"glTF":
        raise damaged(where, "is not a GLB file", 'it must begin with "glTF"')
    version, length = (int.from_bytes(data[at : at + 4], "little") for at in (4, 8))
    if version != 2:
        raise MeshFeatureMissing(
            where=where,
            found=f"is glTF version {version}",
            limit="the program reads version 2",
            remedy="Export it again as glTF 2.0 (GLB), or as STL.",
        )
    if length > len(data):
        raise truncated(where, f"promises {length} bytes but ends after {len(data)}")
    found: dict[bytes, bytes] = {}
    at = 12
    while at + 8 <= length:
        size = int.from_bytes(data[at : at + 4], "little")
        if at + 8 + size > length:
            raise truncated(where, "ends within one of its chunks")
        found.setdefault(data[at + 4 : at + 8], data[at + 8 : at + 8 + size])
        at += 8 + size
    if b"JSON" not in found:
        raise damaged(where, "has no description of its scene")
    try:
        gltf = json.loads(found[b"JSON"])
    except (ValueError, RecursionError) as fault:
        raise damaged(where, "has a description of its scene that is not JSON") from fault
    return gltf, found.get(b"BIN\x00", b"")


def _need_readable(gltf: dict[str, Any], where: str) -> None:
    named = set(gltf.get("extensionsRequired", ()))
    # copies are lost without it, required or not
    named |= {INSTANCING} & set(gltf.get("extensionsUsed", ()))
    missing = sorted(COMPRESSED & named)
    if missing:
        raise MeshFeatureMissing(
            where=where,
            found=f"stores its mesh with {', '.join(missing)}",
            limit="the program reads plain GLB",
            remedy="Export it again without compression and instancing, or as STL.",
        )


class _Scene:
    """Nodes and meshes of one file."""

    def __init__(self, gltf: dict[str, Any], binary: bytes, where: str) -> None:
        self._gltf, self._where = gltf, where
        self._buffers = [
            self._buffer(buffer, binary if i == 0 else b"")
            for i, buffer in enumerate(gltf.get("buffers", []))
        ]
        self._known: dict[int, list[Piece]] = {}
        self._skipped = 0
        self._textured = False

    def notes(self) -> tuple[str, ...]:
        """What was left aside."""
        notes = []
        if self._skipped:
            notes.append(f"{self._skipped} sets of points or lines in the file were left out.")
        if self._gltf.get("skins") or self._gltf.get("animations"):
            notes.append("Bones and animations in the file were left aside: rest pose.")
        if self._textured:
            notes.append("Textures in the file were left aside; plain colours were read.")
        return tuple(notes)

    def name_of(self, node: dict[str, Any]) -> str:
        """The name of a node that holds a mesh, or the mesh's own."""
        mesh = self._gltf["meshes"][node["mesh"]]
        return str(node.get("name") or mesh.get("name") or "")

    def nodes(self) -> Iterator[tuple[dict[str, Any], NDArray[np.float64]]]:
        """Each node of the scene with its matrix to the scene."""
        nodes = self._gltf.get("nodes", [])
        waiting = [(root, np.eye(4), 0) for root in self._roots()]
        met = 0
        while waiting:
            index, above, depth = waiting.pop()
            met += 1
            if depth > len(nodes) or met > MOST_NODES:
                raise damaged(self._where, "has a scene that contains itself")
            node = nodes[index]
            matrix = above @ _matrix(node)
            yield node, matrix
            waiting += [(child, matrix, depth + 1) for child in reversed(node.get("children", []))]

    def _roots(self) -> list[int]:
        scenes = self._gltf.get("scenes")
        if scenes:
            return list(reversed(scenes[self._gltf.get("scene", 0)].get("nodes", [])))
        nodes = self._gltf.get("nodes", [])
        children = {child for node in nodes for child in node.get("children", [])}
        return [i for i in range(len(nodes)) if i not in children]

    def parts(self, mesh: int | None) -> list[Piece]:
        """The triangle sets of one mesh of the file."""
        if mesh is None:
            return []
        if mesh not in self._known:
            primitives = self._gltf["meshes"][mesh]["primitives"]
            self._known[mesh] = [part for p in primitives if (part := self._part(p)) is not None]
        return self._known[mesh]

    def _part(self, primitive: dict[str, Any]) -> Piece | None:
        mode = primitive.get("mode", TRIANGLES)
        if mode not in (TRIANGLES, STRIP, FAN) or "POSITION" not in primitive["attributes"]:
            self._skipped += 1
            return None
        vertices = self._values(primitive["attributes"]["POSITION"]).astype(np.float64)
        if "indices" in primitive:
            corners = self._values(primitive["indices"]).ravel().astype(np.int64)
        else:
            corners = np.arange(len(vertices))
        if len(corners) and corners.max() >= len(vertices):
            raise damaged(
                self._where,
                f"names vertex {int(corners.max())}",
                f"that part has {len(vertices)}",
            )
        if mode == TRIANGLES:
            faces = corners[: len(corners) // 3 * 3].reshape(-1, 3)
        elif mode == STRIP:
            faces = strip(corners)
        else:
            first = np.full(max(len(corners) - 2, 0), corners[0] if len(corners) else 0)
            faces = np.stack([first, corners[1:-1], corners[2:]], axis=1)
        return Piece(Mesh(vertices, faces), self._colours(primitive, len(vertices), faces))

    def _colours(
        self, primitive: dict[str, Any], vertices: int, faces: NDArray[np.int64]
    ) -> Colours | None:
        """(F, 3, 4) colour of the material times that of the corners; None where neither says."""
        material: dict[str, Any] = {}
        if "material" in primitive:
            material = self._gltf["materials"][primitive["material"]]
        plain = material.get("pbrMetallicRoughness", {})
        self._textured |= "baseColorTexture" in plain
        linear = np.ones((vertices, 4))
        told = "baseColorFactor" in plain
        if told:
            linear *= np.asarray(plain["baseColorFactor"], dtype=np.float64)
        if "COLOR_0" in primitive["attributes"]:
            told = True
            own = self._values(primitive["attributes"]["COLOR_0"], whole_is_share=True)
            if len(own) != vertices:
                raise damaged(self._where, f"has {len(own)} colours for {vertices} vertices")
            linear[:, : own.shape[1]] *= own
        if not told:
            return None
        linear[:, :3] = srgb_of(linear[:, :3])
        return from_shares(linear)[faces]

    def _values(self, index: int, *, whole_is_share: bool = False) -> NDArray[Any]:
        """(N, width) the values of an accessor, whole numbers scaled where they stand for 0-1.

        ``whole_is_share``: whole numbers always do, as for colours.
        """
        accessor = self._gltf["accessors"][index]
        kind = np.dtype("<" + KINDS[accessor["componentType"]])
        width, count = WIDTHS[accessor["type"]], int(accessor["count"])
        values = np.zeros((count, width), dtype=kind)
        if "bufferView" in accessor:
            start = accessor.get("byteOffset", 0)
            values = self._view(accessor["bufferView"], start, kind, width, count)
        if sparse := accessor.get("sparse"):
            values = values.copy()
            places, new = sparse["indices"], sparse["values"]
            index_kind = np.dtype("<" + KINDS[places["componentType"]])
            n = int(sparse["count"])
            at = self._view(places["bufferView"], places.get("byteOffset", 0), index_kind, 1, n)
            values[at.ravel()] = self._view(
                new["bufferView"], new.get("byteOffset", 0), kind, width, n
            )
        if (whole_is_share or accessor.get("normalized")) and kind.kind in "iu":
            return np.maximum(values.astype(np.float64) / np.iinfo(kind).max, -1.0)
        return values

    def _view(
        self, index: int, offset: int, kind: np.dtype[Any], width: int, count: int
    ) -> NDArray[Any]:
        view = self._gltf["bufferViews"][index]
        data = self._buffers[view["buffer"]]
        start = view.get("byteOffset", 0) + offset
        row = kind.itemsize * width
        step = view.get("byteStride") or row
        if count and start + step * (count - 1) + row > len(data):
            raise truncated(self._where, "ends within its vertices or faces")
        table: NDArray[Any] = np.ndarray((count, width), kind, data, start, (step, kind.itemsize))
        return table

    def _buffer(self, buffer: dict[str, Any], binary: bytes) -> bytes:
        uri = buffer.get("uri")
        if uri is None:
            return binary
        if uri.startswith("data:") and ";base64," in uri[:128]:
            return base64.b64decode(uri.split(",", 1)[1])
        raise MeshFeatureMissing(
            where=self._where,
            found="keeps its mesh in another file",
            limit="a GLB must hold everything",
            remedy="Export it again as one GLB file.",
        )


def _matrix(node: dict[str, Any]) -> NDArray[np.float64]:
    """The 4x4 matrix of a node, from its matrix or from shift, turn and scale."""
    if "matrix" in node:
        return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
    x, y, z, w = np.array(node.get("rotation", (0, 0, 0, 1)), dtype=np.float64)
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    out = np.eye(4)
    out[:3, :3] = turn * np.array(node.get("scale", (1, 1, 1)), dtype=np.float64)
    out[:3, 3] = node.get("translation", (0, 0, 0))
    return out
