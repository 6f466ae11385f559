"""Is a file plainly no mesh? What its ends and its size show, before all of it is read.

What the readers take passes here too: STL is judged by the rules that its reader goes by.
"""

from __future__ import annotations

import mmap
import re
from pathlib import Path

HEADER, RECORD = 84, 50
"""Bytes of a binary STL before its first triangle, and of each triangle."""

SAMPLE = 4096

_VERTEX = re.compile(rb"(?:\A|[\r\n])(?:\xef\xbb\xbf)?[ \t]*v[ \t\\]")
_OFF_WORD = re.compile(rb"(?:\s+|#[^\n]*)*+([^\s#]{0,24})")
_OFF = re.compile(rb"(?:ST)?C?N?(4?n?)OFF|\d+")


def says_text(start: bytes) -> bool:
    """Whether an STL begins as its text form does; a binary header may say so too."""
    return start[:256].lstrip().lower().startswith(b"solid")


def promised(start: bytes) -> int:
    """How many triangles the header of a binary STL promises."""
    return int.from_bytes(start[80:HEADER], "little")


def looks_binary(start: bytes) -> bool:
    """Whether an STL holds more than text after its header."""
    sample = start[HEADER : HEADER + SAMPLE] or start
    strange = sum(byte < 9 or 13 < byte < 32 or byte > 126 for byte in sample)
    return strange > 0.05 * len(sample)


def first_fault(path: Path, format: str) -> str | None:
    """What shows that a file is no whole mesh of its format; None where nothing does.

    Args:
        path: a file with something in it.
        format: "stl", "obj", "ply" or "off"; of others nothing is said.

    Returns:
        What is found, to follow the file's name in a sentence.
    """
    look = {"stl": _stl, "obj": _obj, "ply": _ply, "off": _off}.get(format)
    if look is None:
        return None
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        return look(data)


def _stl(data: mmap.mmap) -> str | None:
    size, start = len(data), data[: HEADER + SAMPLE]
    binary, told = looks_binary(start), promised(start)
    if says_text(start) and size != HEADER + RECORD * told and not binary:
        if b"endsolid" in data[max(size - SAMPLE, 0) :].lower():
            return None
        if b"facet" in start.lower():
            return 'is a text STL that stops without "endsolid": it was cut off'
        return 'is text, but not an STL: one ends with "endsolid"'
    if size < HEADER or told != (size - HEADER) // RECORD:
        if not binary:
            return 'is text, but not an STL: one begins with "solid"'
        if size < HEADER:
            return f"ends within the header of a binary STL, after {size} bytes"
        held = (size - HEADER) // RECORD
        return f"promises {told:,} triangles and holds {held:,}: it was cut off or damaged"
    return None if told else "is an STL without a triangle"


def _obj(data: mmap.mmap) -> str | None:
    if b"\x00" in data[:SAMPLE]:
        return "is binary, and an OBJ file is text"
    return None if _VERTEX.search(data) else "has no line of an OBJ file that gives a vertex"


def _ply(data: mmap.mmap) -> str | None:
    if data[:3] != b"ply":
        return 'is not a PLY file: its first word must be "ply"'
    return None if data.find(b"end_header") >= 0 else "is a PLY file that ends within its header"


def _off(data: mmap.mmap) -> str | None:
    word = _OFF_WORD.match(data)
    first = word[1] if word else b""
    return None if _OFF.fullmatch(first) else 'is not an OFF file: its first word must be "OFF"'
