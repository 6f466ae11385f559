"""Why a workspace is not opened, or what it could not keep."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from firstpull.core.errors import WorkshopError
from firstpull.core.job.refusals import DiscFull

DATABASE = "workspace.sqlite"
LAST_START = "workspace-at-last-start.sqlite"


class BadWorkspace(WorkshopError):
    """The folder cannot be a workspace: it is a file, may not be written to, or holds another
    program's database."""

    code = "bad_workspace"


class WorkspaceInUse(WorkshopError):
    """Another process has the workspace open."""

    code = "workspace_in_use"


class WorkspaceTooNew(WorkshopError):
    """A newer version of the program wrote the workspace."""

    code = "workspace_too_new"


class WorkspaceDamaged(WorkshopError):
    """The database is damaged, or is none."""

    code = "workspace_damaged"


class MigrationFailed(WorkshopError):
    """The database could not be brought to this version; it was put back as it was."""

    code = "migration_failed"


class WorkspaceNotWritten(WorkshopError):
    """The database takes nothing just now: not writable, or held by another program."""

    code = "workspace_not_written"


def damaged(folder: Path, found: str) -> WorkspaceDamaged:
    """The refusal for a damaged database; it names the copy to put in its place."""
    copies = sorted(folder.glob("workspace-*.sqlite"), key=lambda path: path.stat().st_mtime)
    copy = f"put a copy of {copies[-1].name} in its place" if copies else "start without it"
    return WorkspaceDamaged(
        where=f"The database {folder / DATABASE}",
        found=found,
        limit="nothing was touched, and the meshes and plans under jobs lie beside it unharmed",
        remedy=f"Move it away and {copy}, or open another folder with --workspace.",
    )


def disc_full(folder: Path) -> DiscFull:
    """The refusal for a disc without room."""
    return DiscFull(
        where=f"The disc that holds {folder}",
        found="has no room left",
        limit="nothing of this change was kept",
        remedy="Make room, then do it again.",
    )


@contextlib.contextmanager
def told(folder: Path) -> Iterator[None]:
    """Faults of the database within the block become refusals.

    Raises:
        DiscFull: no room.
        WorkspaceDamaged: the file is damaged.
        WorkspaceNotWritten: it may not be written to, or something else holds it.
    """
    try:
        yield
    except DBAPIError as fault:
        if isinstance(fault.orig, sqlite3.Error):
            raise (refusal_of(folder, fault.orig) or fault) from fault
        raise
    except sqlite3.Error as fault:
        raise (refusal_of(folder, fault) or fault) from fault


def refusal_of(folder: Path, fault: sqlite3.Error) -> WorkshopError | None:
    """The refusal that a fault of the database amounts to; None where it is a bug."""
    kind = getattr(fault, "sqlite_errorcode", 0) & 0xFF
    if kind == sqlite3.SQLITE_FULL:
        return disc_full(folder)
    if kind in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return damaged(folder, f"is damaged ({fault})")
    if kind in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        found, remedy = "is held by another program", "Close that program, then do it again."
    elif kind in (
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_PERM,
    ):
        found, remedy = f"cannot be written ({fault})", "Allow it, then do it again."
    else:
        return None
    return WorkspaceNotWritten(
        where=f"The database {folder / DATABASE}",
        found=found,
        limit="nothing of this change was kept",
        remedy=remedy,
    )
