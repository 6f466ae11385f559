"""Mesh files that cannot be read or written, each refused by name."""

from __future__ import annotations

from firstpull.core.errors import WorkshopError


class MeshFileMissing(WorkshopError):
    """No file of that name."""

    code = "mesh_file_missing"


class MeshFileUnreadable(WorkshopError):
    """A folder, or a file that may not be read."""

    code = "mesh_file_unreadable"


class MeshFileTooLarge(WorkshopError):
    """More bytes than the program takes, or an archive that unpacks to more."""

    code = "mesh_file_too_large"


class MeshFormatUnknown(WorkshopError):
    """Not one of the formats that the program reads."""

    code = "mesh_format_unknown"


class MeshFileEmpty(WorkshopError):
    """Nothing in the file."""

    code = "mesh_file_empty"


class MeshFileTruncated(WorkshopError):
    """The file ends before what it promises."""

    code = "mesh_file_truncated"


class MeshFileDamaged(WorkshopError):
    """The file contradicts itself or its format."""

    code = "mesh_file_damaged"


class MeshFeatureMissing(WorkshopError):
    """The file uses a part of its format that the program does not read."""

    code = "mesh_feature_missing"


class MeshFileNotWritten(WorkshopError):
    """The folder does not take the file."""

    code = "mesh_file_not_written"


class NotClosedOnDisc(WorkshopError):
    """A solid that the file format's rounding would open."""

    code = "not_closed_on_disc"


AGAIN = "Export it again from the modelling program."


def truncated(where: str, found: str, limit: str = "") -> MeshFileTruncated:
    """The file ends early; said the same way for every format."""
    remedy = f"Copy the file again; if it stays so: {AGAIN[0].lower()}{AGAIN[1:]}"
    return MeshFileTruncated(where=where, found=found, limit=limit, remedy=remedy)


def damaged(where: str, found: str, limit: str = "", remedy: str = AGAIN) -> MeshFileDamaged:
    """The file contradicts itself; said the same way for every format."""
    return MeshFileDamaged(where=where, found=found, limit=limit, remedy=remedy)
