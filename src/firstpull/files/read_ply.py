"""PLY, text and binary of both byte orders, with faces or triangle strips."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.files.mesh_content import Content, numbers, triangulated
from firstpull.files.refusals import damaged, truncated

TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1",
    "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
CORNERS = ("vertex_indices", "vertex_index")


@dataclass(frozen=True)
class _Property:
    name: str
    type: str
    count_type: str | None = None  # of a list; None for a plain value


@dataclass(frozen=True)
class _Element:
    name: str
    count: int
    properties: tuple[_Property, ...]


Values = dict[str, Any]


def parse(data: bytes, where: str) -> Content:
    """Vertices and faces; a strip gives its triangles with alternating sense."""
    order, elements, start = _header(data, where)
    stream = _Text(data[start:], where) if not order else _Binary(data[start:], order, where)
    held = {element.name: stream.read(element) for element in elements}
    corners = held.get("vertex", {})
    if not {"x", "y", "z"} <= corners.keys():
        raise damaged(where, "has no vertex positions", "a mesh needs x, y and z for each")
    vertices = np.stack([corners[axis] for axis in "xyz"], axis=1).astype(np.float64)
    faces, larger = _faces(held, vertices)
    note = f"{larger} faces of more than three corners were cut into triangles."
    return Content(vertices, faces, None, (note,) if larger else ())


def _header(data: bytes, where: str) -> tuple[str, list[_Element], int]:
    if not data.startswith(b"ply"):
        raise damaged(where, "is not a PLY file", 'its first word must be "ply"')
    end = data.find(b"end_header")
    if end < 0:
        raise truncated(where, "ends within its header")
    after = data.index(b"\n", end) + 1 if b"\n" in data[end : end + 16] else end + 11
    order: str | None = None
    elements: list[_Element] = []
    for line in data[:end].decode("ascii", "replace").splitlines():
        words = line.split()
        if not words or words[0] in ("ply", "comment", "obj_info"):
            continue
        if words[0] == "format":
            order = ORDERS.get(words[1])
        elif words[0] == "element":
            elements.append(_Element(words[1], int(words[2]), ()))
        elif words[0] == "property":
            last = elements[-1]
            elements[-1] = _Element(last.name, last.count, (*last.properties, _property(words)))
    if order is None:
        raise damaged(where, "does not say whether it is text or binary")
    return order, elements, after


def _property(words: list[str]) -> _Property:
    if words[1] == "list":
        return _Property(words[4], TYPES[words[3]], TYPES[words[2]])
    return _Property(words[2], TYPES[words[1]])


class _Binary:
    """Elements one after the other from bytes."""

    def __init__(self, data: bytes, order: str, where: str) -> None:
        self._data, self._order, self._where, self._at = data, order, where, 0

    def read(self, element: _Element) -> Values:
        if all(p.count_type is None for p in element.properties):
            row = np.dtype([(p.name, self._order + p.type) for p in element.properties])
            rows = self._take(row, element.count, element)
            return {p.name: rows[p.name] for p in element.properties}
        return self._threes(element) or self._lists(element)

    def _threes(self, element: _Element) -> Values | None:
        """All lists as long as in the first row: the usual case, read at once."""
        at = self._at
        fields: list[Any] = []
        sizes = {}
        for p in element.properties:
            if p.count_type is None:
                fields.append((p.name, self._order + p.type))
                at += np.dtype(p.type).itemsize
                continue
            kind = np.dtype(self._order + p.count_type)
            if at + kind.itemsize > len(self._data):
                return None
            size = int(np.frombuffer(self._data, kind, 1, at)[0])
            if not 0 < size < 64:
                return None
            sizes[p.name] = size
            fields.append((f"{p.name} count", kind))
            fields.append((p.name, self._order + p.type, (size,)))
            at += kind.itemsize + size * np.dtype(p.type).itemsize
        row = np.dtype(fields)
        if self._at + row.itemsize * element.count > len(self._data):
            return None
        rows = np.frombuffer(self._data, row, element.count, self._at)
        if any((rows[f"{name} count"] != size).any() for name, size in sizes.items()):
            return None
        self._at += row.itemsize * element.count
        return {p.name: rows[p.name] for p in element.properties}

    def _lists(self, element: _Element) -> Values:
        out: dict[str, list[Any]] = {p.name: [] for p in element.properties}
        for _ in range(element.count):
            for p in element.properties:
                kind = np.dtype(self._order + p.type)
                if p.count_type is None:
                    out[p.name].append(self._take(kind, 1, element)[0])
                    continue
                size = self._take(np.dtype(self._order + p.count_type), 1, element)[0]
                out[p.name].append(self._take(kind, int(size), element))
        return dict(out)

    def _take(self, kind: np.dtype[Any], count: int, element: _Element) -> NDArray[Any]:
        size = kind.itemsize * count
        if count < 0 or self._at + size > len(self._data):
            raise truncated(
                self._where,
                f'ends within its "{element.name}" rows',
                f"the header promises {element.count}",
            )
        rows = np.frombuffer(self._data, kind, count, self._at)
        self._at += size
        return rows


class _Text:
    """Elements one after the other from lines."""

    def __init__(self, data: bytes, where: str) -> None:
        self._lines = io.BytesIO(data)
        self._where = where

    def read(self, element: _Element) -> Values:
        rows: list[list[bytes]] = []
        while len(rows) < element.count:
            line = self._lines.readline()
            if not line:
                raise truncated(
                    self._where,
                    f'ends after {len(rows)} of {element.count} "{element.name}" rows',
                )
            if words := line.split():
                rows.append(words)
        if all(p.count_type is None for p in element.properties):
            columns = len(element.properties)
            if any(len(row) < columns for row in rows):
                raise truncated(self._where, f'ends within a "{element.name}" row')
            words = [word for row in rows for word in row[:columns]]
            table = numbers(words, self._where, "a number").reshape(-1, columns)
            return {p.name: table[:, i] for i, p in enumerate(element.properties)}
        out: dict[str, list[Any]] = {p.name: [] for p in element.properties}
        for row in rows:
            at = 0
            for p in element.properties:
                size = 1
                if p.count_type is not None:
                    size, at = int(row[at]), at + 1
                values = [float(word) for word in row[at : at + size]]
                if len(values) < size:
                    raise truncated(self._where, f'ends within a "{element.name}" row')
                out[p.name].append(values if p.count_type is not None else values[0])
                at += size
        return dict(out)


def _faces(held: dict[str, Values], vertices: NDArray[np.float64]) -> tuple[NDArray[np.int64], int]:
    """(F, 3) triangles from faces and strips, and how many faces had more corners."""
    found = [np.zeros((0, 3), dtype=np.int64)]
    larger = 0
    for name in CORNERS:
        rows = held.get("face", {}).get(name)
        if isinstance(rows, np.ndarray) and rows.ndim == 2 and rows.shape[1] == 3:
            found.append(rows.astype(np.int64))
        elif rows is not None:
            polygons = [[int(corner) for corner in row] for row in rows]
            larger += sum(len(polygon) > 3 for polygon in polygons)
            found.append(triangulated(polygons, vertices))
    for name in CORNERS:
        for row in held.get("tristrips", {}).get(name, ()):
            found.append(strip(np.asarray(row, dtype=np.int64)))
    return np.concatenate(found), larger


def strip(corners: NDArray[np.int64]) -> NDArray[np.int64]:
    """(F, 3) triangles of a strip; -1 starts a new one, every second triangle is turned.

    >>> strip(np.array([0, 1, 2, 3, -1, 4, 5, 6])).tolist()
    [[0, 1, 2], [2, 1, 3], [4, 5, 6]]
    """
    if len(corners) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    triples = np.lib.stride_tricks.sliding_window_view(corners, 3).copy()
    place = np.arange(len(corners))
    breaks = np.where(corners < 0, place, -1)
    since = place - np.maximum.accumulate(breaks) - 1
    odd = since[: len(triples)] % 2 == 1
    triples[odd] = triples[odd][:, [1, 0, 2]]
    whole = (triples >= 0).all(axis=1)
    distinct = (triples != np.roll(triples, 1, axis=1)).all(axis=1)
    return triples[whole & distinct]
