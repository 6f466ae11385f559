"""STL, binary and text. The size of the file decides which it is, not its first word."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.refusals import counted
from firstpull.core.mesh.weld import equal_points
from firstpull.files.dress import Dress
from firstpull.files.first_look import HEADER, RECORD, looks_binary, promised, says_text
from firstpull.files.mesh_content import Content, all_numbers, numbers
from firstpull.files.refusals import damaged, truncated

TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])


def parse(data: bytes, where: str) -> Content:
    """The triangles, equal corners merged."""
    named_text = says_text(data)
    fits = len(data) >= HEADER and len(data) == HEADER + RECORD * promised(data)
    if fits or not named_text:
        note = (
            'The header begins with "solid" as a text file would; the content is binary and was'
            " read as such."
        )
        return _binary(data, where, (note,) if named_text else ())
    if b"facet" in data[:1024].lower() and looks_binary(data):
        raise damaged(where, "begins as a text STL but goes on in binary", "it must be one of both")
    if looks_binary(data):
        # a binary file with a header that says text, and a length that does not fit either
        return _binary(data, where, ())
    return _text(data, where)


def _binary(data: bytes, where: str, notes: tuple[str, ...]) -> Content:
    if len(data) < HEADER:
        if not looks_binary(data):
            raise damaged(where, "is neither text nor binary STL", "it holds a few words only")
        raise truncated(
            where,
            f"ends after {len(data)} bytes",
            f"the header of a binary STL alone takes {HEADER}",
        )
    told = promised(data)
    held, over = divmod(len(data) - HEADER, RECORD)
    if told > held:
        if not looks_binary(data):
            raise damaged(
                where,
                "is text, but not an STL",
                'a text STL begins with "solid"',
            )
        raise truncated(
            where,
            f"promises {told} triangles but ends after {held}",
            "the rest is missing",
        )
    if told < held:
        raise damaged(
            where,
            f"promises {told} triangles but holds {held}",
            "one of the two is wrong",
        )
    if over:
        notes = (*notes, f"{over} bytes after the last triangle were left out.")
    records = np.frombuffer(data, dtype=TRIANGLE, count=told, offset=HEADER)
    if records["extra"].any():
        notes = (
            *notes,
            "Colours in the attribute bytes, which no standard defines, were left out.",
        )
    dress = Dress.plain(told, _header_name(data[:80]))
    return _merged(records["corners"].reshape(-1, 3).astype(np.float64), notes, dress)


def _header_name(header: bytes) -> str:
    """The text of a binary header, without what a writer says of the format.

    >>> _header_name(b"binary STL, millimetres: heron mask".ljust(80))
    'heron mask'
    >>> _header_name(bytes([1, 2]) * 40)
    ''
    """
    text = header.split(b"\0")[0].decode("utf-8", "replace").strip()
    if not text.isprintable() or "\ufffd" in text:
        return ""
    text = re.sub(r"^solid\b\s*", "", text, flags=re.IGNORECASE)
    return re.sub(r"^binary STL\b[^:]*:?\s*", "", text)


def _merged(corners: NDArray[np.float64], notes: tuple[str, ...], dress: Dress) -> Content:
    if not len(corners):
        return Content(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), None, notes)
    first, place = equal_points(corners)
    return Content(corners[first], place.reshape(-1, 3).astype(np.int64), None, notes, dress)


_VERTEX = re.compile(rb"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)
_SOLID = re.compile(rb"(?im)^[ \t]*solid\b([^\r\n]*)|^[ \t]*facet\b")


def _text(data: bytes, where: str) -> Content:
    lower = data.lower()
    opened = len(re.findall(rb"(?m)^\s*facet\b", lower))
    closed = len(re.findall(rb"(?m)^\s*endfacet\b", lower))
    ended = b"endsolid" in lower[-4096:]
    if opened != closed or not ended:
        raise truncated(
            where,
            f"begins {counted(opened, 'facet')}, ends {closed}"
            + ("" if ended else ' and stops without "endsolid"'),
            "a whole text STL ends each",
        )
    rows = _VERTEX.findall(data)
    if len(rows) != 3 * opened:
        raise damaged(
            where, f"has {len(rows)} vertices for {opened} facets", "each facet has three"
        )
    flat = all_numbers(b" ".join([b" ".join(row) for row in rows]))
    if flat is None or len(flat) != 9 * opened:
        flat = numbers([word for row in rows for word in row], where, "a coordinate")
    return _merged(flat.reshape(-1, 3), (), _solids(data, opened))


def _solids(data: bytes, facets: int) -> Dress:
    """The solids of a text STL by name; most have one."""
    names: list[str] = []
    begins: list[int] = []
    met = 0
    for found in _SOLID.finditer(data):
        if found[1] is None:
            met += 1
        else:
            names.append(found[1].decode("utf-8", "replace").strip())
            begins.append(met)
    part = np.repeat(np.arange(len(begins)), np.diff([*begins, facets]))
    return Dress(names, part) if len(part) == facets else Dress.plain(facets)
