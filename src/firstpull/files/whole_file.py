"""A file that appears whole, or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from firstpull.files.refusals import MeshFileNotWritten


@contextlib.contextmanager
def whole_file(path: str | Path) -> Iterator[BinaryIO]:
    """A stream to write a file with; it takes its name when the ``with`` block ends well.

    Until then it lies beside it under a passing name; an older file stays as it was if
    anything goes wrong. A link is followed.

    Raises:
        MeshFileNotWritten: the folder is missing or may not be written to, the name is that
            of a folder, or the disc is full.
    """
    asked = Path(path)
    target = asked.resolve()
    passing = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        if target.is_dir():
            raise IsADirectoryError(21, "Is a folder")
        with passing.open("wb") as stream:
            yield stream
        passing.replace(target)
    except OSError as fault:
        raise MeshFileNotWritten(
            where=str(asked),
            found=f"cannot be written ({fault.strerror or fault})",
            remedy="Choose a folder that exists, that you may write to, and that has room.",
        ) from fault
    finally:
        with contextlib.suppress(OSError):
            passing.unlink()
