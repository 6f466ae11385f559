"""The box: arrays as raw numbers with a short head, as the browser draws them.

Layout, little-endian: magic (8 bytes), length of the head (4 bytes), head, data. The head is
JSON, ``{"arrays": {name: {"dtype", "shape", "offset"}}, "meta": {...}}``, padded with spaces so
that the data begin at a multiple of 4; offsets count from the first byte of the data, and each
array begins at a multiple of 4. A mesh is ``positions`` (V, 3) "f4" in mm and ``indices``
(F, 3) "u4".

Reading a head needs no numpy, so that a server can look into a box without loading it.
"""

from __future__ import annotations

import json
import math
import struct
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from firstpull.core.errors import WorkshopError
from firstpull.files.whole_file import whole_file

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from firstpull.core.mesh.mesh import Mesh

MAGIC = b"FPBOX001"
START = struct.Struct("<8sI")
ALIGN = 4
BYTES = {"f4": 4, "u4": 4, "i4": 4, "u1": 1}
"""The kinds of numbers that an array may hold, and the size of one."""

LONGEST_HEAD = 1 << 20  # of a box that this program wrote
SUFFIX = ".box"


class BadBox(WorkshopError):
    """A file is no box, or not a whole one."""

    code = "bad_box"


@dataclass(frozen=True)
class BoxHead:
    """What a box holds.

    Args:
        arrays: name to dtype, shape and offset.
        meta: whatever was said of them.
        start: the byte of the file at which the data begin.
    """

    arrays: dict[str, dict[str, Any]]
    meta: dict[str, Any]
    start: int

    def span(self, name: str) -> tuple[int, int]:
        """First byte of an array in the file, and how many there are."""
        entry = self.arrays[name]
        return self.start + entry["offset"], _size(entry)

    @property
    def size_bytes(self) -> int:
        """Of the whole box."""
        return max((sum(self.span(name)) for name in self.arrays), default=self.start)


def box_blocks(
    arrays: Mapping[str, NDArray[Any]], meta: Mapping[str, Any] | None = None
) -> Iterator[bytes | memoryview]:
    """A box in pieces, ready to be written or sent; contiguous arrays are not copied.

    Args:
        arrays: by name, of float32, uint32, int32 or uint8.
        meta: plain data.

    >>> import numpy as np
    >>> data = b"".join(box_blocks({"values": np.float32([1, 2])}, {"unit": "mm"}))
    >>> decode_box(data)[0]["values"].tolist(), len(data) % 4
    ([1.0, 2.0], 0)
    """
    entries: dict[str, dict[str, Any]] = {}
    blocks: list[bytes | memoryview] = []
    at = 0
    for name, array in arrays.items():
        kind = array.dtype.str[1:]
        assert kind in BYTES, f"{name} holds {array.dtype}"
        entries[name] = {"dtype": kind, "shape": list(array.shape), "offset": at}
        blocks += [_raw(array), bytes(-array.nbytes % ALIGN)]
        at += array.nbytes + -array.nbytes % ALIGN
    head = json.dumps(
        {"arrays": entries, "meta": dict(meta or {})}, separators=(",", ":"), allow_nan=False
    ).encode()
    head += b" " * (-(START.size + len(head)) % ALIGN)
    yield START.pack(MAGIC, len(head))
    yield head
    yield from (block for block in blocks if len(block))


def decode_box(data: bytes) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """The arrays of a box, read-only and sharing its bytes, and its meta.

    Raises:
        BadBox: not a box, cut short, or its head does not fit its data.
    """
    import numpy as np

    head = _head(data[: START.size], data[START.size :], "The box", len(data))
    arrays = {}
    for name, entry in head.arrays.items():
        first, length = head.span(name)
        part = memoryview(data)[first : first + length]
        arrays[name] = np.frombuffer(part, dtype="<" + entry["dtype"]).reshape(entry["shape"])
    return arrays, head.meta


def read_box(path: Path | str) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """As :func:`decode_box`, from a file."""
    try:
        return decode_box(Path(path).read_bytes())
    except OSError as fault:
        raise _bad(str(path), f"cannot be read ({fault.strerror})") from fault


def read_head(path: Path | str) -> BoxHead:
    """What a box in a file holds, its numbers left where they are.

    Raises:
        BadBox: not a box, cut short, or its head does not fit its data.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            start = file.read(START.size)
            return _head(start, file.read(LONGEST_HEAD), str(path), path.stat().st_size)
    except OSError as fault:
        raise _bad(str(path), f"cannot be read ({fault.strerror})") from fault


def write_box(
    path: Path | str, arrays: Mapping[str, NDArray[Any]], meta: Mapping[str, Any] | None = None
) -> int:
    """A box as a file that appears whole or not at all; gives its size in bytes."""
    with whole_file(path) as stream:
        return _written(stream, box_blocks(arrays, meta))


def mesh_arrays(mesh: Mesh) -> dict[str, NDArray[Any]]:
    """A mesh as the arrays of a box."""
    import numpy as np

    return {
        "positions": mesh.vertices_mm.astype(np.float32),
        "indices": mesh.faces.view(np.uint32),
    }


def mesh_of_box(arrays: Mapping[str, NDArray[Any]]) -> Mesh:
    """The mesh that a box holds, its corners rounded to float32."""
    from firstpull.core.mesh.mesh import Mesh

    return Mesh(arrays["positions"], arrays["indices"])


def _written(stream: BinaryIO, blocks: Iterator[bytes | memoryview]) -> int:
    return sum(stream.write(block) for block in blocks)


def _raw(array: NDArray[Any]) -> memoryview:
    import numpy as np

    little = np.ascontiguousarray(array)
    if sys.byteorder != "little":
        little = little.astype(little.dtype.newbyteorder("<"))
    return memoryview(little.reshape(-1).view(np.uint8)).cast("B")


def _head(start: bytes, rest: bytes, where: str, size_bytes: int) -> BoxHead:
    if len(start) < START.size or start[:8] != MAGIC:
        raise _bad(where, "is no box of this program")
    length = START.unpack(start)[1]
    if length > len(rest):
        raise _bad(where, "is cut short")
    try:
        told = json.loads(rest[:length])
        head = BoxHead(dict(told["arrays"]), dict(told["meta"]), START.size + length)
        fits = all(e["offset"] >= 0 and e["dtype"] in BYTES for e in head.arrays.values())
        whole = fits and head.size_bytes <= size_bytes
    except (ValueError, KeyError, TypeError) as fault:
        raise _bad(where, "has a head that cannot be read") from fault
    if not whole:
        raise _bad(where, "is cut short" if fits else "has a head that cannot be read")
    return head


def _size(entry: dict[str, Any]) -> int:
    return BYTES[entry["dtype"]] * math.prod(entry["shape"])


def _bad(where: str, found: str) -> BadBox:
    return BadBox(where=where, found=found, remedy="Plan the job again.")
