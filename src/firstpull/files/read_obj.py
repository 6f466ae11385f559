"""OBJ: vertices, faces, object and group names, colours at the vertices.

Textures, normals, lines and the separate material file are left aside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firstpull.files.dress import WHITE, Colours, Dress, from_shares, opaque
from firstpull.files.mesh_content import Content, all_numbers, cut_note, numbers, unit_in_comment
from firstpull.files.polygons import Rows, triangulated
from firstpull.files.refusals import damaged


@dataclass
class _Lines:
    """The lines of a file by what they hold."""

    vertices: list[bytes] = field(default_factory=list)
    vertex_lines: list[int] = field(default_factory=list)
    faces: list[bytes] = field(default_factory=list)
    face_lines: list[int] = field(default_factory=list)
    known: dict[int, int] = field(default_factory=dict)
    """Of each face with a number that counts back: how many vertices come before it."""
    names: list[tuple[int, str]] = field(default_factory=list)
    """Where a part begins: its first face, and its name."""


def parse(data: bytes, where: str) -> Content:
    """Vertices and faces of any number of corners; negative indices count back."""
    if b"\x00" in data[:4096]:
        raise damaged(where, "is binary", "an OBJ file is text")
    lines = _sorted_out(_clean(data).split(b"\n"))
    vertices, colours = _vertices(lines, where)
    polygons = _polygons(lines, where)
    faces, polygon = triangulated(polygons, vertices)
    names, part = _parts(lines.names, len(polygons.sizes))
    dress = Dress(names, part[polygon], vertex_colours=colours)
    notes = _notes(data, int((polygons.sizes > 3).sum()))
    return Content(vertices, faces, unit_in_comment(data), notes, dress)


def _clean(data: bytes) -> bytes:
    """The text with continued lines joined, nothing before the first word, tabs as blanks."""
    if b"\\" in data:
        data = data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")
    if b"\t" in data:
        data = data.replace(b"\t", b" ")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return re.sub(rb"\n +", b"\n", data) if data[:1] == b" " or b"\n " in data else data


def _sorted_out(lines: list[bytes]) -> _Lines:
    out = _Lines()
    named, grouped = "", ""
    for number, line in enumerate(lines, start=1):
        head = line[:2]
        if head == b"v ":
            out.vertices.append(line)
            out.vertex_lines.append(number)
        elif head == b"f ":
            if b"-" in line:
                out.known[len(out.faces)] = len(out.vertices)
            out.faces.append(line)
            out.face_lines.append(number)
        elif head in (b"o ", b"g ") or line in (b"o", b"g"):
            name = line[2:].decode("utf-8", "replace").strip()
            if head[:1] == b"o":
                named, grouped = name, ""
            else:
                grouped = "" if name in ("default", "off") else name
            both = [n for n in dict.fromkeys((named, grouped)) if n]
            out.names.append((len(out.faces), "/".join(both)))
    return out


def _vertices(lines: _Lines, where: str) -> tuple[NDArray[np.float64], Colours | None]:
    rows = [line.partition(b"#")[0] if b"#" in line else line for line in lines.vertices]
    counts = np.array([len(row.split()) for row in rows], dtype=np.int64) - 1
    short = np.flatnonzero(counts < 3)
    if len(short):
        n = int(short[0])
        raise damaged(
            where,
            f"has {counts[n]} coordinates in line {lines.vertex_lines[n]}",
            "three are needed",
        )
    flat = all_numbers(b" ".join([row[2:] for row in rows]))
    if flat is None or len(flat) != counts.sum():
        flat = numbers([w for row in rows for w in row.split()[1:]], where, "a coordinate")
    table = Rows(flat, counts)
    vertices = table.table(np.arange(len(rows)), 3)
    coloured = np.flatnonzero(counts >= 6)
    if not len(coloured):
        return vertices, None
    # x y z r g b; a weight may stand before the colour, and then there are seven
    ends = np.minimum(counts[coloured], 7)
    values = flat[(table.starts[coloured] + ends)[:, None] + np.array([-3, -2, -1])]
    colours = np.tile(np.array(WHITE, dtype=np.uint8), (len(rows), 1))
    colours[coloured] = opaque(values) if np.nanmax(values) > 1.0 else from_shares(values)
    return vertices, colours


def _polygons(lines: _Lines, where: str) -> Rows:
    rows = [line.partition(b"#")[0] if b"#" in line else line for line in lines.faces]
    sizes = np.array([len(row.split()) for row in rows], dtype=np.int64) - 1
    text = b" ".join([row[2:] for row in rows])
    if b"/" in text:
        text = re.sub(rb"/\S*", b"", text)
    flat = all_numbers(text)
    if flat is None or len(flat) != sizes.sum() or (flat == 0).any() or (flat % 1 != 0).any():
        words = [word for row in rows for word in row.split()[1:]]
        flat = _corners(words, np.repeat(lines.face_lines, sizes), where)
    corners = flat.astype(np.int64)
    before = np.zeros(len(sizes), dtype=np.int64)
    before[list(lines.known)] = list(lines.known.values())
    return Rows(np.where(corners > 0, corners - 1, np.repeat(before, sizes) + corners), sizes)


def _corners(words: list[bytes], line: NDArray[np.int64], where: str) -> NDArray[np.float64]:
    """Vertex numbers from 1 or counting back, one by one; the part before the slash counts."""
    out = np.zeros(len(words))
    for n, word in enumerate(words):
        try:
            out[n] = int(word.partition(b"/")[0])
        except ValueError:
            shown = word[:24].decode("ascii", "replace")
            raise damaged(where, f'has "{shown}" for a vertex number in line {line[n]}') from None
        if out[n] == 0:
            raise damaged(where, f"names vertex 0 in line {line[n]}", "OBJ counts from 1")
    return out


def _parts(begins: list[tuple[int, str]], faces: int) -> tuple[list[str], NDArray[np.int64]]:
    """Names, and the part of each polygon; of names without faces only the last before one.

    >>> _parts([(0, "mask"), (0, "mask/beak"), (2, "crest")], 3)
    (['mask/beak', 'crest'], array([0, 0, 1]))
    """
    last = {first: name for first, name in [(0, ""), *begins] if first < faces}
    numbers_of: dict[str, int] = {}
    chosen = [numbers_of.setdefault(name, len(numbers_of)) for name in last.values()]
    lengths = np.diff([*last, faces])
    return list(numbers_of) or [""], np.repeat(np.array(chosen, dtype=np.int64), lengths)


def _notes(data: bytes, larger: int) -> tuple[str, ...]:
    notes = list(cut_note(larger))
    if b"\nsurf " in data or b"\ncurv " in data:
        notes.append("Free-form curves and surfaces in the file were left out.")
    if b"mtllib" in data or b"\nusemtl" in data:
        notes.append("Colours that the file takes from a separate material file were not read.")
    return tuple(notes)
