"""OFF, the text form, with or without normals and colours."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.refusals import counted
from firstpull.files.dress import WHITE, Colours, Dress, from_shares, opaque
from firstpull.files.mesh_content import Content, all_numbers, cut_note, numbers, unit_in_comment
from firstpull.files.polygons import Rows, triangulated
from firstpull.files.refusals import MeshFeatureMissing, damaged, truncated


def parse(data: bytes, where: str) -> Content:
    """Vertices and polygons with their colours; normals and textures are left aside."""
    text = re.sub(rb"#[^\n]*", b"", data) if b"#" in data else data
    lines = [line for line in text.splitlines() if line and not line.isspace()]
    if not lines:
        raise truncated(where, "ends before its first word")
    kind, rows = _after_head(lines, where)
    if not rows or len(rows[0].split()) < 2:
        raise truncated(where, "ends before it says how many vertices and faces it has")
    counts = numbers(rows[0].split()[:2], where, "a count")
    n, m = int(counts[0]), int(counts[1])
    if n < 0 or m < 0:
        raise damaged(where, f"promises {n} vertices and {m} faces")
    if len(rows) < 1 + n + m:
        raise truncated(
            where,
            f"promises {counted(n, 'vertex', 'vertices')} and {counted(m, 'face')} "
            f"but ends after {counted(len(rows) - 1, 'line')}",
        )
    content = _content(rows[1 : 1 + n], rows[1 + n : 1 + n + m], kind, where)
    return Content(
        content.vertices, content.faces, unit_in_comment(data), content.notes, content.dress
    )


def _after_head(lines: list[bytes], where: str) -> tuple[bytes, list[bytes]]:
    """The first word, and the lines that follow it; the word may share the first line."""
    first = lines[0].split()
    head = re.fullmatch(rb"(?:ST)?C?N?(4?n?)OFF", first[0])
    if head is None:
        if not first[0].isdigit():
            raise damaged(where, "is not an OFF file", 'its first word must be "OFF"')
        return b"OFF", lines
    if head[1]:
        raise _not_read(where, "vertices in four and more dimensions")
    if len(first) > 1 and first[1].upper() == b"BINARY":
        raise _not_read(where, "the binary form of OFF")
    rest = lines[0].split(None, 1)[1:]
    return first[0], [*rest, *lines[1:]]


def _content(points: list[bytes], lines: list[bytes], kind: bytes, where: str) -> Content:
    rows = _table(points, where, "a coordinate")
    short = int((rows.sizes < 3).sum())
    if short:
        raise damaged(where, f"has {short} vertices with fewer than three coordinates")
    vertices = rows.table(np.arange(len(points)), 3)
    polygons, face_colours, notes = _polygons(_table(lines, where, "a vertex number"), lines, where)
    faces, polygon = triangulated(polygons, vertices)
    colours = None if face_colours is None else face_colours[polygon]
    at_vertices = _vertex_colours(rows, points, kind)
    if at_vertices is not None and colours is not None:
        notes = (*notes, "Faces and vertices have colours; those of the faces were read.")
        at_vertices = None
    part = np.zeros(len(faces), dtype=np.int32)
    dress = Dress([""], part, face_colours=colours, vertex_colours=at_vertices)
    notes = (*cut_note(int((polygons.sizes > 3).sum())), *notes)
    return Content(np.ascontiguousarray(vertices), faces, None, notes, dress)


def _table(lines: list[bytes], where: str, what: str) -> Rows:
    """All words of the lines as numbers."""
    sizes = np.array([len(line.split()) for line in lines], dtype=np.int64)
    flat = all_numbers(b" ".join(lines))
    if flat is None or len(flat) != sizes.sum():
        flat = numbers([word for line in lines for word in line.split()], where, what)
    return Rows(flat, sizes)


def _polygons(
    rows: Rows, lines: list[bytes], where: str
) -> tuple[Rows, Colours | None, tuple[str, ...]]:
    """Corners, colours of the polygons, and notes."""
    starts = rows.starts
    sizes = rows.values[starts].astype(np.int64) if len(starts) else np.zeros(0, dtype=np.int64)
    wrong = np.flatnonzero((rows.sizes < 1 + sizes) | (sizes < 0))
    if len(wrong):
        raise truncated(where, f"ends within face {int(wrong[0]) + 1}")
    inner = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    corners = rows.values[np.repeat(starts + 1, sizes) + inner].astype(np.int64)
    more = rows.sizes - 1 - sizes
    coloured = np.flatnonzero(more >= 3)
    notes = ("Colours given by number from a list were left out.",) if (more == 1).any() else ()
    if not len(coloured):
        return Rows(corners, sizes), None, notes
    colours = np.tile(np.array(WHITE, dtype=np.uint8), (len(sizes), 1))
    for width in (3, 4):
        some = coloured[np.minimum(more[coloured], 4) == width]
        if len(some):
            at = (starts + 1 + sizes)[some][:, None] + np.arange(width)
            words = [lines[row].split()[1 + sizes[row] :] for row in some[:1000].tolist()]
            colours[some] = _bytes_of(rows.values[at], words)
    return Rows(corners, sizes), colours, notes


def _vertex_colours(rows: Rows, lines: list[bytes], kind: bytes) -> Colours | None:
    """Colours of a COFF file: after the place and the normal, before the texture."""
    if b"C" not in kind or not len(lines):
        return None
    first = 6 if b"N" in kind else 3
    width = int(rows.sizes.min()) - first - (2 if kind.startswith(b"ST") else 0)
    if width < 3:
        return None
    width = min(width, 4)
    values = rows.values[(rows.starts + first)[:, None] + np.arange(width)]
    return _bytes_of(values, [line.split()[first : first + width] for line in lines[:1000]])


def _bytes_of(values: NDArray[np.float64], words: list[list[bytes]]) -> Colours:
    """Whole numbers go to 255, numbers with a point to 1."""
    shares = values.max() <= 1.0 and any(b"." in word for row in words for word in row)
    return from_shares(values) if shares else opaque(values)


def _not_read(where: str, what: str) -> MeshFeatureMissing:
    return MeshFeatureMissing(
        where=where,
        found=f"uses {what}",
        limit="the program reads the plain text form",
        remedy="Export it again as plain OFF, or as STL.",
    )
