"""Writes GLB (glTF 2.0 in one file): a node for each part, with its name and colours.

Source: glTF 2.0 specification (ISO/IEC 12113).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.dress import Colours, Dress, linear_of

ARRAY, ELEMENTS = 34962, 34963
FLOAT, UINT, USHORT = 5126, 5125, 5123
MM = 0.001


def glb_parts(mesh: Mesh, dress: Dress) -> Iterator[bytes]:
    """A mesh in millimetres as GLB, in pieces.

    The scene is in metres, as the standard has it: the corners are kept in millimetres, as
    32-bit numbers, under a node that scales them. So corners that single precision tells
    apart in an STL stay apart here.
    """
    scene = _Scene()
    colours = dress.corner_colours(mesh)
    for number, chosen in faces_by(dress.part, len(dress.names)):
        corners = None if colours is None else colours[chosen]
        scene.add(dress.names[number], mesh, mesh.faces[chosen], corners)
    yield from scene.parts()


def faces_by(label: NDArray[Any], count: int) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Each label that occurs, in the order of its first face, with its faces in order."""
    order = np.argsort(label, kind="stable")
    ends = np.cumsum(np.bincount(label, minlength=count))
    groups = [(n, group) for n, group in enumerate(np.split(order, ends[:-1])) if len(group)]
    yield from sorted(groups, key=lambda pair: int(pair[1][0]))


class _Scene:
    """What has been gathered of a scene."""

    def __init__(self) -> None:
        self._blocks: list[bytes] = []
        self._views: list[dict[str, Any]] = []
        self._accessors: list[dict[str, Any]] = []
        self._meshes: list[dict[str, Any]] = []
        self._materials: list[dict[str, Any]] = []
        self._nodes: list[dict[str, Any]] = []
        self._size = 0

    def add(self, name: str, mesh: Mesh, faces: NDArray[np.int32], colours: Colours | None) -> None:
        """One part: a node, a mesh, and its vertices; those of two colours come twice."""
        mixed = colours is not None and bool((colours != colours[0, 0]).any())
        key = faces.reshape(-1).astype(np.int64)
        if mixed:
            assert colours is not None
            whole = np.ascontiguousarray(colours).reshape(-1, 4).view(np.uint32)[:, 0]
            key = key * (1 << 32) + whole
        _, first, corner = np.unique(key, return_index=True, return_inverse=True)
        places = mesh.vertices_mm[faces.reshape(-1)[first]].astype("<f4")
        attributes = {"POSITION": self._accessor(places, FLOAT, "VEC3", ARRAY)}
        low, high = places.min(axis=0), places.max(axis=0)
        self._accessors[-1] |= {"min": low.tolist(), "max": high.tolist()}
        if mixed:
            assert colours is not None
            own = np.rint(_linear(colours.reshape(-1, 4)[first]) * 65535.0).astype("<u2")
            attributes["COLOR_0"] = self._accessor(own, USHORT, "VEC4", ARRAY)
            self._accessors[-1]["normalized"] = True
        indices = self._accessor(corner.reshape(-1, 1).astype("<u4"), UINT, "SCALAR", ELEMENTS)
        primitive = {
            "attributes": attributes,
            "indices": indices,
            "material": self._material(colours, mixed),
        }
        title = {"name": name} if name else {}
        self._nodes.append({**title, "mesh": len(self._meshes)})
        self._meshes.append({**title, "primitives": [primitive]})

    def _accessor(self, table: NDArray[Any], kind: int, shape: str, target: int) -> int:
        data = table.tobytes()
        assert len(data) % 4 == 0
        view = {"buffer": 0, "byteOffset": self._size, "byteLength": len(data), "target": target}
        self._views.append(view)
        self._blocks.append(data)
        self._size += len(data)
        here = {"bufferView": len(self._views) - 1, "componentType": kind}
        self._accessors.append({**here, "count": len(table), "type": shape})
        return len(self._accessors) - 1

    def _material(self, colours: Colours | None, mixed: bool) -> int:
        plain: dict[str, Any] = {"metallicFactor": 0.0, "roughnessFactor": 0.8}
        material: dict[str, Any] = {"pbrMetallicRoughness": plain}
        if colours is not None:
            if not mixed:
                plain["baseColorFactor"] = _linear(colours[0, :1])[0].tolist()
            if (colours[..., 3] < 255).any():
                material["alphaMode"] = "BLEND"
        if material not in self._materials:
            self._materials.append(material)
        return self._materials.index(material)

    def parts(self) -> Iterator[bytes]:
        """The file: the description, then the numbers."""
        root = {"scale": [MM, MM, MM], "children": list(range(1, len(self._nodes) + 1))}
        gltf = {
            "asset": {"version": "2.0"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": [root, *self._nodes],
            "meshes": self._meshes,
            "materials": self._materials,
            "accessors": self._accessors,
            "bufferViews": self._views,
            "buffers": [{"byteLength": self._size}],
        }
        text = json.dumps(gltf, separators=(",", ":"), allow_nan=False).encode()
        text += b" " * (-len(text) % 4)
        length = 12 + 8 + len(text) + 8 + self._size
        yield b"glTF" + _four(2) + _four(length) + _four(len(text)) + b"JSON" + text
        yield _four(self._size) + b"BIN\0"
        yield from self._blocks


def _linear(colours: Colours) -> NDArray[np.float64]:
    """(N, 4) shares; light is linear in this format, opacity is as it was."""
    shares = colours / 255.0
    shares[:, :3] = linear_of(shares[:, :3])
    return shares


def _four(value: int) -> bytes:
    return value.to_bytes(4, "little")
