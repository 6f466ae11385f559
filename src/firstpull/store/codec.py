"""How is a value laid out as bytes? A JSON tree and raw arrays; nothing in it can run.

Layout, little-endian: magic (8 bytes), checksum of all that follows (CRC-32, 4 bytes), length
of the JSON header (4 bytes), header, then each array at a multiple of 16 bytes. The header is
``{"tree": ..., "arrays": [[dtype, shape, offset], ...]}``; offsets count from the first byte
of the file. In the tree ``None``, booleans, whole numbers, finite floats, text and lists stand
for themselves; everything else is an object with one tag.
"""

from __future__ import annotations

import importlib
import json
import math
import struct
import zlib
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

MAGIC = b"fpvalue1"
HEAD = struct.Struct("<8sII")
ALIGN = 16
HOME = "firstpull"
KINDS = "biufc"  # booleans, whole numbers, floats, complex: no objects, no text


class Unreadable(ValueError):
    """Bytes that are not a whole, sound container."""


def encode(value: Any) -> bytes:
    """The value as one container.

    Known are ``None``, bool, int, float, str, bytes, tuple, list, dict, numpy arrays and
    scalars of plain numbers, and the package's own dataclasses and enums, nested at will.

    Raises:
        TypeError: anything else; the sentence names the type.

    >>> decode(encode({"wall_mm": (2.5, None)}))
    {'wall_mm': (2.5, None)}
    """
    writer = _Writer()
    tree = writer.tree(value)
    header, offsets = _header(tree, writer.arrays)
    parts, at = [header], HEAD.size + len(header)
    for array, offset in zip(writer.arrays, offsets, strict=True):
        raw = array.tobytes()
        parts += [b"\0" * (offset - at), raw]
        at = offset + len(raw)
    body = b"".join(parts)
    length = len(header)
    return HEAD.pack(MAGIC, zlib.crc32(body, length), length) + body


def decode(data: bytes) -> Any:
    """The value of a container; its arrays are read-only and share the bytes.

    Raises:
        Unreadable: not a container, truncated, altered, or of a class that is no more.
    """
    if len(data) < HEAD.size:
        raise Unreadable("shorter than its head")
    magic, checksum, length = HEAD.unpack_from(data)
    if magic != MAGIC:
        raise Unreadable("not a container")
    if zlib.crc32(memoryview(data)[HEAD.size :], length) != checksum:
        raise Unreadable("altered or truncated")
    try:
        header = json.loads(data[HEAD.size : HEAD.size + length])
        arrays = [_array(data, *entry) for entry in header["arrays"]]
        return _value(header["tree"], arrays)
    except Unreadable:
        raise
    except Exception as error:
        raise Unreadable(f"written by another version: {error}") from error


class _Writer:
    """Walks a value, gathering its arrays; one that appears twice is kept once."""

    def __init__(self) -> None:
        self.arrays: list[NDArray[Any]] = []
        self._seen: dict[int, tuple[int, Any]] = {}

    def tree(self, value: Any) -> Any:
        kind = type(value)
        if value is None or kind in (bool, int, str):
            return value
        if kind is float:
            return value if math.isfinite(value) else {"float": repr(value)}
        if kind is list:
            return [self.tree(item) for item in value]
        if kind is tuple:
            return {"tuple": [self.tree(item) for item in value]}
        if kind is dict:
            return {"dict": [[self.tree(k), self.tree(v)] for k, v in value.items()]}
        if kind is bytes:
            return {"bytes": self._keep(value, np.frombuffer(value, dtype=np.uint8))}
        return self._numpy_or_own(value, kind)

    def _numpy_or_own(self, value: Any, kind: type) -> Any:
        if isinstance(value, np.ndarray | np.generic) and value.dtype.kind in KINDS:
            if value.dtype.itemsize <= 16 and value.dtype != np.longdouble:
                tag = "array" if isinstance(value, np.ndarray) else "scalar"
                return {tag: self._keep(value, np.asarray(value))}
        elif kind.__module__.split(".")[0] == HOME:
            name = f"{kind.__module__}:{kind.__qualname__}"
            if isinstance(value, Enum):
                return {"enum": [name, value.name]}
            if is_dataclass(value):
                return {
                    "own": [
                        name,
                        {f.name: self.tree(getattr(value, f.name)) for f in fields(value)},
                    ]
                }
        raise TypeError(
            f"A {kind.__module__}.{kind.__qualname__} cannot be kept as a stage's value"
        )

    def _keep(self, owner: Any, array: NDArray[Any]) -> int:
        if id(owner) not in self._seen:
            little = np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("<"))
            # ascontiguousarray makes a 0-d array 1-d.
            self.arrays.append(little.reshape(array.shape))
            self._seen[id(owner)] = (len(self.arrays) - 1, owner)
        return self._seen[id(owner)][0]


def _header(tree: Any, arrays: list[NDArray[Any]]) -> tuple[bytes, list[int]]:
    """The header, padded so that it stays as long whatever its offsets are."""

    def text(offsets: list[int]) -> bytes:
        entries = [[a.dtype.str, a.shape, o] for a, o in zip(arrays, offsets, strict=True)]
        return json.dumps({"tree": tree, "arrays": entries}, separators=(",", ":")).encode()

    room = len(text([10**15] * len(arrays)))
    room += -(HEAD.size + room) % ALIGN
    offsets, at = [], HEAD.size + room
    for array in arrays:
        offsets.append(at)
        at += array.nbytes + -array.nbytes % ALIGN
    return text(offsets).ljust(room), offsets


def _array(data: bytes, dtype: str, shape: list[int], offset: int) -> NDArray[Any]:
    kind = np.dtype(dtype)
    if kind.kind not in KINDS:
        raise Unreadable(f"an array of {dtype}")
    return np.frombuffer(data, dtype=kind, count=math.prod(shape), offset=offset).reshape(shape)


def _value(tree: Any, arrays: list[NDArray[Any]]) -> Any:
    if isinstance(tree, list):
        return [_value(item, arrays) for item in tree]
    if not isinstance(tree, dict):
        return tree
    ((tag, content),) = tree.items()
    if tag == "float":
        return float(content)
    if tag == "tuple":
        return tuple(_value(item, arrays) for item in content)
    if tag == "dict":
        return {_value(k, arrays): _value(v, arrays) for k, v in content}
    if tag == "array":
        return arrays[content]
    if tag == "scalar":
        return arrays[content][()]
    if tag == "bytes":
        return arrays[content].tobytes()
    if tag == "enum":
        return _own_class(content[0], Enum)[content[1]]
    if tag == "own":
        return _own(content[0], content[1], arrays)
    raise Unreadable(f"an unknown tag {tag}")


def _own(name: str, content: dict[str, Any], arrays: list[NDArray[Any]]) -> Any:
    """One of the package's dataclasses, field by field: it was checked when it was made."""
    kind = _own_class(name, object)
    if not is_dataclass(kind) or {f.name for f in fields(kind)} != set(content):
        raise Unreadable(f"{name} has other fields now")
    value: Any = object.__new__(cast(type, kind))
    for field, item in content.items():
        object.__setattr__(value, field, _value(item, arrays))
    return value


def _own_class(name: str, base: type) -> Any:
    module, _, path = name.partition(":")
    if module.split(".")[0] != HOME:
        raise Unreadable(f"{module} is not part of this package")
    found: Any = importlib.import_module(module)
    for step in path.split("."):
        found = getattr(found, step)
    if not (isinstance(found, type) and issubclass(found, base)):
        raise Unreadable(f"{name} is not a class of values")
    return found
