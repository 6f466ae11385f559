"""OBJ: vertices and faces; colours, textures, normals and lines are left aside."""

from __future__ import annotations

from firstpull.files.mesh_content import Content, numbers, triangulated
from firstpull.files.refusals import damaged


def parse(data: bytes, where: str) -> Content:
    """Vertices and faces of any number of corners; negative indices count back."""
    if b"\x00" in data[:4096]:
        raise damaged(where, "is binary", "an OBJ file is text")
    lines = data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").split(b"\n")
    words: list[bytes] = []
    polygons: list[list[int]] = []
    count = 0
    for number, line in enumerate(lines, start=1):
        head = line[:2]
        if head in (b"v ", b"v\t"):
            parts = line.split()
            if len(parts) < 4:
                raise damaged(
                    where, f"has {len(parts) - 1} coordinates in line {number}", "three are needed"
                )
            words += parts[1:4]
            count += 1
        elif head in (b"f ", b"f\t"):
            polygons.append(_face(line, count, number, where))
        elif line[:1] in b" \t" and line.strip()[:2] in (b"v ", b"f "):
            return parse(b"\n".join(each.strip() for each in lines), where)
    vertices = numbers(words, where, "a coordinate").reshape(-1, 3)
    return Content(vertices, triangulated(polygons, vertices), None, _notes(data, polygons))


def _face(line: bytes, count: int, number: int, where: str) -> list[int]:
    """Corner indices from 0; the part before the first slash counts."""
    out = []
    for word in line.split(b"#", 1)[0].split()[1:]:
        try:
            index = int(word.partition(b"/")[0])
        except ValueError:
            shown = word[:24].decode("ascii", "replace")
            raise damaged(where, f'has "{shown}" for a vertex number in line {number}') from None
        if index == 0:
            raise damaged(where, f"names vertex 0 in line {number}", "OBJ counts from 1")
        out.append(index - 1 if index > 0 else count + index)
    return out


def _notes(data: bytes, polygons: list[list[int]]) -> tuple[str, ...]:
    notes = []
    larger = sum(len(polygon) > 3 for polygon in polygons)
    if larger:
        notes.append(f"{larger} faces of more than three corners were cut into triangles.")
    if b"\nsurf " in data or b"\ncurv " in data:
        notes.append("Free-form curves and surfaces in the file were left out.")
    return tuple(notes)
