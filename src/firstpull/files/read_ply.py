"""PLY, text and binary of both byte orders, with faces or triangle strips."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, NoReturn

import numpy as np
from numba import njit
from numpy.typing import NDArray

from firstpull.files.dress import Colours, Dress, from_shares, opaque
from firstpull.files.mesh_content import (
    Content,
    all_numbers,
    cut_note,
    numbers,
    unit_in_comment,
)
from firstpull.files.polygons import Rows, triangulated
from firstpull.files.refusals import damaged, truncated

TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1",
    "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
TYPE_OF = "type of "
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
    held = {element.name: _with_types(stream.read(element), element) for element in elements}
    corners = held.get("vertex", {})
    if not {"x", "y", "z"} <= corners.keys():
        raise damaged(where, "has no vertex positions", "a mesh needs x, y and z for each")
    vertices = np.stack([corners[axis] for axis in "xyz"], axis=1).astype(np.float64)
    faces, row, larger = _faces(held, vertices)
    dress, notes = _dress(held, _names(data[:start]), faces, row)
    unit = unit_in_comment(data[:start])
    return Content(vertices, faces, unit, (*cut_note(larger), *notes), dress)


def _with_types(values: Values, element: _Element) -> Values:
    return values | {TYPE_OF + p.name: p.type for p in element.properties}


def _names(header: bytes) -> dict[int, str]:
    """The parts that comments name, as "comment part 0 heron mask"."""
    found = re.findall(rb"(?m)^comment part (\d{1,9}) ([^\r\n]*)", header)
    return {int(number): name.decode("utf-8", "replace") for number, name in found}


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
        """Lists of any length: found row by row, then taken out together."""
        fields = np.array(
            [
                (np.dtype(p.count_type).itemsize if p.count_type else 0, np.dtype(p.type).itemsize)
                for p in element.properties
            ],
            dtype=np.int64,
        )
        raw = np.frombuffer(self._data, np.uint8)
        starts, sizes, end = _walked(raw, self._at, fields, element.count, self._order == ">")
        if end < 0:
            self._short(element)
        self._at = int(end)
        out: Values = {}
        for k, p in enumerate(element.properties):
            rows = Rows(np.zeros(0), sizes[:, k])
            inner = np.arange(int(rows.sizes.sum())) - np.repeat(rows.starts, rows.sizes)
            at = np.repeat(starts[:, k], rows.sizes) + inner * fields[k, 1]
            taken = raw[at[:, None] + np.arange(fields[k, 1])]
            values = taken.reshape(-1).view(self._order + p.type)
            out[p.name] = values if p.count_type is None else Rows(values, rows.sizes)
        return out

    def _short(self, element: _Element) -> NoReturn:
        raise truncated(
            self._where,
            f'ends within its "{element.name}" rows',
            f"the header promises {element.count}",
        )

    def _take(self, kind: np.dtype[Any], count: int, element: _Element) -> NDArray[Any]:
        size = kind.itemsize * count
        if count < 0 or self._at + size > len(self._data):
            self._short(element)
        rows = np.frombuffer(self._data, kind, count, self._at)
        self._at += size
        return rows


@njit(cache=True)
def _walked(raw: Any, at: int, fields: Any, count: int, big: bool) -> Any:
    """Where each list begins and how long it is; the end is -1 where the bytes run out."""
    many = len(fields)
    starts = np.zeros((count, many), dtype=np.int64)
    sizes = np.ones((count, many), dtype=np.int64)
    for row in range(count):
        for k in range(many):
            wide = fields[k, 0]
            if wide:
                if at + wide > len(raw):
                    return starts, sizes, -1
                size = 0
                for b in range(wide):
                    place = b if big else wide - 1 - b
                    size = size * 256 + raw[at + place]
                at += wide
                sizes[row, k] = size
            starts[row, k] = at
            at += sizes[row, k] * fields[k, 1]
            if at > len(raw):
                return starts, sizes, -1
    return starts, sizes, at


class _Text:
    """Elements one after the other from words."""

    def __init__(self, data: bytes, where: str) -> None:
        values = all_numbers(data)
        self._values = numbers(data.split(), where, "a number") if values is None else values
        self._where, self._at = where, 0

    def read(self, element: _Element) -> Values:
        listed = np.array([p.count_type is not None for p in element.properties])
        starts, sizes, row, end = _stepped(self._values, self._at, listed, element.count)
        if row < element.count:
            raise truncated(
                self._where, f'ends after {row} of {element.count} "{element.name}" rows'
            )
        self._at = int(end)
        out: Values = {}
        for k, p in enumerate(element.properties):
            rows = Rows(np.zeros(0), sizes[:, k])
            inner = np.arange(int(rows.sizes.sum())) - np.repeat(rows.starts, rows.sizes)
            values = self._values[np.repeat(starts[:, k], rows.sizes) + inner]
            out[p.name] = Rows(values, rows.sizes) if listed[k] else values
        return out


@njit(cache=True)
def _stepped(values: Any, at: int, listed: Any, count: int) -> Any:
    """As ``_walked``, over numbers; and how many rows are whole."""
    many = len(listed)
    starts = np.zeros((count, many), dtype=np.int64)
    sizes = np.ones((count, many), dtype=np.int64)
    for row in range(count):
        for k in range(many):
            if listed[k]:
                if at >= len(values) or values[at] < 0:
                    return starts, sizes, row, at
                sizes[row, k] = int(values[at])
                at += 1
            starts[row, k] = at
            at += sizes[row, k]
            if at > len(values):
                return starts, sizes, row, at
    return starts, sizes, count, at


def _faces(
    held: dict[str, Values], vertices: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    """(F, 3) triangles from faces and strips, the face row of each (-1 in a strip), and how
    many faces had more corners."""
    found, rows_of = [np.zeros((0, 3), dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    larger = 0
    for name in CORNERS:
        rows = held.get("face", {}).get(name)
        if isinstance(rows, np.ndarray):
            sizes = np.full(len(rows), rows.shape[1], dtype=np.int64)
            rows = Rows(rows.reshape(-1), sizes)
        if rows is not None:
            larger += int((rows.sizes > 3).sum())
            faces, polygon = triangulated(rows, vertices)
            found.append(faces)
            rows_of.append(polygon)
    for name in CORNERS:
        strips = held.get("tristrips", {}).get(name)
        if isinstance(strips, np.ndarray):
            strips = Rows(strips.reshape(-1), np.full(len(strips), strips.shape[1]))
        for corners in [] if strips is None else np.split(strips.values, strips.starts[1:]):
            faces = strip(corners.astype(np.int64))
            found.append(faces)
            rows_of.append(np.full(len(faces), -1))
    return np.concatenate(found), np.concatenate(rows_of), larger


def _dress(
    held: dict[str, Values], names: dict[int, str], faces: NDArray[np.int64], row: NDArray[np.int64]
) -> tuple[Dress, tuple[str, ...]]:
    """Colours of faces before those of vertices; parts where the faces have a number for it."""
    part = np.zeros(len(faces), dtype=np.int64)
    told = held.get("face", {}).get("part")
    if names and isinstance(told, np.ndarray) and told.ndim == 1:
        part = np.where(row < 0, 0, told.astype(np.int64)[row])
    numbered, part = np.unique(part, return_inverse=True)
    kept = [names.get(int(number), "") for number in numbered] or [""]
    of_faces, of_vertices = _colours(held.get("face", {})), _colours(held["vertex"])
    if of_faces is not None:
        colours = np.where((row < 0)[:, None], np.uint8(255), of_faces[row])
        both = of_vertices is not None
        note = "Faces and vertices have colours; those of the faces were read."
        return Dress(kept, part, face_colours=colours), (note,) if both else ()
    return Dress(kept, part, vertex_colours=of_vertices), ()


def _colours(values: Values) -> Colours | None:
    """Red, green, blue and, where given, alpha of an element."""
    for before in ("", "diffuse_"):
        columns = [values.get(before + name) for name in ("red", "green", "blue")]
        if any(not isinstance(column, np.ndarray) for column in columns):
            continue
        alpha = values.get(before + "alpha", values.get("alpha"))
        table = np.stack([c for c in (*columns, alpha) if c is not None], axis=1)
        kinds = {values[TYPE_OF + before + "red"]}
        if kinds & {"f4", "f8"}:
            return from_shares(table)
        return opaque(table / 257.0 + 0.5 if "u2" in kinds else table)
    return None


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
