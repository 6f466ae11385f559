"""The stage store on disc: one file a result, the least recently used go first."""

from __future__ import annotations

import contextlib
import os
import tempfile
import time
from pathlib import Path
from typing import Any

from firstpull.store.codec import Unreadable, decode, encode
from firstpull.store.keys import program_id, value_id

CAP_BYTES = 2_000_000_000
SUFFIX = ".fpv"
UNFINISHED = ".tmp"
UNFINISHED_SECONDS = 3600.0  # older ones were left by a process that was killed


class DiskStore:
    """Results by key in a folder that may be deleted at any time.

    It is a convenience, never a condition: what cannot be read is a miss, what cannot be
    written is not kept, and the work goes on.

    Args:
        folder: where; made when the first result is kept.
        cap_bytes: most bytes on disc; beyond it the least recently used results are dropped.
    """

    def __init__(self, folder: Path, *, cap_bytes: int = CAP_BYTES) -> None:
        self.folder = Path(folder)
        self.cap_bytes = cap_bytes

    def program_id(self) -> str:
        """The id of the program; see keys.program_id."""
        return program_id()

    def value_id(self, value: Any) -> str:
        """The id of a value; see keys.value_id."""
        return value_id(value)

    def get(self, key: str) -> tuple[Any] | None:
        """The kept value, in a tuple of one; ``None`` where there is none or it is damaged."""
        path = self._path(key)
        try:
            value = decode(path.read_bytes())
            os.utime(path)
        except OSError:
            return None
        except Unreadable:
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        return (value,)

    def put(self, key: str, value: Any) -> None:
        """Keep a value under its key, whole or not at all.

        Raises:
            TypeError: the value is of a kind that cannot be kept.
        """
        data = encode(value)
        if len(data) > self.cap_bytes:
            return
        with contextlib.suppress(OSError):
            self._write(self._path(key), data)
            self._evict()

    def _path(self, key: str) -> Path:
        return self.folder / key[:2] / (key + SUFFIX)

    def _write(self, path: Path, data: bytes) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=UNFINISHED)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)

    def _evict(self) -> None:
        entries, now = [], time.time()
        for path in self.folder.glob("??/*"):
            with contextlib.suppress(OSError):
                status = path.stat()
                if path.suffix == SUFFIX:
                    entries.append((status.st_mtime_ns, status.st_size, path))
                elif path.suffix == UNFINISHED and now - status.st_mtime > UNFINISHED_SECONDS:
                    path.unlink()
        excess = sum(size for _, size, _ in entries) - self.cap_bytes
        for _, size, path in sorted(entries):
            if excess <= 0:
                return
            with contextlib.suppress(OSError):
                path.unlink()
            excess -= size
