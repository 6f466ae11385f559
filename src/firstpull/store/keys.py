"""What names a result? Ids of values, and one of the program that makes them."""

from __future__ import annotations

import functools
import hashlib
import re
from importlib import metadata
from pathlib import Path
from typing import Any

from firstpull.store.codec import encode

PACKAGE = Path(__file__).resolve().parents[1]


def value_id(value: Any) -> str:
    """The id of a value: equal content, equal id.

    >>> value_id((1, 2.5)) == value_id((1, 2.5))
    True
    """
    return hashlib.sha256(encode(value)).hexdigest()


@functools.cache
def program_id() -> str:
    """The id of the program as it stands; worked out once in a process."""
    return hashlib.sha256((sources_id(PACKAGE) + libraries()).encode()).hexdigest()


def sources_id(folder: Path) -> str:
    """A hash over every file of a package: names and contents, compiled files left out."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts:
            name = path.relative_to(folder).as_posix()
            digest.update(f"{name}\0{path.stat().st_size}\0".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def libraries() -> str:
    """The versions of the libraries that results are computed with.

    Another version may round otherwise, so it takes part in every key.
    """
    try:
        required = metadata.requires("firstpull") or []
    except metadata.PackageNotFoundError:  # run from a bare source folder
        return ""
    names = sorted({re.split(r"[^A-Za-z0-9._-]", line, maxsplit=1)[0] for line in required})
    return " ".join(f"{name}={metadata.version(name)}" for name in names)
