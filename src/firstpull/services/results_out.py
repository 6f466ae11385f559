"""Where do results go? Named before the work begins, written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from firstpull.core.errors import WorkshopError
from firstpull.files.whole_file import whole_file


class ResultInTheWay(WorkshopError):
    """A result would replace a file that is there already."""

    code = "result_in_the_way"


class ResultFolder(WorkshopError):
    """A result cannot be put where it was asked for."""

    code = "result_folder"


class ResultFormat(WorkshopError):
    """A result was asked for in a format that it cannot have."""

    code = "result_format"


@dataclass(frozen=True)
class MapAndPicture:
    """What may be written besides the report.

    Args:
        map: the mesh with the measure in colour, or None.
        picture: a PNG of that, or None.
        force: whether older files may be replaced.
    """

    map: Path | None = None
    picture: Path | None = None
    force: bool = False


def need_free(
    results: Iterable[Path | None], *, inputs: Iterable[Path], force: bool = False
) -> None:
    """Refuses before any work is done what could not be written after it.

    Args:
        results: the files that will be written; None for one that was not asked for.
        inputs: the files that are only read; no result may be one of them.
        force: whether older results may be replaced.

    Raises:
        ResultInTheWay: a file of that name exists, is read from, or was asked for twice.
        ResultFolder: the folder is not there or may not be written to.
    """
    read = {path.resolve() for path in inputs}
    taken: set[Path] = set()
    for path in (path for path in results if path is not None):
        where = path.resolve()
        if where in read or where in taken:
            what = "is the file that is read from" if where in read else "is asked for twice"
            raise ResultInTheWay(
                where=str(path), found=what, remedy="Give the result its own name."
            )
        taken.add(where)
        _need_place(path, where, force)


def _need_place(path: Path, where: Path, force: bool) -> None:
    if where.is_dir():
        raise ResultFolder(where=str(path), found="is a folder", remedy="Name a file in it.")
    if where.exists() and not force:
        raise ResultInTheWay(
            where=str(path),
            found="exists already",
            limit="nothing is overwritten without being told",
            remedy="Choose another name, or say --force.",
        )
    folder = where.parent
    if not folder.is_dir():
        raise ResultFolder(
            where=str(path),
            found="would lie in a folder that does not exist",
            remedy=f"Make the folder {folder} first.",
        )
    if not os.access(folder, os.W_OK):
        raise ResultFolder(
            where=str(path),
            found="would lie in a folder that may not be written to",
            remedy="Choose a folder of your own.",
        )


def need_format(path: Path | None, formats: Iterable[str]) -> None:
    """Refuses a name whose suffix is none of the formats; None passes.

    Raises:
        ResultFormat: says which formats there are.
    """
    if path is None:
        return
    known = tuple(formats)
    suffix = path.suffix.lower().lstrip(".")
    if suffix not in known:
        raise ResultFormat(
            where=str(path),
            found=f'has the suffix ".{suffix}"' if suffix else "has no suffix",
            limit="the program writes " + ", ".join(known) + " here",
            remedy=f"End the name in .{known[0]}.",
        )


def write_whole(path: Path, data: bytes) -> None:
    """Writes a file whole or not at all; an older one is replaced.

    Raises:
        MeshFileNotWritten: the folder does not take it.
    """
    with whole_file(path) as stream:
        stream.write(data)
