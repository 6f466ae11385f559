"""Is this file plainly something else? A look at its first bytes, before it is kept."""

from __future__ import annotations

import zipfile
from pathlib import Path

from firstpull.core.errors import WorkshopError
from firstpull.services.first_look import plainly_no_mesh

LOOK_BYTES = 512
"""So many of the first bytes are looked at."""

FORMATS = ("stl", "obj", "ply", "off", "glb", "3mf")

OTHERS = (
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF-", "a PDF document"),
    (b"\x1f\x8b\x08", "a gzip archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a RAR archive"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90\x00", "a program"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an office document"),
    (b"ISO-10303-21", "a STEP file"),
    (b"OggS", "a sound or film"),
    (b"ID3", "a sound"),
)
ZIP, GLB, PLY = b"PK\x03\x04", b"glTF", b"ply"
PAGES = (b"<!doctype html", b"<html", b"<head", b"<body")


class WrongFileType(WorkshopError):
    """The name promises a mesh, the content is something else."""

    code = "wrong_file_type"


def format_of(file_name: str) -> str:
    """The format that a file's name promises.

    Raises:
        WrongFileType: none that the program reads.

    >>> format_of("Heron.STL")
    'stl'
    """
    suffix = Path(file_name).suffix.lower().lstrip(".")
    if suffix in FORMATS:
        return suffix
    raise WrongFileType(
        where=f'The file "{file_name}"',
        found=f'has the suffix ".{suffix}"' if suffix else "has no suffix",
        limit="the program reads " + ", ".join(FORMATS),
        remedy="Export the mesh in one of these; STL will do.",
    )


def check_start(file_name: str, start: bytes) -> None:
    """Refuses what its first bytes show to be something other than its name says.

    Args:
        file_name: as it was given, with a suffix that is known.
        start: the first bytes, as many as there are up to LOOK_BYTES.

    Raises:
        WrongFileType: it is.
    """
    format = format_of(file_name)
    found = _plainly(start)
    if found is None:
        if format == "3mf":
            raise _wrong(file_name, "is no 3MF file: one begins as a zip archive does")
        if format == "glb":
            raise _wrong(file_name, "is no GLB file: one begins with the letters glTF")
        return
    if (format, found) in (("3mf", "a zip archive"), ("glb", "a GLB file"), ("ply", "a PLY file")):
        return
    raise _wrong(file_name, f"is {found} by its first bytes")


def check_whole(file_name: str, path: Path) -> None:
    """Refuses what is plainly no mesh, once all of it is there.

    Raises:
        WrongFileType: an archive without a model, text that is no mesh, a file that was cut off.
    """
    format = format_of(file_name)
    if format != "3mf":
        found = plainly_no_mesh(path, format)
        if found is not None:
            raise _wrong(file_name, found)
        return
    try:
        with zipfile.ZipFile(path) as archive:
            names = archive.namelist()
    except (zipfile.BadZipFile, OSError, NotImplementedError) as fault:
        raise _wrong(file_name, "is a damaged archive, or was cut off on its way") from fault
    if not any(name.lower().endswith(".model") for name in names):
        raise _wrong(file_name, "is a zip archive without a 3MF model in it")


def _plainly(start: bytes) -> str | None:
    """What a file is that begins so; None where the bytes do not say."""
    for magic, name in (*OTHERS, (ZIP, "a zip archive"), (GLB, "a GLB file")):
        if start.startswith(magic):
            return name
    if start.startswith(PLY) and start[3:4] in (b"\n", b"\r"):
        return "a PLY file"
    text = start.removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    return "a web page" if text.startswith(PAGES) else None


def _wrong(file_name: str, found: str) -> WrongFileType:
    return WrongFileType(
        where=f'The file "{file_name}"',
        found=found,
        remedy="Nothing was kept; export the mesh from the modelling program and choose that file.",
    )
