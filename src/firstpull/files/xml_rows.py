"""Long runs of alike XML elements as tables, without building an element for each.

A mesh of a million triangles is two such runs; an XML library takes most of a reading for
them. Runs that are not alike in every row stay where they are.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.files.mesh_content import all_numbers

RUNS = (b"vertices", b"triangles")
MARK = "table"
CHUNK = 1 << 23
_ROW = re.compile(rb'\s*<(\w+)((?:\s+\w+="[^"<&]*")+)\s*/>')
_NAME = re.compile(rb'\s+(\w+)="[^"]*"')


@dataclass(frozen=True)
class Table:
    """The rows of one run.

    Args:
        row: name of the elements.
        columns: attribute name to (N,) numbers.
    """

    row: str
    columns: dict[str, NDArray[np.float64]]


def lifted(data: bytes, *, namespace: str) -> tuple[bytes, list[Table]]:
    """The document with each run replaced by one empty element, and the runs as tables.

    The empty element has the attribute ``table`` with the place of its table in the list.
    A document with comments, or with another default namespace anywhere, is left whole.

    >>> text = b'<a xmlns="n"><vertices><vertex x="1"/><vertex x="2.5"/></vertices></a>'
    >>> rest, tables = lifted(text, namespace="n")
    >>> rest.decode(), tables[0].columns["x"].tolist()
    ('<a xmlns="n"><vertices table="0"/></a>', [1.0, 2.5])
    """
    defaults = set(re.findall(rb'xmlns\s*=\s*["\']([^"\']*)', data))
    if b"<!" in data or defaults != {namespace.encode()}:
        return data, []
    out: list[bytes] = []
    tables: list[Table] = []
    at = 0
    while (found := _next_run(data, at)) is not None:
        name, start, end = found
        out.append(data[at : start - len(name) - 2])
        table = _table(data, start, end)
        close = end + len(name) + 3
        if table is None:
            out.append(data[start - len(name) - 2 : close])
        else:
            out.append(b'<%s %s="%d"/>' % (name, MARK.encode(), len(tables)))
            tables.append(table)
        at = close
    return b"".join([*out, data[at:]]), tables


def _next_run(data: bytes, at: int) -> tuple[bytes, int, int] | None:
    """Name, beginning and end of what the next run holds."""
    places = [(place, name) for name in RUNS if (place := data.find(b"<%s>" % name, at)) >= 0]
    if not places:
        return None
    place, name = min(places)
    start = place + len(name) + 2
    end = data.find(b"</%s>" % name, start)
    return None if end < 0 else (name, start, end)


def _table(data: bytes, start: int, end: int) -> Table | None:
    """The run as a table; None where its rows differ in anything but their numbers."""
    first = _ROW.match(data, start, end)
    if first is None:
        return None
    names = [name.decode() for name in _NAME.findall(first[2])]
    width = len(names)
    if len(set(names)) < width:
        return None
    # what stands between the quotes of a row; the first also ends the row before
    tags = [b"<%s %s=" % (first[1], names[0].encode())]
    tags += [b"%s=" % name.encode() for name in names[1:]]
    found: list[NDArray[Any]] = []
    while start < end:
        cut = data.find(b"/>", min(start + CHUNK, end - 2)) + 2
        cut = cut if 2 <= cut <= end else end
        pieces = data[start:cut].split(b'"')
        if (len(pieces) - 1) % (2 * width):
            return None
        for k, tag in enumerate(tags):
            if any(_plain(piece, k == 0) != tag for piece in set(pieces[2 * k : -1 : 2 * width])):
                return None
        if pieces[-1].strip() not in ((b"/>",) if len(pieces) > 1 else (b"",)):
            return None
        values = all_numbers(b" ".join(pieces[1::2]))
        if values is None or len(values) != len(pieces) // 2:
            return None
        found.append(values.reshape(-1, width))
        start = cut
    return _joined(first, names, found)


def _plain(piece: bytes, begins: bool) -> bytes:
    """The words before a quote with single blanks, without the end of the row before."""
    text = b" ".join(piece.split())
    return text.removeprefix(b"/>").lstrip() if begins else text


def _joined(first: re.Match[bytes], names: list[str], found: list[NDArray[Any]]) -> Table:
    whole = np.concatenate(found)
    return Table(first[1].decode(), {name: whole[:, k] for k, name in enumerate(names)})
