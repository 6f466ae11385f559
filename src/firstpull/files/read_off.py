"""OFF, the text form, with or without colours and normals."""

from __future__ import annotations

import re

import numpy as np

from firstpull.core.mesh.refusals import counted
from firstpull.files.mesh_content import Content, numbers, triangulated
from firstpull.files.refusals import MeshFeatureMissing, damaged, truncated


def parse(data: bytes, where: str) -> Content:
    """Vertices and polygons; whatever follows a face's corners on its line is left aside."""
    lines = [line.split() for line in re.sub(rb"#[^\n]*", b"", data).split(b"\n")]
    lines = [line for line in lines if line]
    if not lines:
        raise truncated(where, "ends before its first word")
    head = re.fullmatch(rb"(?:ST)?C?N?(4?n?)OFF", lines[0][0])
    if head is None:
        if not lines[0][0].isdigit():
            raise damaged(where, "is not an OFF file", 'its first word must be "OFF"')
        lines[0] = [b"OFF", *lines[0]]
    elif head[1]:
        raise _not_read(where, "vertices in four and more dimensions")
    if len(lines[0]) > 1 and lines[0][1].upper() == b"BINARY":
        raise _not_read(where, "the binary form of OFF")
    lines[0] = lines[0][1:]
    rows = [line for line in lines if line]
    if not rows or len(rows[0]) < 2:
        raise truncated(where, "ends before it says how many vertices and faces it has")
    counts = numbers(rows[0][:2], where, "a count")
    n, m = int(counts[0]), int(counts[1])
    if n < 0 or m < 0:
        raise damaged(where, f"promises {n} vertices and {m} faces")
    if len(rows) < 1 + n + m:
        raise truncated(
            where,
            f"promises {counted(n, 'vertex', 'vertices')} and {counted(m, 'face')} "
            f"but ends after {counted(len(rows) - 1, 'line')}",
        )
    return _content(rows[1 : 1 + n], rows[1 + n : 1 + n + m], where)


def _content(points: list[list[bytes]], rows: list[list[bytes]], where: str) -> Content:
    short = [row for row in points if len(row) < 3]
    if short:
        raise damaged(where, f"has {len(short)} vertices with fewer than three coordinates")
    words = [word for row in points for word in row[:3]]
    vertices = numbers(words, where, "a coordinate").reshape(-1, 3)
    polygons = []
    for number, row in enumerate(rows, start=1):
        corners = int(row[0])
        if len(row) < 1 + corners:
            raise truncated(where, f"ends within face {number}")
        polygons.append([int(word) for word in row[1 : 1 + corners]])
    larger = sum(len(polygon) > 3 for polygon in polygons)
    note = f"{larger} faces of more than three corners were cut into triangles."
    faces = triangulated(polygons, vertices)
    return Content(np.ascontiguousarray(vertices), faces, None, (note,) if larger else ())


def _not_read(where: str, what: str) -> MeshFeatureMissing:
    return MeshFeatureMissing(
        where=where,
        found=f"uses {what}",
        limit="the program reads the plain text form",
        remedy="Export it again as plain OFF, or as STL.",
    )
